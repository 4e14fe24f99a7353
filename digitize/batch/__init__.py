"""A folder of pictures: found, shared out to workers, remembered in a ledger, reported.

In: a folder, a list or a manifest. Out: results in another folder, three reports. May import: all but cli and api.
"""
