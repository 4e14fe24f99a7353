"""A ring whose shape is known, such as a rounded rectangle: fitted from there, once, if nothing speaks against it."""

from __future__ import annotations

import numpy as np

from ..records import FloatArray, Path
from .bulge import path_kinks
from .draft import Draft, counts_of, offsets, preceding
from .goal import Goal
from .pieces import IntArray
from .polish import polish
from .repair import Flat, spread
from .tangent import TANGENT

_LEAST_POINTS = 5  # of a line whose bend is looked at
_LEAST = 0.1  # of the limit: what a known shape may leave
_EVERY_POINT = Goal(every_point=True)


def as_draft(path: Path, breaks: IntArray, corners: tuple[int, ...]) -> Draft | None:
    """Return a path as a draft, its tangent joints held; None where joints do not follow one another along the ring.

    Parameters
    ----------
    path
        About the ring's middle and in its direction.
    breaks : (K,)
        The index of the point nearest to each vertex.
    corners
        Indices of the ring's corners.
    """
    order = np.roll(np.arange(len(breaks)), -int(np.argmin(breaks)))
    if not (np.diff(breaks[order]) > 0).all():
        return None
    straight = path.bulges == 0
    smooth = (np.abs(path_kinks(path)) < TANGENT) & ~(straight & preceding(straight))
    fixed = np.isin(breaks, np.array(corners))
    return Draft(
        path.points_mm[order],
        path.bulges[order],
        breaks[order],
        straight[order],
        (smooth & ~fixed)[order],
        fixed[order],
    )


async def fitted_as_known(known: Draft, ring: FloatArray, limit_mm: FloatArray, flat: Flat) -> Draft | None:
    """Return a known path fitted to every point of a ring; None where something speaks against its pieces.

    Its lines and joints are taken as the shape has them while they leave next to nothing: where the root mean square of
    a piece, or the sagitta that is left in a line, is a tenth of the tolerance, the pieces are found as for any ring.
    """
    draft = await polish(known, ring, _EVERY_POINT)
    rms, worst, count = spread(draft, ring, limit_mm)
    least = _LEAST * float(limit_mm.min())
    bowed = draft.straight & (_bends(draft, ring) > least)
    flat_arcs = ~draft.straight & (np.abs(draft.bulges) * draft.lengths / 2 < flat.level(rms, count))
    return None if worst.max() > 1 or rms.max() > least or (bowed | flat_arcs).any() else draft


def _bends(draft: Draft, ring: FloatArray) -> FloatArray:
    """Return (K,) the sagitta of the parabola that is nearest to each piece's offsets."""
    off, counts = offsets(draft, ring), counts_of(draft, len(ring))
    first = np.cumsum(counts) - counts
    place = 2 * (np.arange(len(off)) - np.repeat(first, counts) + 0.5) / np.repeat(counts, counts) - 1
    bow = place**2 - 1 / 3
    sums = [np.add.reduceat(one, first) for one in (off * bow, bow * bow)]
    return np.asarray(np.where(counts < _LEAST_POINTS, 0.0, np.abs(sums[0]) / np.maximum(sums[1], 1e-12)))
