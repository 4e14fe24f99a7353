"""The short table on screen: what was found, how sure it is, what to look at, what was written."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ..records import Item, Result
from ..run import Report
from ..trust.uncertainty import length_k2_mm
from ..words.gather import Said, said_of
from ..words.message import Rank
from ..write.regular_words import regular_summary, some_names
from ..write.words import cut_lines, inch_size, made_of, pocket_notes

_HEAD = ("item", "calipers", "box as laid", "area", "holes", "outline ±", "length ±")
_CHECK = ".check.png"
_NO_POCKET = (
    "No pocket was asked for, so there is no path to cut. For one add --cut laser (or router, knife, print3d, former), "
    "or --clearance 0.2."
)


def report_lines(report: Report, *, verbose: bool = False) -> list[str]:
    """Return the lines that tell a person what came of one picture; mm, k = 2.

    Parameters
    ----------
    report
        What came of it.
    verbose
        Also the figures for experts.
    """
    result = report.result
    lines = [f"{result.source_name}: scale from {result.scale.reference}, {_resolution(result)}"]
    if verbose and result.scale.corners_px is not None:
        lines[0] += f", reference fits within {1000 * result.scale.residual_mm:.1f} um"
    lines += _table(result)
    if result.items:
        lines.append(f"  {made_of(max(result.items, key=lambda item: item.uncertainty.profile_k2_mm))}")
    lines += [f"  {line}" for line in regular_summary(result.items, detailed=verbose)]
    lines += [f"  {line}" for line in cut_lines(result.items, detailed=verbose)]
    lines += [f"  {note}" for note in pocket_notes(result.items)]
    told = [said for said in said_of(result) if verbose or said.attention or said.rank != Rank.DETAIL]
    for said in told:
        lines += [f"  {line}" for line in _told(said, detailed=verbose)]
    lines += [f"  wrote {path}" for path in report.written]
    return lines


@dataclass(frozen=True, slots=True)
class Ended:
    """What is left to be said of a picture when all are done."""

    checks: tuple[str, ...]  # names of the check pictures written
    has_pocket: bool

    @classmethod
    def of(cls, report: Report) -> Ended:
        """Return it for one picture."""
        checks = tuple(path.name for path in report.written if path.name.endswith(_CHECK))
        return cls(checks, any(item.pocket is not None for item in report.result.items))


def closing_lines(ended: Sequence[Ended]) -> list[str]:
    """Return what is said once, below all pictures: how to ask for a pocket where none was, and what to look at."""
    lines = [_NO_POCKET] if ended and not any(one.has_pocket for one in ended) else []
    checks = [name for one in ended for name in one.checks]
    if len(checks) == 1:
        lines.append(f"Look at {checks[0]} now.")
    elif checks:
        lines.append(f"Look at the check pictures now: {some_names(checks, 0)}.")
    return lines


def _resolution(result: Result) -> str:
    """Return what a pixel is: of a scan in dots per inch, as scanners say it; of a photo only about, on the card."""
    sx, sy = result.scale.mm_per_px
    if result.scale.kind == "camera":
        return f"about {2 / (sx + sy):.1f} px per mm on the card"
    return f"{25.4 / sx:.1f} x {25.4 / sy:.1f} dpi"


def _table(result: Result) -> list[str]:
    also = ("in inches",) if result.in_inches else ()
    rows: list[tuple[str, ...]] = [(*_HEAD[:2], *also, *_HEAD[2:])]
    rows += [_row(item, in_inches=result.in_inches) for item in result.items]
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    lines = []
    for row in rows:
        cells = [row[0].ljust(widths[0])] + [cell.rjust(width) for cell, width in zip(row[1:], widths[1:], strict=True)]
        lines.append("  " + "  ".join(cells))
    return [*lines, "  mm and mm2; calipers: length x least width between jaws; ± is k = 2 (about 95 %)"]


def _row(item: Item, *, in_inches: bool) -> tuple[str, ...]:
    read = item.calipers
    return (
        item.name,
        "" if read is None else f"{read.length_mm:.3f} x {read.width_mm:.3f}",
        *((inch_size(item),) if in_inches else ()),
        f"{item.width_mm:.3f} x {item.height_mm:.3f}",
        f"{item.area_mm2:.2f}",
        str(len(item.holes_mm)),
        f"{item.uncertainty.profile_k2_mm:.3f}",
        f"{length_k2_mm(item) if read is None else read.length_k2_mm:.3f}",
    )


def _told(said: Said, *, detailed: bool) -> list[str]:
    lines = [f"{'LOOK' if said.attention else 'note'}  {said.sentence}"]
    if detailed:
        figures = [f"{name} {value:.4g}" for name, value in (("value", said.value), ("limit", said.limit)) if value]
        lines.append("      " + "; ".join([f"[{said.code}]", *figures, *said.details]))
    return lines
