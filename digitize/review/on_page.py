"""The next step of a message as the page says it: by its own fields and tools, where the table speaks to a terminal.

What a hand can mend on the page is said here, too, where the table can only ask for another scan.
"""

from __future__ import annotations

from collections.abc import Mapping

STEPS: Mapping[str, str] = {
    "density-disagrees": "Measure the reference with calipers and correct “Plain square” or “Card, as measured”.",
    "reading-unlikely": "Print the card at 100 %, measure again, black edge to black edge, set “Card, as measured”.",
    "axes-differ": "Measure both sides of the reference and set both, the one along the picture's width first.",
    "square-not-as-said": "Press it flat (tape, glass), measure both sides, and set both in “Plain square”: 49.8x49.4.",
    "card-not-flat": "Press the card flat and take the photo again.",
    "focal-unknown": "Use the phone's original file.",
    "item-height-missing": "Measure the item's height and set “Height of upright walls” (0 for a flat one).",
    "card-not-measured": "Measure the ring's outer sides once, across and along, and set “Card, as measured”.",
    "taken-as-photo": "If it is a scan, set “Taken with” to flatbed scanner.",
    "left-out": "If one is an item, click in it with the tool Item.",
    "set-upright": "Nothing to do; without “Set upright” it lies as it lay.",
    "left-out-at-border": "If an item is among them, move it inward on even paper, or click in it with the tool Item.",
    "left-out-without-edge": "If an item is among them, lay it on plain paper, or click on that with the tool Ground.",
    "left-out-too-small": "If an item is among them, set “Dust, up to” as named here.",
    "too-many-items": "Lay the item on plain, clean paper, or click in it with the tool Item.",
    "background-unlike-rim": "Clear “Background's colour”, or click on the rim's colour with the tool Ground.",
    "second-border": "See which is meant (the other is dotted); take it all round, or a stretch with Border.",
    "edge-ragged": "For a smoother path set a larger “Tolerance”, such as 0.1.",
    "no-path": "Set a larger “Clearance a side” or a thinner tool, or take the item out with the tool Drop.",
    "narrower-than-cutter": "Set a smaller “Cutter, diameter” or a larger “Clearance a side”.",
    "uncut": "Set the “Corner relief” that is named here, else a smaller “Cutter, diameter”.",
    "room-short": "Look at that place; set a larger “Clearance a side” or a smaller “Tolerance”.",
    "pocket-in-parts": "Set a larger “Clearance a side”.",
    "peg-too-small": "Set “A pin for each hole”, or a smaller “Clearance a side”.",
    "opening-closed": "If they matter, set a smaller “Clearance a side”.",
    "notch-near-corner": "Turn the notches with “First notch at”, or set a smaller “Notch width”.",
    "pin-too-thin": "Set a smaller “Clearance a side”, or do without that pin.",
    "nodes-close": "Set a larger “Tolerance”.",
    "no-room-for-lead": "If the mark matters, set a shorter “Lead-in”.",
    "no-hole-for-pin": "Clear “A pin for each hole”.",
    "no-clearance": "Set “Clearance a side” to 0.2 or so, or to 0 if that is meant.",
    "perhaps-hole": "If it is a hole, click in it with the tool Hole; else go on.",
    "perhaps-print": "If it is print, click in it with the tool Hole: then it is none.",
    "hole-left-out": "If it is a hole, click in it with the tool Hole.",
    "edge-unclear": "Look at that place; if the line strays there, bridge it with the tool Bridge.",
    "shadow-suspected": "If the line runs in the shadow there, set both ends of it with Bridge, along the edge.",
    "edge-tangled": "Look whether narrow gaps are drawn as they are; if not, mend them with Bridge or Pull.",
    "by-hand-nothing": "Leave the step out, or set its places on the outline again.",
}


def step_on_page(code: str, step: str) -> str:
    """Return the next step of a code as the page says it, `step` being that of the table."""
    return STEPS.get(code, step)
