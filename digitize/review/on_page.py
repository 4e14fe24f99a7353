"""What the page says where the tables and the errors speak to a terminal: by its own fields and tools.

What a hand can mend on the page is said here, too, where the table can only ask for another scan.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping
from functools import cache

from ..parameters import declared
from ..run import Output
from ..settings import Settings
from ..words.say import step_of

LABELS: Mapping[str, str] = {
    "square_mm": "Plain square",
    "disc_mm": "Round disc",
    "measured_mm": "Card, as measured",
    "dpi": "No reference: density",
    "caliper_error_mm": "Calipers' error",
    "cut": "Way of cutting",
    "clearance_mm": "Clearance a side",
    "kerf_mm": "Kerf",
    "cutter_mm": "Cutter, diameter",
    "relief": "Corner relief",
    "least_radius_mm": "Least radius",
    "first_layer_mm": "First layer's spread",
    "draft_deg": "Draft",
    "shrink_percent": "Shrink",
    "plug_height_mm": "Height of the plug",
    "lead_in_mm": "Lead-in",
    "notches": "Finger notches",
    "notch_width_mm": "Notch width",
    "notch_angle_deg": "First notch at",
    "cut_holes": "Cut the holes too",
    "pins": "A pin for each hole",
    "web_mm": "Least web",
    "node_spacing_mm": "Least node spacing",
    "edge": "Of two borders",
    "item_at_px": "Only the item at",
    "square_at_px": "The reference is at",
    "background": "Background's colour",
    "dust_mm": "Dust, up to",
    "ideal": "Ideal shapes as what they are",
    "symmetric": "Write both halves alike",
    "upright": "Set upright",
    "imaged_face": "Face in the picture",
    "cut_from": "Side up when cut",
    "bleed_mm": "Print area, over the edge",
    "inset_mm": "Print area, inside the edge",
    "units": "Unit of DXF",
    "tolerance_mm": "Tolerance",
    "joins": "Joins",
    "taken_with": "Taken with",
    "item_height_mm": "Height of upright walls",
    "edge_height_mm": "Height of the widest line",
    "height_within_mm": "Height known within",
}
"""What an option is called on the page, by its keyword."""

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
    "left-out-as-lines": "If one is an item, click on it with the tool Take.",
    "left-out": "If one is an item, click on it with the tool Take, or say so in the list of what was left out.",
    "item-failed": "Mend its line with Bridge where it is dashed, or draw its border with Draw; else take it again.",
    "by-hand-no-item": "Leave the step out, or draw the item's border with the tool Draw.",
    "set-upright": "Nothing to do; without “Set upright” it lies as it lay.",
    "left-out-at-border": "If an item is among them, move it inward on even paper, or click on it with the tool Take.",
    "left-out-without-edge": "If an item is among them, click on it with the tool Take, or lay it on plain paper.",
    "left-out-too-small": "If an item is among them, take it with the tool Take, or set “Dust, up to” as named here.",
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
    "check-too-large": "Look at the edge; take it again on ground that differs more, or set “Of two borders” to inner.",
    "check-too-small": "Look at the edge; take it again on ground that differs more, or set “Of two borders” to outer.",
    "check-one-reading": "Measure it again, and look at that place of the picture.",
    "by-hand-nothing": "Leave the step out, or set its places on the outline again.",
}

_OF_THE_COMMAND = ("--to", "--max-mpx")  # besides those of its groups that the page does not offer
_PHRASES = {
    "with --square-at X,Y": "with the tool Square",
    "or --item-at X,Y": "or click in it with the tool Item",
    step_of("item-failed"): STEPS["item-failed"],
    step_of("item-failed", of_photo=True): STEPS["item-failed"],
}
_EITHER = {"--camera": "camera", "--flatbed": "flatbed scanner"}  # of one field, as its choices are called


def step_on_page(code: str, step: str) -> str:
    """Return the next step of a code as the page says it, `step` being that of the table."""
    return STEPS.get(code) or words_on_page(step)


def words_on_page(sentence: str) -> str:
    """Return a sentence with the page's fields in the places of options; what it does not offer is the command's.

    >>> words_on_page("No reference. Say its side: --square 50, or point at it with --square-at X,Y.")
    'No reference. Say its side: “Plain square” 50, or point at it with the tool Square.'
    >>> words_on_page("If it is right, say --max-mpx 500.")
    'If it is right, set “max-mpx 500” on the command line.'
    """
    for phrase, own in _PHRASES.items():
        sentence = sentence.replace(phrase, own)
    return in_fields(sentence, _FIELDS, _NAMES)


def in_fields(sentence: str, fields: Mapping[str, str], names: Collection[str]) -> str:
    """Return a sentence with labels of fields in the places of options of these names; others are the command's."""
    sentence = _SAID.sub(lambda found: "Set" if found[0][0] == "S" else "set", sentence)
    return _option(frozenset(names)).sub(lambda found: _of_page(found, fields), sentence)


def _of_page(found: re.Match[str], fields: Mapping[str, str]) -> str:
    name, number = found["name"], found["number"] or ""
    if name not in fields:
        return f"“{name[2:]}{number}” on the command line"
    return f"“{fields[name]}”" + (f" {_EITHER[name]}" if name in _EITHER else number)


def _fields() -> dict[str, str]:
    fields = {one.name: LABELS[key] for key, one in declared(Settings).items() if key in LABELS}
    return fields | dict.fromkeys(_EITHER, LABELS["taken_with"])


_FIELDS = _fields()
_NAMES = {*_FIELDS, *_OF_THE_COMMAND, *(one.name for group in (Settings, Output) for one in declared(group).values())}


@cache
def _option(names: frozenset[str]) -> re.Pattern[str]:
    return re.compile(
        rf"(?<![\w-])(?P<name>{'|'.join(sorted(names, key=lambda name: (-len(name), name)))})(?![\w-])"
        r"(?P<number> (?:\d[\d.]*\d|\d)(?![\w,]))?(?: (?:[A-Z]{3,}|X,Y|XxY)\b)?"  # in capitals what stands for a value
    )


_SAID = re.compile(r"\b[Ss]ay(?= --\w)")
