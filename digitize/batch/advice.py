"""What to do about a problem or warning, and which to look at first."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from .ledger import Row
from .task import Warned

# Worst first: no result, then a wrong size, then a wrong shape, then doubts.
_PROBLEMS = {
    "defect": ("defect", "Report the defect with this picture; measure the item by hand meanwhile."),
    "ended": ("work-ended", "Save the picture in another format and run the same command again with --retry."),
    "picture": ("unreadable", "Copy or scan the picture again, then run the same command again."),
    "time": ("took-too-long", "Scan a smaller area, then run the same command again."),
    "scale": ("no-scale", "Lay the reference square beside the item and scan again, or give options in a manifest."),
    "outline": ("no-outline", "Lay the item on paper of another colour, or give background or item-at in a manifest."),
    "usage": ("wrong-option", "Correct the option named."),
    "write": ("not-written", "Make room or move the file named, then run the same command again."),
    "memory": ("out-of-memory", "Close programs or use a smaller --jobs, then run the same command again."),
    "machine": ("machine", "Mend what is named, then run the same command again."),
}
WARNINGS = {
    "density-disagrees": "Measure the reference with calipers, correct --square or --measured, and run again.",
    "reading-unlikely": "Measure the ring's outer side again, black edge to black edge, and run again.",
    "axes-differ": "Measure both sides of the reference, say both, and run again.",
    "reference-touched": "Lay the reference free of items and shadows, and scan again.",
    "picture-coarse": "Scan again at 300 dpi or more.",
    "two-level": "Scan again in grey or colour, not as line art.",
    "reference-covered": "Clear the reference of what lies on it, and scan again.",
    "ring-left-out": "Look whether the ring named is curled, covered or cut off; lay it flat and scan again.",
    "scale-from-density": "Scan again with the reference square beside the item.",
    "touches-card": "Move the item away from the card, and scan again.",
    "card-touched": "Move the item away from the card, and scan again.",
    "cut-by-border": "Lay the whole item inside the scanned area, and scan again.",
    "left-out-at-border": "See whether the item is among what was left out; move it inward, on evenly lit paper.",
    "left-out-without-edge": "See whether the item is among what was left out; lay it on paper of another colour.",
    "too-many-items": "Lay the item on plain, clean paper, and photograph again.",
    "item-pale": "Lay the item on paper of another colour, and photograph again.",
    "items-close": "Lay the items farther apart, and scan again.",
    "shadow-suspected": "Look at the check picture; scan with the lid closed, or photograph in softer light.",
    "item-failed": "Lay the item flat, clean and apart on paper of another colour, and scan again: it has no files.",
    "hole-left-out": "Lay paper of another colour behind the hole, and scan again.",
    "edge-tangled": "Look whether narrow gaps and necks are drawn as they are; scan at a higher density.",
    "edge-unclear": "Look at the marked places on the check picture; scan on paper of another colour.",
    "card-not-measured": "Measure the printed card with calipers once: --measured XxY.",
    "no-path": "Take a smaller cutter or kerf, or leave the item out with --item-at, and run again.",
    "narrower-than-cutter": "Take a smaller --cutter or a larger --clearance, and run again.",
    "uncut": "Take a smaller --cutter, or --relief diagonal or side, and run again.",
    "pockets-cross": "Lay the items farther apart and scan again, or cut each from a file of its own: --separate.",
    "web-thin": "Lay the items farther apart and scan again, or cut each from a file of its own: --separate.",
    "notch-near-corner": "Turn the finger notches with --notch-angle, or make them narrower, and run again.",
    "pin-too-thin": "Say a smaller --clearance, or leave that pin out.",
    "first-page-only": "Save the other pages to files of their own.",
}
_LOOK = "Look at the check picture, and compare a length with calipers."


@dataclass(frozen=True, slots=True)
class Attention:
    """One thing a person has to look at."""

    row: Row
    where: str  # item or picture
    code: str
    reason: str
    next_step: str
    value: float | None = None
    limit: float | None = None


def attention_of(rows: Iterable[Row]) -> list[Attention]:
    """Return everything that needs a person, worst first."""
    found = [attention for row in rows for attention in _of(row)]
    return sorted(found, key=_rank)


def badness(row: Row) -> tuple[int, float, str]:
    """Return the key that sorts pictures worst first; those without anything to look at come last."""
    return min((_rank(attention) for attention in _of(row)), default=(_LAST, 0.0, row.key))


def next_step(code: str) -> str:
    """Return what to do about a warning."""
    return WARNINGS.get(code, _LOOK)


def _of(row: Row) -> list[Attention]:
    outcome = row.outcome
    if outcome.state != "done":
        reason = outcome.problem
        if outcome.files:
            reason += " Results of an earlier run still lie in the folder."
        code, step = _PROBLEMS[outcome.kind]
        return [Attention(row, row.shown, code, reason, step)]
    return [_warning(row, warned) for warned in outcome.warned if warned.attention]


def _warning(row: Row, warned: Warned) -> Attention:
    return Attention(row, warned.where, warned.code, warned.message, next_step(warned.code), warned.value, warned.limit)


_ORDER = {code: i for i, code in enumerate([*(code for code, _ in _PROBLEMS.values()), *WARNINGS])}
_UNKNOWN = len(_ORDER)  # a warning that is not in the table: after those that are
_LAST = _UNKNOWN + 1


def _rank(attention: Attention) -> tuple[int, float, str]:
    """Order by code, then by how far the limit is exceeded, then by name."""
    excess = 0.0
    if attention.value is not None and attention.limit:
        excess = abs(attention.value / attention.limit)
    return _ORDER.get(attention.code, _UNKNOWN), -excess, attention.row.key
