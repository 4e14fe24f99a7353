"""What a hand corrects in an outline: steps, each one record, kept in a file or in the outline document.

In: a file of steps, or an outline document that holds some. Out: `Corrections` (`steps.py`, `read.py`), places in px.
They are carried out by the recipe. May import: errors, kinds, files.
"""
