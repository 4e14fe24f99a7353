"""The check picture (PNG): what was found, drawn on the picture, for a person to judge.

In: the picture and a `Result`. Out: bytes. May import: records, seal, opencv, write.
"""
