"""How far to trust it: contributions named, root sum of squares, k = 2.

In: an item's standard deviations and what the scale rests on. Out: `Uncertainty`. May import: records, words, measure.
"""
