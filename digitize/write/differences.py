"""Outlines laid on one another, drawn at true size: where and how much they differ."""

from __future__ import annotations

import numpy as np

from ..records import FloatArray
from ..seal import BLANK, seal
from .numbers import plain_number

# Apart for colour-blind eyes as well (after Okabe and Ito, 2008); width tells the amount, so that grey prints do.
_OUTSIDE, _INSIDE, _SAME = "#d55e00", "#0072b2", "#767676"
_MARGIN_MM = 12.0
_STRETCHES = 360
_WIDEST_MM = 6.0  # of the mark at the largest difference
_CAPTION_MM = 3.5


def differences_svg(points_mm: FloatArray, off_mm: FloatArray, *, sure_mm: float) -> bytes:
    """Return an SVG of an outline with marks where another lies outside or inside it.

    Parameters
    ----------
    points_mm : (N, 2)
        Places evenly along the outline, y up.
    off_mm : (N,)
        How far the other lies outside there, inside negative.
    sure_mm
        Differences below that are within what both are known to, and drawn grey.
    """
    most = float(np.abs(off_mm).max())
    captions = (
        (_OUTSIDE, f"second outside (widest mark {most:.3f} mm)"),
        (_INSIDE, "second inside"),
        (_SAME, f"within {sure_mm:.3f} mm"),
    )
    return _drawing(points_mm, off_mm, sure_mm, captions)


def spread_svg(points_mm: FloatArray, range_mm: FloatArray, *, sure_mm: float, samples: int) -> bytes:
    """Return an SVG of a lot's mean outline with marks as wide as its samples lie apart there.

    Parameters
    ----------
    points_mm : (N, 2)
        Places evenly along the mean outline, y up.
    range_mm : (N,)
        From the smallest sample to the largest.
    sure_mm
        What lies apart by less is within what the outlines are known to, and drawn grey.
    samples
        How many there are.
    """
    captions = (
        (_OUTSIDE, f"{samples} samples lie up to {float(range_mm.max()):.3f} mm apart (widest mark)"),
        (_SAME, f"within {sure_mm:.3f} mm"),
    )
    return _drawing(points_mm, range_mm, sure_mm, captions)


def _drawing(points_mm: FloatArray, off_mm: FloatArray, sure_mm: float, captions: tuple[tuple[str, str], ...]) -> bytes:
    low, high = points_mm.min(axis=0) - _MARGIN_MM, points_mm.max(axis=0) + _MARGIN_MM
    width, height = (high - low).tolist()
    placed = np.column_stack([points_mm[:, 0] - low[0], high[1] - points_mm[:, 1]])
    most = max(float(np.abs(off_mm).max()), sure_mm, 1e-6)
    page = height + _CAPTION_MM * len(captions)
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{_n(width)}mm" height="{_n(page)}mm" '
        f'viewBox="0 0 {_n(width)} {_n(page)}" fill="none" stroke-linecap="round" stroke-linejoin="round">',
        *_marks(placed, off_mm, sure_mm, most),
        _polyline(np.vstack([placed, placed[:1]]), "#000000", 0.1),
        *_written(captions, height),
        f"<!-- {BLANK} -->",
        "</svg>\n",
    ]
    return seal("\n".join(lines).encode())


def _marks(placed: FloatArray, off_mm: FloatArray, sure_mm: float, most: float) -> list[str]:
    found = []
    step = max(1, len(placed) // _STRETCHES)
    closed = np.vstack([placed, placed[:1]])
    for start in range(0, len(placed), step):
        amount = float(off_mm[start : start + step][np.argmax(np.abs(off_mm[start : start + step]))])
        colour = _SAME if abs(amount) <= sure_mm else _OUTSIDE if amount > 0 else _INSIDE
        wide = max(0.3, _WIDEST_MM * abs(amount) / most)
        found.append(_polyline(closed[start : start + step + 1], colour, wide))
    return found


def _written(captions: tuple[tuple[str, str], ...], top: float) -> list[str]:
    return [
        f'<text x="{_n(_MARGIN_MM)}" y="{_n(top + _CAPTION_MM * number)}" fill="{colour}" font-family="sans-serif" '
        f'font-size="{_n(0.8 * _CAPTION_MM)}">{text}</text>'
        for number, (colour, text) in enumerate(captions)
    ]


def _polyline(points: FloatArray, colour: str, wide: float) -> str:
    path = " ".join(f"{_n(x)},{_n(y)}" for x, y in points.tolist())
    return f'<polyline points="{path}" stroke="{colour}" stroke-width="{_n(wide)}"/>'


def _n(value: float) -> str:
    return plain_number(value, 4)
