"""Why an outline and calipers disagree: the signature that explains all readings at once, and its figure."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

from ..records import Finding
from ..words.say import finding_of
from .readings import Compared

# Ratios of a size to its reading that a known mistake leaves; pages shrunk to fit: the share of the sheet that is left
# between the margins of common printers (common practice, no source); dots per inch and inches by their quotients.
_FIT_TO_PAGE = (0.9727, 0.9407)
_DENSITIES = ((72.0, 96.0), (90.0, 96.0), (96.0, 300.0), (72.0, 300.0))
_INCH, _TENFOLD = 25.4, 10.0
_PAIRS = (("length", "width"), ("box width", "box height"))  # that are measured one after the other
_NEAR_PART = 0.004  # how near to a known ratio counts as that; neighbouring signatures are 0.03 apart
_LEAST_PART = 0.0005  # a scale that is off by less is no cause
_PHOTO_MOST = 0.15  # a height makes a photo's sizes larger by no more than this
_PHOTO_NEAREST_MM = 150.0  # from where a phone has card and item in view: common practice, no source
_KERF_SHARE = 0.35  # of the kerf: how near to it counts as one kerf


@dataclass(frozen=True, slots=True)
class Setting:
    """What is known of how the outline was made."""

    of_photo: bool = False
    item_height_mm: float | None = None
    kerf_mm: float = 0.0
    measured: bool = True  # whether the card, or square, was measured with calipers


_Tried = Callable[[Sequence[Compared], Sequence[Compared], Setting], Iterator[Finding]]


def likely_cause(compared: Sequence[Compared], setting: Setting) -> Finding | None:
    """Return the likely cause of what disagrees, None if nothing does.

    Each known signature is tried in the order of how little it assumes: a known factor, one axis alone, a free common
    factor (in a photo: height), the same amount all round, one reading alone. The first that leaves every reading in
    agreement is it. One reading alone shows a known factor or none.
    """
    off = [one for one in compared if one.verdict == "disagree"]
    if not off:
        return None
    several: tuple[_Tried, ...] = (_one_reading, _one_axis, _common_factor, _all_round)
    is_alone = len(compared) == 1
    for tried in (_exchanged, _known_factor, *(() if is_alone else several)):
        for finding in tried(compared, off, setting):
            return finding
    worst_mm = max((one.difference_mm for one in off), key=abs)
    return finding_of("check-unexplained", value=worst_mm, case="alone" if is_alone else None)


def _all_agree(compared: Sequence[Compared], corrected: Callable[[Compared], float]) -> bool:
    """Whether all readings agree once each size is what `corrected` makes of it."""
    return all(replace(one, size=replace(one.size, mm=corrected(one))).verdict == "agree" for one in compared)


def _exchanged(compared: Sequence[Compared], _: Sequence[Compared], setting: Setting) -> Iterator[Finding]:
    """Two readings that agree once each is taken for the other."""
    by_name = {one.name: one for one in compared}
    for first, second in _PAIRS:
        if first in by_name and second in by_name:
            one, other = by_name[first], by_name[second]
            found = by_name | {
                first: replace(one, read_mm=other.read_mm),
                second: replace(other, read_mm=one.read_mm),
            }
            if all(each.verdict == "agree" for each in found.values()):
                yield finding_of("check-exchanged", value=one.difference_mm, first=first, second=second)


def _known_factor(compared: Sequence[Compared], _: Sequence[Compared], setting: Setting) -> Iterator[Finding]:
    ratio = _ratio(compared)
    if not _all_agree(compared, lambda one: one.size.mm / ratio):
        return
    known = [
        (_off(ratio, share), finding_of("check-fit-to-page", value=ratio, share=100 * share)) for share in _FIT_TO_PAGE
    ]
    known.append((_off(ratio, _INCH), finding_of("check-inch", value=ratio)))
    known.append((_off(ratio, _TENFOLD), finding_of("check-tenfold", value=ratio)))
    if not setting.of_photo:
        known += [
            (_off(ratio, one / other), finding_of("check-density", value=ratio, first=one, second=other))
            for one, other in _DENSITIES
        ]
    off, nearest = min(known, key=lambda pair: pair[0])
    if off <= _NEAR_PART:
        yield nearest


def _off(ratio: float, known: float) -> float:
    """How far a ratio is from a known one or its inverse, a part of it."""
    return min(abs(ratio / known - 1), abs(ratio * known - 1))


def _one_axis(compared: Sequence[Compared], off: Sequence[Compared], setting: Setting) -> Iterator[Finding]:
    """One direction of the picture is right and the other is not."""
    for axis, other in (("x", "y"), ("y", "x")):
        along = [one for one in compared if one.size.along == axis]
        across = [one for one in compared if one.size.along == other]
        if not along or not across or any(one.verdict != "agree" for one in across) or not set(off) <= set(along):
            continue
        ratio = _ratio(along)
        if _all_agree(along, lambda one, by=ratio: one.size.mm / by):  # type: ignore[misc]
            yield finding_of(
                "check-one-axis", value=ratio, way="width" if axis == "x" else "height", off=100 * (ratio - 1)
            )


def _common_factor(compared: Sequence[Compared], _: Sequence[Compared], setting: Setting) -> Iterator[Finding]:
    ratio = _ratio(compared)
    if abs(ratio - 1) < _LEAST_PART or not _all_agree(compared, lambda one: one.size.mm / ratio):
        return
    if _better_all_round(compared, ratio):
        return
    off, height = 100 * (ratio - 1), setting.item_height_mm or 0.0
    if setting.of_photo and 1 < ratio <= 1 + _PHOTO_MOST:
        yield finding_of("check-height", value=ratio, off=off, height=height)
    elif setting.of_photo and 0 < 1 - ratio <= height / _PHOTO_NEAREST_MM:
        yield finding_of("check-height", value=ratio, off=off, height=height, case="lower")
    else:
        yield finding_of("check-scale", value=ratio, off=off, case=None if setting.measured else "unmeasured")


def _all_round(compared: Sequence[Compared], _: Sequence[Compared], setting: Setting) -> Iterator[Finding]:
    amount = _amount(compared)
    if not _all_agree(compared, lambda one: one.size.mm - one.size.grows * amount):
        return
    if setting.kerf_mm and abs(abs(amount) - setting.kerf_mm) <= _KERF_SHARE * setting.kerf_mm:
        yield finding_of("check-kerf", value=amount, kerf=setting.kerf_mm)
    elif amount > 0:
        yield finding_of("check-too-large", value=amount, off=amount / 2)
    else:
        yield finding_of("check-too-small", value=amount, off=-amount / 2)


def _one_reading(compared: Sequence[Compared], off: Sequence[Compared], _: Setting) -> Iterator[Finding]:
    """One of at least three is off and the others agree."""
    if len(compared) >= 3 and len(off) == 1 and sum(one.verdict == "agree" for one in compared) == len(compared) - 1:
        if off[0].size.along and _stands_alone(off[0], compared):
            return  # may be that axis
        yield finding_of("check-one-reading", value=off[0].difference_mm, name=off[0].name)


def _stands_alone(one: Compared, compared: Sequence[Compared]) -> bool:
    """Whether no other reading lies along the same axis, so that the axis may be what is wrong."""
    return sum(other.size.along == one.size.along for other in compared) == 1


def _ratio(compared: Sequence[Compared]) -> float:
    """The common ratio of sizes to readings, each weighted by how well it is known."""
    weights = [(one.read_mm / one.both_k2_mm) ** 2 for one in compared]
    ratios = [one.size.mm / one.read_mm for one in compared]
    return sum(w * r for w, r in zip(weights, ratios, strict=True)) / sum(weights)


def _amount(compared: Sequence[Compared]) -> float:
    """The common amount by which outer sizes are too large and holes too small, mm."""
    weights = [one.both_k2_mm**-2 for one in compared]
    amounts = [one.size.grows * one.difference_mm for one in compared]
    return sum(w * a for w, a in zip(weights, amounts, strict=True)) / sum(weights)


def _better_all_round(compared: Sequence[Compared], ratio: float) -> bool:
    """Whether one amount all round explains the readings better than one factor does."""
    amount = _amount(compared)

    def left(size: Callable[[Compared], float]) -> float:
        return math.fsum(((size(one) - one.read_mm) / one.both_k2_mm) ** 2 for one in compared)

    return left(lambda one: one.size.mm - one.size.grows * amount) < left(lambda one: one.size.mm / ratio)
