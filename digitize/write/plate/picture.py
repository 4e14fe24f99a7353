"""A numbered picture of a plate for the shop floor: large numbers, zero and front, seen from the print face."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable

import numpy as np

from ...fitting.bulge import curve_ring
from ...plate.heights import height_words
from ...plate.plate import Plate, moved_by, placed_curve
from ...records import FloatArray
from ..cautions import UV_PRINT
from ..preview.labels import Colour, Pen, wrapped
from ..preview.picture import png_bytes
from .compose import plate_edge, roomy_place
from .words import heading, zero_words

_LONGEST_PX = 1600.0
_FIT = (4.0, 0.25)  # most px a mm, least
_MARGIN_PX = 40
_TEXT_PX, _NUMBER_PX = 20, 34
# Fills of kinds in turn, light enough for black numbers; kinds are told by their words in the list as well.
_FILLS: tuple[Colour, ...] = ((196, 214, 250), (252, 222, 186), (202, 236, 205), (232, 206, 242))
_WHITE: Colour = (255, 255, 255)
_INK: Colour = (20, 20, 20)
_EDGE: Colour = (90, 90, 90)
_ZERO: Colour = (5, 130, 73)

Placing = Callable[[FloatArray], FloatArray]


def plate_png(plate: Plate, mark: str) -> bytes:
    """Return the plate's picture as PNG, the same bytes each time."""
    width, height = plate.bed_mm
    scale = min(max(_LONGEST_PX / max(width, height), _FIT[1]), _FIT[0])
    wide = max(int(width * scale), 500)
    words = _words(plate, mark, wide)
    tall = int(height * scale)
    size = (tall + 3 * _MARGIN_PX + (len(words) + 1) * int(1.4 * _TEXT_PX), wide + 2 * _MARGIN_PX)

    def px(points: FloatArray) -> FloatArray:
        return np.column_stack([points[:, 0] * scale + _MARGIN_PX, (height - points[:, 1]) * scale + _MARGIN_PX])

    pixels = np.full((*size, 3), 255, dtype=np.uint8)
    pen = Pen(pixels)
    pen.outline(px(np.array([(0, 0), (width, 0), (width, height), (0, height)], dtype=float)), edge=_EDGE)
    edge = plate_edge(plate).points_mm + plate.zero_mm
    pen.outline(px(edge), edge=_INK)
    _items(plate, pen, px, scale)
    _zero(plate, pen, px)
    for number, line in enumerate(words):
        at = (_MARGIN_PX, tall + 2 * _MARGIN_PX + int(1.4 * _TEXT_PX) * (number + 1))
        pen.write(at, line, size=_TEXT_PX, colour=_INK)
    return png_bytes(pen.pixels())


def _items(plate: Plate, pen: Pen, px: Placing, scale: float) -> None:
    """Draw every item filled, its holes open, its number in its roomiest place."""
    fills = {kind.name: _FILLS[number % len(_FILLS)] for number, kind in enumerate(plate.kinds)}
    letters = len(str(len(plate.places))) + 1
    for number, place in enumerate(plate.places, 1):
        kind = plate.kind_of(place)
        moved = moved_by(kind, place)
        for curve, fill in ((kind.item.path, fills[kind.name]), *((one, _WHITE) for one in kind.item.hole_paths)):
            pen.outline(px(curve_ring(placed_curve(curve, moved), chord_mm=0.1)), edge=_INK, fill=fill)
        (x, y), _ = roomy_place(kind, place.turn_deg, letters)
        at = px(np.array([[place.x_mm + x, place.y_mm + y]]))[0]
        size = min(_NUMBER_PX, max(9, int(0.5 * scale * min(kind.item.width_mm, kind.item.height_mm))))
        pen.write((float(at[0]), float(at[1])), str(number), size=size, colour=_INK, anchor="mm")


def _zero(plate: Plate, pen: Pen, px: Placing) -> None:
    """Mark the zero corner and the front."""
    x, y = px(np.array([plate.zero_mm]))[0].tolist()
    pen.dot((x, y), 9.0, _ZERO)
    left = plate.zero.endswith("left")
    above = plate.zero.startswith("top")
    at = (x - 12 if left else x + 12, y - 12 if above else y + 30)
    pen.write((at[0], at[1]), "0,0", size=_TEXT_PX, colour=_ZERO, anchor="ls" if left else "rs")
    middle = px(np.array([[plate.bed_mm[0] / 2, 0.0]]))[0].tolist()
    pen.write((middle[0], middle[1] + 30), "FRONT", size=_TEXT_PX, colour=_EDGE, anchor="ms")


def _words(plate: Plate, mark: str, wide_px: int) -> list[str]:
    counts = Counter(place.kind for place in plate.places)
    numbers = {kind: [number for number, place in enumerate(plate.places, 1) if place.kind == kind] for kind in counts}
    lines = [
        f"{heading(plate, 'Plate')}. {' / '.join(plate.label)}",
        *(f"{kind}: {count}, numbers {_runs(numbers[kind])}" for kind, count in counts.items()),
        *height_words(plate),
        f"{zero_words(plate.zero, plate.bed_mm)} Seen from the print face. {mark}",
        "Not to scale: to find pockets by their numbers, not to measure.",
        UV_PRINT,
    ]
    return [part for line in lines for part in wrapped(line, _TEXT_PX, wide_px)]


def _runs(numbers: list[int]) -> str:
    """Return numbers as people write them: "1-4, 7"."""
    parts: list[list[int]] = []
    for number in numbers:
        if parts and number == parts[-1][-1] + 1:
            parts[-1].append(number)
        else:
            parts.append([number])
    return ", ".join(f"{run[0]}-{run[-1]}" if len(run) > 1 else str(run[0]) for run in parts)
