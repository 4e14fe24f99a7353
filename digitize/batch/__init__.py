"""A folder of pictures: found, shared out to workers, remembered in a ledger, reported."""
