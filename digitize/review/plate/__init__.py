"""The plate on the page: items laid on it, moved by hand, held against what keeps it sound; the commands' own files."""
