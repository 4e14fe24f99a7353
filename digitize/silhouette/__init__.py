"""Which pixels are item: the lid behind told from what lies on it, shade let go, card and dust set apart.

In: `Picture`, `Reduced`, where the reference lies. Out: `Silhouettes` (`find.find_silhouettes`): closed chains of
pixels, exterior first. May import: errors, records, steady, words, opencv, reading.reduced, measure.
"""
