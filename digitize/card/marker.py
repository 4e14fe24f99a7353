"""The coded marker in the middle of a ring: its bits, and its black area as clean closed outlines.

The codes are entries of OpenCV's ArUco dictionary DICT_4X4_50. Of the predefined dictionaries it has the
fewest cells, so each cell is as large as can be and is still read when the whole card is small in the
picture; any two of its entries differ in at least 4 of 16 bits at every rotation. Only entries with many
changes between neighbouring cells (20 or more, the border counted) are used, because plain patterns, such as
entry 17 with its two bars, also occur in pictures by chance; and only such as differ in at least
2 bits from every entry in use when seen in a mirror, so that a mirrored picture is not taken for a good one.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from .parts import MARKER_CELLS, Loop, Point

Cell = tuple[int, int]  # (column, row) of a grid corner, or a step between two

# Bits row by row from the top-left, most significant first, 1 = white: cv2.aruco.DICT_4X4_50.
# fmt: off
BITS: dict[int, int] = {
    0: 0xB532, 2: 0x332D, 4: 0x549E, 5: 0x79CD, 6: 0x9E2E, 13: 0x2A0F, 18: 0x6C5E, 19: 0x76AF,
    20: 0x868B, 21: 0xB02B, 23: 0xDD82, 24: 0xFE47, 25: 0x9471, 27: 0xA554, 29: 0x346F, 31: 0x57B2,
    32: 0x9ECF, 33: 0xF0CB, 35: 0x0929, 36: 0x1875, 39: 0x1C5A, 43: 0x38B2, 46: 0x2D3F,
}
# fmt: on


def marker_black(code: int) -> npt.NDArray[np.bool_]:
    """(6, 6) cells, row 0 on top, True where black; KeyError for a code that no card carries."""
    bits = BITS[code]
    black = np.ones((MARKER_CELLS, MARKER_CELLS), bool)
    white = [(bits >> (15 - i)) & 1 for i in range(16)]
    black[1:5, 1:5] = ~np.array(white, bool).reshape(4, 4)
    return black


def marker_loops(code: int, *, centre_mm: Point, side_mm: float) -> tuple[Loop, ...]:
    """Outlines of the black area: few corners, no shared edges, so that no hairline shows between cells.

    Outer loops run counter-clockwise, holes clockwise (y up); no loop crosses or touches itself.
    """
    cell = side_mm / MARKER_CELLS
    x0, y0 = centre_mm[0] - side_mm / 2, centre_mm[1] + side_mm / 2
    loops = _trace(marker_black(code))
    return tuple(tuple((x0 + c * cell, y0 - r * cell) for c, r in loop) for loop in loops)


def _trace(black: npt.NDArray[np.bool_]) -> list[list[Cell]]:
    """Border loops of the cells in grid corners (column, row), black on the left as seen with y up.

    A loop is closed as soon as it comes back to any corner it has passed, so that none touches itself.
    """
    leaving = _border_edges(black)
    loops = []
    while leaving:
        trail = [min(leaving)]
        while trail:
            step = _take_edge(leaving, trail[-1])
            corner = (trail[-1][0] + step[0], trail[-1][1] + step[1])
            if corner in trail:
                first = trail.index(corner)
                loops.append(_corners_only(trail[first:]))
                del trail[first + (1 if first else 0) :]
            else:
                trail.append(corner)
    return loops


def _take_edge(leaving: dict[Cell, list[Cell]], corner: Cell) -> Cell:
    """Use up one edge that leaves `corner`."""
    step = leaving[corner].pop()
    if not leaving[corner]:
        del leaving[corner]
    return step


def _border_edges(black: npt.NDArray[np.bool_]) -> dict[Cell, list[Cell]]:
    """List unit edges between black and white, by the corner they leave; directions in (column, row)."""
    padded = np.pad(black, 1)
    edges: dict[Cell, list[Cell]] = {}
    for row, col in np.argwhere(black).tolist():
        sides = (
            (padded[row, col + 1], (col + 1, row), (-1, 0)),  # top: leftwards
            (padded[row + 1, col], (col, row), (0, 1)),  # left: downwards
            (padded[row + 2, col + 1], (col, row + 1), (1, 0)),  # bottom: rightwards
            (padded[row + 1, col + 2], (col + 1, row + 1), (0, -1)),  # right: upwards
        )
        for neighbour, corner, direction in sides:
            if not neighbour:
                edges.setdefault(corner, []).append(direction)
    return edges


def _corners_only(loop: list[Cell]) -> list[Cell]:
    """Drop the points in the middle of straight runs."""
    n = len(loop)
    return [
        loop[i]
        for i in range(n)
        if (loop[i][0] - loop[i - 1][0], loop[i][1] - loop[i - 1][1])
        != (loop[(i + 1) % n][0] - loop[i][0], loop[(i + 1) % n][1] - loop[i][1])
    ]
