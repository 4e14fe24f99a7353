"""The local page: look at a picture's outline, set the options, take the files; the same bytes as the command's.

In: pictures, what was said on the command line, requests of a browser on this machine. Out: a page, tiles, figures,
files. Nothing is decided here: options are read as the command reads them, `run` makes and writes; `guard.py` says who
is answered. May import: errors, kinds, parameters, options, files, records, words, settings, opencv, reading, trust,
write, ending, run, run_plate, plate, document, fitting, seal, hand, measure, steady, batch, card, spoken, usual,
kept_cards.
"""
