"""Any picture file -> `Picture`: upright pixels, their curve to linear light, density, camera, hash.

In: a path or bytes. Out: `Picture` (`picture.read_picture`), and made small (`reduced.reduce_picture`).
May import: errors, records, steady, words, opencv.
"""
