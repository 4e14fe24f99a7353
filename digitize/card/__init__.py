"""The printable cards: which there are, what lies where on them, and the marker that tells them apart.

In: a kind of card and a paper. Out: `CardLayout`; the files are written by `digitize.write.card`.
May import: errors, records, words.
"""
