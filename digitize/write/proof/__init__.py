"""The proof: pages to print at 100 %, lay the blank on, and write down what calipers read beside what the tool says.

In come a `Result`, some of its items and a paper; out comes a PDF of its own. May import what `digitize.write` may.
"""
