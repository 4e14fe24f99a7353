"""A card's layout as DXF, SVG and PDF.

In: `CardLayout`. Out: bytes by file name. May import: errors, seal, card.parts, write.dxf_steady.
"""
