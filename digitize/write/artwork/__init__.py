"""Artwork in a template: read as far as is needed to place it, and placed as it is, vector as vector.

In: bytes of an SVG, a PDF or a picture, and where it lies. Out: elements of an SVG, operators and objects of a PDF.
May import: errors, plate, write.
"""
