"""What is known of one flatbed: where its pixels lie on the glass, and how its codes follow the light.

In: corners of a card in several scans, light across its edges. Out: `ScannerProfile`, kept as TOML, with the `Glass`
that the reference stage sees scans through. May import: errors, records, steady, seal, files, kept.
"""
