"""One outline of several blanks: read, made, written, and what is said of it."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from ..document.document import document_bytes
from ..errors import UsageError
from ..files import safe_stem, write_files
from ..recipe.lot import Blank, outline_lot
from ..records import Item, LotSample, Result
from ..run import Output, Report, check_output, vector_files
from ..settings import Settings
from ..write.differences import spread_svg
from .check import read_outline
from .table import report_lines

_DRAWINGS = ("json", "dxf", "svg", "pdf", "proof")  # there is no one picture to draw on


@dataclass(frozen=True, slots=True)
class LotReport:
    """What came of a lot."""

    lines: list[str]
    document: bytes
    needs_person: bool


def make_lot_files(
    documents: Sequence[Path],
    settings: Settings,
    output: Output,
    *,
    only: tuple[str, ...],
    name: str | None,
    either_face: bool,
) -> LotReport:
    """Make one outline of all items of some documents, and write its files.

    Raises
    ------
    DigitizeError
        Nothing is written then.
    """
    check_output(settings, output)
    blanks = _blanks(documents, only)
    called = name or f"{safe_stem(documents[0].stem)}-lot"
    result = outline_lot(blanks, settings, name=called, either_face=either_face)
    output = replace(output, formats=tuple(kind for kind in output.formats if kind in _DRAWINGS), separate=False)
    stem = safe_stem(called)
    files = vector_files(result, output, stem)
    files[f"{stem}.spread.svg"] = _spread(result)
    report = Report(result, tuple(write_files(output.folder, files, force=output.force)))
    lines = report_lines(report)
    return LotReport(_lines(result) + lines[1:], document_bytes(result), report.needs_person)


def _blanks(documents: Sequence[Path], only: tuple[str, ...]) -> list[Blank]:
    if not documents:
        raise UsageError("No document was given. Say which blanks make the lot: digitize lot tag-a.json tag-b.json.")
    blanks = []
    for path in documents:
        result = read_outline(path)
        if result.lot is not None:
            raise UsageError(f"{path} is a lot already: give the documents of its blanks, with the new ones.")
        blanks += [Blank(result, item) for number, item in enumerate(result.items, 1) if _is_meant(item, number, only)]
    if not blanks:
        raise UsageError(f"No item is called {' or '.join(only)} in {', '.join(path.name for path in documents[:4])}.")
    places = [_middle_px(one) for one in blanks]
    for (one, here), (other, there) in itertools.combinations(zip(blanks, places, strict=True), 2):
        if _is_same(one, other, apart_px=math.dist(here, there)):
            raise UsageError(
                f"{other.item.name} of {other.result.source_name} is the same blank in the same picture as "
                f"{one.item.name} of {one.result.source_name}: counted twice it would make the lot look evener than it "
                "is. Give every document once, or scan the other blanks."
            )
    return blanks


def _is_same(one: Blank, other: Blank, *, apart_px: float) -> bool:
    """Whether two blanks are one, outlined twice: in the same picture, where items cannot lie on one another."""
    near = apart_px * max(one.result.scale.mm_per_px) < min(one.item.width_mm, one.item.height_mm) / 4
    return near and one.result.source_sha256 == other.result.source_sha256


def _middle_px(blank: Blank) -> tuple[float, float]:
    """About where a blank's middle lies in its picture."""
    ((right_mm, up_mm),) = blank.item.as_laid(np.array([blank.item.centroid_mm])).tolist()
    (x, y), (across, down) = blank.item.origin_px, blank.result.scale.mm_per_px
    return x + right_mm / across, y - up_mm / down


def _is_meant(item: Item, number: int, only: tuple[str, ...]) -> bool:
    return not only or item.name in only or str(number) in only


def _spread(result: Result) -> bytes:
    """The picture of how far the samples lie apart along the mean."""
    assert result.lot is not None
    return spread_svg(
        result.items[0].exterior_mm,
        result.lot.range_along_mm,
        sure_mm=result.items[0].uncertainty.profile_k2_mm,
        samples=len(result.lot.samples),
    )


def _lines(result: Result) -> list[str]:
    """What is said of the lot as a whole and of each sample, the odd ones first."""
    lot = result.lot
    assert lot is not None
    lines = [
        f"{result.items[0].name}: mean of {len(lot.samples)}, scale from {result.scale.reference}",
        f"  samples lie up to {lot.range_mm:.3f} mm apart; standard deviation {lot.sd_mm:.3f} mm where it is largest",
    ]
    if lot.tolerance_factor is not None:
        beyond = lot.tolerance_factor * lot.sd_mm
        lines.append(
            f"  95 % of all blanks lie within {beyond:.3f} mm of the mean, 95 % sure "
            f"({lot.tolerance_factor:.2f} standard deviations of {len(lot.samples)} samples, Howe)"
        )
    return lines + [f"  {_sample(one)}" for one in sorted(lot.samples, key=lambda one: not one.is_odd)]


def _sample(one: LotSample) -> str:
    over = ", turned over" if one.turned_over else ""
    return (
        f"{one.name}: {one.larger_mm:+.3f} mm a side, form {one.form_mm:.3f} mm, at most {one.most_mm:.3f} mm off"
        f"{over}{' - unlike the others' if one.is_odd else ''}"
    )
