"""Squares, coded rings -> scale: which reference the picture holds, what it gives, what is refused and why.

In: `Picture`, `Reduced`, `Settings`. Out: `Located` (`locate.locate_reference`): the scale, its facts, where the
reference lies. May import: errors, records, steady, words, settings, opencv, reading, card, measure;
for photos camera, when used.
"""
