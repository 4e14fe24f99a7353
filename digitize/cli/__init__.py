"""The commands: parse, call one function, print, set the exit code.

In: words. Out: files, a table, an exit code. May import everything; nobody imports it.
"""
