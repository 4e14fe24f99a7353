"""Dense rings -> lines and arcs: the fit with its proof, ideal shapes, symmetry.

In: rings in mm. Out: `Curve` and what is known of it. May import: errors, records, steady, words, measure,
opencv (small systems).
"""
