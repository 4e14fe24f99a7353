"""The parts of reading a picture file; use `digitize.picture`."""
