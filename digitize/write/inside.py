"""Where words go inside an item: its widest place for them, clear of its edge and of its holes."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np

from ..records import FloatArray

Point = tuple[float, float]
_FINE = 0.01  # of the words' width: how well the place is found
_DIGITS = 4  # of a place, as documents write it: what is drawn from one has its words where the first drawing had
_KEPT = 1024  # places found last: each drawing of a picture asks for the same ones


def roomiest(exterior: FloatArray, holes: Sequence[FloatArray], size: tuple[float, float]) -> tuple[Point, bool]:
    """Return the middle of the place within an item where a box of `size` is clearest of all edges, and if it fits.

    The item is drawn out across the box's longer side until the box is a square; in that picture the place is the pole
    of inaccessibility, the centre of the largest circle within.

    Parameters
    ----------
    exterior, holes
        Rings (N, 2), any unit, sound; looked at to four digits, as two places may be as wide as each other.
    size
        Width and height of the box, same unit.
    """
    shell, *within = (np.round(ring, _DIGITS).tobytes() for ring in (exterior, *holes))
    return _roomiest(shell, tuple(within), size)


@lru_cache(maxsize=_KEPT)
def _roomiest(exterior: bytes, holes: tuple[bytes, ...], size: tuple[float, float]) -> tuple[Point, bool]:
    import shapely

    wide, high = size
    stretch = (1.0, wide / high)
    shell, *within = (np.frombuffer(ring).reshape(-1, 2) * stretch for ring in (exterior, *holes))
    whole = shapely.Polygon(shell, within)
    x, y = shapely.get_coordinates(shapely.maximum_inscribed_circle(whole, tolerance=_FINE * wide))[0].tolist()
    box = shapely.box(x - wide / 2, y - wide / 2, x + wide / 2, y + wide / 2)
    return (x, y / stretch[1]), bool(shapely.contains_properly(whole, box))
