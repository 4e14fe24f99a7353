"""Which options the page offers, and how what it sends becomes what the command line would have said.

Options that name files of this machine are not among them: those the command line alone may say.
"""

from __future__ import annotations

import shlex
from collections.abc import Iterator, Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import Any

from ..errors import UsageError
from ..kinds import Choice, Either, Json, Kind, Place, Switch, TwoNumbers, Whole
from ..options import Said
from ..parameters import Parameter, declared
from ..settings import Settings
from ..spoken import Word, Words
from .on_page import LABELS, words_on_page

GROUPS: Mapping[str, tuple[str, ...]] = {
    "scale": ("square_mm", "disc_mm", "measured_mm", "dpi", "caliper_error_mm"),
    "cut": (
        *("cut", "clearance_mm", "kerf_mm", "cutter_mm", "relief", "least_radius_mm", "first_layer_mm", "draft_deg"),
        *("shrink_percent", "plug_height_mm", "lead_in_mm", "notches", "notch_width_mm", "notch_angle_deg"),
        *("cut_holes", "pins", "web_mm", "node_spacing_mm"),
    ),
    "edge": ("edge", "item_at_px", "square_at_px", "background", "dust_mm"),
    "drawing": (
        *("ideal", "symmetric", "upright", "imaged_face", "cut_from", "bleed_mm", "inset_mm"),
        *("units", "tolerance_mm", "joins"),
    ),
    "photo": ("taken_with", "item_height_mm", "edge_height_mm", "height_within_mm"),
}
OFFERED = tuple(key for keys in GROUPS.values() for key in keys)
_NAMES = {key: declared(Settings)[key].name for key in OFFERED}
_LONGEST = 200  # characters of a word


def fields() -> list[dict[str, Json]]:
    """Return what the page needs to know of every option it offers, group by group."""
    known = declared(Settings)
    ways = list(known["cut"].kind.choices)  # type: ignore[attr-defined]
    return [
        {
            **field_of(group, known[key], LABELS[key], words_on_page(known[key].help)),
            "ways": [way for way in ways if way in known[key].tables],
        }
        for group, keys in GROUPS.items()
        for key in keys
    ]


def field_of(group: str, one: Parameter, label: str, help: str) -> dict[str, Json]:
    """Return what the page needs to know of an option: its key, kind, unit, choices, and what it is called."""
    return {
        "key": one.keyword,
        "group": group,
        "label": label,
        "help": help,
        "kind": _kind(one.kind),
        "unit": getattr(one.kind, "unit", ""),
        "choices": list(getattr(one.kind, "choices", ())),
        "always": one.unsaid is not None,
        "ways": [],
    }


def _kind(kind: Kind) -> str:
    named = ((Switch, "switch"), (Either, "either"), (Choice, "choice"), (Place, "place"), (TwoNumbers, "two"))
    found = [name for of, name in named if isinstance(kind, of)]
    return found[0] if found else "whole" if isinstance(kind, Whole) else "text"


def start_words(recipe: Said[Settings]) -> Words:
    """Return what the command line said of the options the page offers."""
    known = declared(Settings)
    words: dict[str, Word] = {}
    for key in OFFERED:
        word = recipe.words.get(key)
        is_either = isinstance(known[key].kind, Either)
        words[key] = ("yes" if word else "no") if is_either and isinstance(word, bool) else word
    return words


def words_from(data: object, before: Words, named: Mapping[str, str] = MappingProxyType(_NAMES)) -> Words:
    """Return the words that a page sent, those it did not name as they were.

    Parameters
    ----------
    data
        What was sent.
    before
        The words as they stand.
    named
        What each option that is offered is called in a refusal, by key.

    Raises
    ------
    UsageError
        If it names what is not offered, or sends what is no word.
    """
    if not isinstance(data, dict):
        raise UsageError("The page sent no options. Load it again.")
    for key, word in data.items():
        if key not in named:
            raise UsageError(f"{str(key)[:40]!r} is no option of this page. Load it again.")
        if not isinstance(word, str | bool | None) or (isinstance(word, str) and len(word) > _LONGEST):
            raise UsageError(f"{named[key]}: expected a short word or number.")
    sent: dict[str, Word] = {
        key: (word.strip() or None) if isinstance(word, str) else word for key, word in data.items()
    }
    return {**before, **sent}


def said_with(recipe: Said[Settings], words: Words) -> Said[Settings]:
    """Return what the command line said, with the page's words in the places of the options it offers."""
    switches = {key for key in OFFERED if isinstance(declared(Settings)[key].kind, Switch)}
    plain = {key: bool(word) if key in switches else word for key, word in words.items()}
    return replace(recipe, words={**recipe.words, **plain})


def typical_values(settings: Settings) -> dict[str, str]:
    """Return the values of the way of cutting that nobody said: what holds for them, by key."""
    cutting = settings.cutting
    values = ((name, getattr(cutting, name)) for name in cutting.typical if name in OFFERED)
    return {name: value if isinstance(value, str) else f"{value:g}" for name, value in values}


def usual_fields(settings: Settings) -> dict[str, Json] | None:
    """Return what a workshop's file set: its name, the fields of these options, and the names of those without one."""
    if settings.usual is None:
        return None
    keys = {one.option: key for key, one in declared(Settings).items() if key in OFFERED}
    named = list(settings.usual.options)
    own: list[Json] = [keys[name] for name in named if name in keys]
    return {"file": settings.usual.file, "fields": own, "others": [name for name in named if name not in keys]}


def command_line(path: str, groups: tuple[Said[Any], ...], *, to: str | None) -> str:
    """Return the command that writes the same files, to be typed into a shell."""
    words = ["digitize", "outline", shlex.quote(path)]
    for group in groups:
        words += options_of(group)
    return " ".join(words if to is None else [*words, "--to", shlex.quote(to)])


def options_of(said: Said[Any]) -> Iterator[str]:
    """Yield what was said of a group as words of the command line."""
    for key, one in declared(said.group).items():
        word = said.words.get(key)
        if word in (None, None if one.unsaid is None else one.kind.word(one.unsaid)):
            continue
        if not one.is_said(value := one.kind.read(word, one.name)):
            continue
        if isinstance(one.kind, Switch):
            yield one.name
        elif isinstance(one.kind, Either):
            yield f"--{value}"
        else:
            yield f"{one.name}={shlex.quote(str(word))}" if str(word).startswith("-") else one.name
            if not str(word).startswith("-"):
                yield shlex.quote(str(word))
