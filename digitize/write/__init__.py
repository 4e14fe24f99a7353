"""Writers: one small module a format, each turns a `Result` into bytes and touches no disk.

In: `Result` and items. Out: bytes.
May import: errors, kinds, parameters, records, steady, words, seal, packaged, opencv, trust, fitting.bulge,
cutting.wall, card.parts, plate.plate, usual.
"""
