"""Which options of a plate and of its template the page offers, what they are called there, and their words."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from ...kinds import Json
from ...options import Said
from ...parameters import declared
from ...plate.asked import PlateAsked, TemplateAsked
from ...records import Usual
from ...spoken import Word, Words
from ...usual import less
from .. import form
from ..form import field_of
from ..on_page import in_fields, words_on_page

GROUPS: Mapping[str, tuple[str, ...]] = {
    "bed": ("bed_mm", "plate_mm", "thickness_mm", "zero", "cut_from"),
    "rows": (
        *("as_many_as_fit", "rows", "columns", "gap_mm", "web_mm", "margin_mm", "turn_deg"),
        *("stagger", "turn_every_second", "as_laid"),
    ),
    "marks": ("centres", "leads", "corner_piece_mm", "key_mm"),
}
OF_ROWS = ("rows", "columns", "as_many_as_fit", "gap_mm", "margin_mm", "stagger", "turn_every_second", "turn_deg")
OF_TEMPLATE = ("fit", "only", "raised_edge_mm", "raised_gap_mm", "no_guides")
OWN: Mapping[str, str] = {"name": "Name", "label": "Words on it", "holes": "Holes for pins, screws"}
LABELS: Mapping[str, str] = {
    "bed_mm": "Bed",
    "plate_mm": "Plate",
    "thickness_mm": "Thickness of the sheet",
    "zero": "Zero corner",
    "cut_from": "Cut with this side up",
    "as_many_as_fit": "As many as fit, by shape",
    "rows": "Rows",
    "columns": "Pockets in a row",
    "gap_mm": "Gap between boxes",
    "web_mm": "Web between shapes",
    "margin_mm": "Margin",
    "turn_deg": "Turn all by",
    "stagger": "Shift every second row",
    "turn_every_second": "Turn every second pocket",
    "as_laid": "As they lay in the picture",
    "centres": "Mark the items' middles",
    "leads": "Lead-in and its path",
    "corner_piece_mm": "Corner piece",
    "key_mm": "Its key",
    "fit": "Size of the artwork",
    "only": "Only pockets",
    "raised_edge_mm": "Raised edge",
    "raised_gap_mm": "From the outline to it",
    "no_guides": "Artwork alone",
}
"""What an option is called on the page, by its keyword."""

_LONGEST = 200  # characters of a word
_HELP = {
    "name": "Of the plate and its files.",
    "label": "Revision, date or other words for the drawings.",
    "holes": "x, y from the zero corner and diameter, mm: 10,10,4.2; a space between two.",
}
_PHRASES = {
    "Outline it again with --cut-from front, and say --cut-from back to digitize plate.": (
        "Set “Side up when cut” of the picture to the front, and “Cut with this side up” here to the back."
    ),
    "move them apart in --lay, or": "move them apart, or",
    "there is none: say --artwork FILE.": "there is none: choose a file.",
    "with --lay the table": "by hand the table",
}


def fields() -> list[dict[str, Json]]:
    """Return what the page needs to know of every option, group by group."""
    plate, template = declared(PlateAsked), declared(TemplateAsked)
    found = [
        field_of(group, plate[key], LABELS[key], words_on_plate(plate[key].help))
        for group, keys in GROUPS.items()
        for key in keys
    ]
    found += [
        field_of("template", template[key], LABELS[key], words_on_plate(template[key].help)) for key in OF_TEMPLATE
    ]
    return [*found, *({**_OWN_FIELD, "key": key, "label": label, "help": _HELP[key]} for key, label in OWN.items())]


_OWN_FIELD: dict[str, Json] = {"group": "marks", "kind": "text", "unit": "", "choices": [], "always": False, "ways": []}


def start_words(*usual: Usual | None) -> Words:
    """Return the words of a plate of which nothing was said but what a workshop's file sets."""
    known = {**declared(PlateAsked), **declared(TemplateAsked)}
    words: dict[str, Word] = dict.fromkeys(OWN)
    for key in LABELS:
        words[key] = _unsaid(known[key])
    for one in filter(None, usual):
        words |= {_KEYS[name]: word for name, word in one.options.items() if name in _KEYS}
    return words


