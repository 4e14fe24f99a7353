"""Drawings of a plate: what is cut, what is laid by eye, what the artwork lands on, and a grid; from one plate.

In: a `Plate`. Out: bytes by file name. May import: errors, records, seal, words, plate, fitting.bulge, write.
"""
