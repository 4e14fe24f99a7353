"""Solids: a plate with the pockets in it, or plugs for a former, as a closed mesh; written as STL and 3MF.

In: a `Result` and a `Solid`. Out: bytes by file name.
May import: errors, records, seal, fitting.bulge, cutting.wall, write.
"""
