"""The outline document: JSON in and out, the interface to whatever comes after.

In: `Result`, or text. Out: text, or `Result`. May import: errors, records, words, seal, plate.plate.
"""
