"""Closed borders moved onto the true edge, point by point, in linear light; corners restored.

In: `Picture` and a chain of pixels. Out: `Contour` (`trace.trace_edge`), in px.
May import: errors, records, steady, words, opencv, measure.
"""
