"""Pockets in rows on a plate the size of a bed, and what they must keep clear of: pure geometry.

In: items with pockets, and what is asked of the plate (`asked.PlateAsked`). Out: `Plate`, pockets placed, checked.
May import: errors, kinds, parameters, records, steady, words, seal, measure, fitting, cutting.
"""
