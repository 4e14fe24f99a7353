"""Two outlines laid on one another, drawn at true size: where the second lies outside, and where inside."""

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
    low, high = points_mm.min(axis=0) - _MARGIN_MM, points_mm.max(axis=0) + _MARGIN_MM
    width, height = (high - low).tolist()
    placed = np.column_stack([points_mm[:, 0] - low[0], high[1] - points_mm[:, 1]])
    most = max(float(np.abs(off_mm).max()), sure_mm, 1e-6)
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{_n(width)}mm" height="{_n(height + 10)}mm" '
        f'viewBox="0 0 {_n(width)} {_n(height + 10)}" fill="none" stroke-linecap="round" stroke-linejoin="round">',
        *_marks(placed, off_mm, sure_mm, most),
        _polyline(np.vstack([placed, placed[:1]]), "#000000", 0.1),
        *_captions(height, sure_mm, most),
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


def _captions(top: float, sure_mm: float, most: float) -> list[str]:
    words = (
        (_OUTSIDE, f"second outside, at most {most:.3f} mm (widest mark)"),
        (_INSIDE, "second inside"),
        (_SAME, f"within {sure_mm:.3f} mm"),
    )
    return [
        f'<text x="{_n(_MARGIN_MM)}" y="{_n(top + 3.2 * number)}" fill="{colour}" font-family="sans-serif" '
        f'font-size="{_n(_CAPTION_MM * 0.8)}">{text}</text>'
        for number, (colour, text) in enumerate(words)
    ]


def _polyline(points: FloatArray, colour: str, wide: float) -> str:
    path = " ".join(f"{_n(x)},{_n(y)}" for x, y in points.tolist())
    return f'<polyline points="{path}" stroke="{colour}" stroke-width="{_n(wide)}"/>'


def _n(value: float) -> str:
    return plain_number(value, 4)
