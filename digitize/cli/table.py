"""The short table on screen: what was found, how sure it is, what was written."""

from __future__ import annotations

from collections.abc import Sequence

from ..records import Item, Result
from ..run import Report, findings_of
from ..trust.uncertainty import length_k2_mm
from ..write.regular_words import regular_summary, some_names
from ..write.words import link_words, path_words, pocket_notes

_HEAD = ("item", "width", "height", "area", "holes", "outline ±", "length ±")


def _resolution(result: Result) -> str:
    """Return what a pixel is: of a scan in dots per inch, as scanners say it; of a photo only about, on the card."""
    sx, sy = result.scale.mm_per_px
    if result.scale.kind == "camera":
        return f"about {2 / (sx + sy):.1f} px per mm on the card"
    return f"{25.4 / sx:.1f} x {25.4 / sy:.1f} dpi"


def _fit(result: Result) -> str:
    """Return how well the reference fits, where there is one."""
    if result.scale.corners_px is None:
        return ""
    return f", reference fits within {1000 * result.scale.residual_mm:.1f} um"


def report_lines(report: Report) -> list[str]:
    """Return the lines that tell a person what came of one picture; mm, k = 2."""
    result = report.result
    lines = [f"{result.source_name}: {result.scale.reference}, {_resolution(result)}{_fit(result)}"]
    rows = [_HEAD]
    for item in result.items:
        rows.append(
            (
                item.name,
                f"{item.width_mm:.3f}",
                f"{item.height_mm:.3f}",
                f"{item.area_mm2:.2f}",
                str(len(item.holes_mm)),
                f"{item.uncertainty.profile_k2_mm:.3f}",
                f"{length_k2_mm(item):.3f}",
            )
        )
    widths = [max(len(row[i]) for row in rows) for i in range(len(_HEAD))]
    for row in rows:
        cells = [row[0].ljust(widths[0])] + [cell.rjust(width) for cell, width in zip(row[1:], widths[1:], strict=True)]
        lines.append("  " + "  ".join(cells))
    lines.append("  mm and mm2; ± is k = 2 (about 95 %)")
    lines += [f"  {line}" for line in regular_summary(result.items)]
    lines += [f"  {line}" for line in _pockets(result.items)]
    lines += [f"  {note}" for note in pocket_notes(result.items)]
    lines += [f"  {line}" for line in _findings(result)]
    lines += [f"  wrote {path}" for path in report.written]
    return lines


def _pockets(items: Sequence[Item]) -> list[str]:
    """Return the chain from item to path, each one once."""
    names: dict[str, list[str]] = {}
    for item in items:
        if item.pocket is not None:
            links = " -> ".join(link_words(link) for link in item.pocket.chain)
            names.setdefault(f"item -> {links} -> path {path_words(item.pocket)}", []).append(item.name)
    return [f"{some_names(who, len(items))} pocket: {words}" for words, who in names.items()]


def _findings(result: Result) -> list[str]:
    """Return what is found, in order; what is said of several in the same words, once."""
    names: dict[tuple[bool, str, str], list[str]] = {}
    for name, finding in findings_of(result):
        names.setdefault((finding.attention, finding.code, finding.message), []).append(name)
    return [
        f"{'LOOK' if attention else 'note'} [{code}] {some_names(who, len(result.items))}: {message}"
        for (attention, code, message), who in names.items()
    ]