def still_usual(usual: Usual | None, words: Words) -> Usual | None:
    """Return what a workshop's file set and the page offers, without what was changed since."""
    start = start_words(usual)
    return less(usual, [name for name in usual.options if not _is_still(name, start, words)]) if usual else None


def _is_still(name: str, start: Words, words: Words) -> bool:
    return name in _KEYS and start[_KEYS[name]] == words[_KEYS[name]]


def usual_fields(usual: Usual | None) -> dict[str, Json] | None:
    """Return what a workshop's file set, as `digitize.review.form.usual_fields` does."""
    if usual is None:
        return None
    return {"file": usual.file, "fields": [_KEYS[name] for name in usual.options], "others": []}


def words_from(data: object, before: Words) -> Words:
    """Return the words that a page sent of a plate, as `digitize.review.form.words_from` does."""
    return form.words_from(data, before, {key: f"“{LABELS.get(key) or OWN[key]}”" for key in start_words()})


def said_of_plate(words: Words, *, by_hand: bool) -> Said[PlateAsked]:
    """Return what the page says of the plate as the command line would; by hand nothing of rows."""
    plain = start_words()
    keys = [key for keys in GROUPS.values() for key in keys]
    return _said(PlateAsked, {key: plain[key] if by_hand and key in OF_ROWS else words[key] for key in keys})


def said_of_template(words: Words) -> Said[TemplateAsked]:
    """Return what the page says of the template as the command line would."""
    return _said(TemplateAsked, {key: words[key] for key in OF_TEMPLATE})


def _said(group: type[Any], words: Mapping[str, Word]) -> Said[Any]:
    switches = {key for key, one in declared(group).items() if one.unsaid is False}
    plain = {key: bool(word) if key in switches else word for key, word in words.items()}
    return Said(group, {key: plain.get(key, _unsaid(one)) for key, one in declared(group).items()})


def _unsaid(one: Any) -> Word:
    unsaid = one.unsaid
    return unsaid if isinstance(unsaid, str | bool | None) else one.kind.word(unsaid)


def words_on_plate(sentence: str) -> str:
    """Return a sentence with the plate's fields in the places of options.

    >>> words_on_plate("Say the size of the bed, width x height in mm: --bed 305x458.")
    'Say the size of the bed, width x height in mm: “Bed” 305x458.'
    """
    for phrase, own in _PHRASES.items():
        sentence = sentence.replace(phrase, own)
    return words_on_page(in_fields(sentence, _FIELDS, _NAMES))


def _keys() -> dict[str, str]:
    """Return the key of each option."""
    known = {**declared(PlateAsked), **declared(TemplateAsked)}
    return {known[key].name: key for key in LABELS} | {"--plate-hole": "holes", "--name": "name", "--label": "label"}


def _fields() -> dict[str, str]:
    known = {**declared(PlateAsked), **declared(TemplateAsked)}
    return {known[key].name: label for key, label in LABELS.items()} | {"--plate-hole": OWN["holes"]}


_FIELDS = _fields()
_KEYS = {name.removeprefix("--"): key for name, key in _keys().items()}  # of what the page offers
_OF_THE_COMMAND = ("--lay", "--item", "--item-thickness", "--artwork", "--printer", "--format")
_NAMES = {*_FIELDS, *_OF_THE_COMMAND, *(one.name for one in declared(PlateAsked).values())}
_MORE = re.compile(r"\s+|;")


STEPS: Mapping[str, str] = {
    "plate-web-thin": "Move them apart, or set a larger “Web between shapes”, or the right “Thickness of the sheet”.",
}


def step_on_plate(code: str, step: str) -> str:
    """Return the next step of a code as the plate's page says it, `step` being that of the table."""
    return STEPS.get(code) or words_on_plate(step)


def holes_of(words: Words) -> tuple[str, ...]:
    """Return the words of holes, one each."""
    return tuple(word for word in _MORE.split(str(words["holes"] or "")) if word)


def label_of(words: Words) -> tuple[str, ...]:
    """Return the words that stand on the drawings."""
    word = words["label"]
    return (str(word),) if word else ()
