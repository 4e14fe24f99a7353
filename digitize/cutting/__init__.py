"""Clearance, kerf, cutter, relief, notches -> the path to cut, for each way of cutting.

In: an item's ring in mm and a `Cutting`. Out: `Pocket` (`make.cut_pocket`), print areas, what does not fit.
May import: errors, records, steady, words, seal, packaged, files, kinds, parameters, measure, fitting.
"""
