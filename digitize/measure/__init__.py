"""What several stages measure with: light along profiles across an edge, and the geometry of rings.

In: a picture and places in it, or rings. Out: arrays. May import: records, steady, reading.reduced.
"""
