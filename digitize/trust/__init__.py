"""How far to trust it: contributions named, root sum of squares, k = 2.

In: an item's standard deviations and what the scale rests on; caliper readings; two outlines. Out: `Uncertainty`, what
agrees and what does not, the likely cause. May import: errors, kinds, parameters, records, steady, words, measure.
"""
