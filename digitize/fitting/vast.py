"""Arcs so large that nobody draws them: straight lines in their place, as few as keep to the limit.

A radius above 2 m is not what a person draws on a thing that a hand holds, and no drawing program makes much of it: an
arc of 10 mm has then a sagitta of 6 um at most, which an edge seldom proves. Lines go before arcs: such an arc becomes
a line wherever one keeps to the limit, tangent to its neighbours where the arc was, else as few lines as do.
"""

from __future__ import annotations

import numpy as np

from ..records import BoolArray, FloatArray
from .bulge import path_points
from .draft import Draft, following, preceding
from .goal import Goal
from .pieces import IntArray
from .polish import polish
from .repair import levelled, spread

MOST_RADIUS_MM = 2000.0  # of an arc that is written; common practice, no source
_SURE = 0.995  # of that, so that rounding to a nanometre in a file does not carry a radius of short arcs beyond it
_ROUNDS = 3  # neighbours fitted anew may have become vast
_MORE = 4  # lines, at most, beyond those that the sagitta asks for
_CHORD_SHARE = 0.005  # of the limit: chord error of lines along an arc; what the fit leaves of the limit is twice that


def vast_pieces(chord_mm: FloatArray, bulges: FloatArray) -> BoolArray:
    """Return (K,) which pieces are arcs of more than 2 m radius; chord (1 + bulge^2) / (4 |bulge|) is the radius."""
    size = np.abs(bulges)
    return np.asarray((size > 0) & (chord_mm * (1 + size**2) > 4 * size * _SURE * MOST_RADIUS_MM))


async def without_vast(draft: Draft, ring: FloatArray, limit_mm: FloatArray) -> Draft:
    """Return the draft with straight lines instead of arcs of more than 2 m radius, fitted anew within the limit.

    Where lines and their neighbours do not come within the limit, such arcs are left: see `along_vast`.
    """
    for _ in range(_ROUNDS):
        vast = _vast(draft)
        lined = await _lined(draft, vast, ring, limit_mm) if vast.any() else None
        if lined is None:
            break
        draft = lined
    return draft


async def _lined(draft: Draft, vast: BoolArray, ring: FloatArray, limit_mm: FloatArray) -> Draft | None:
    """Return the draft with vast arcs as lines, one more where one is off its limit; None if a few more do not do.

    A line that halves an arc's sagitta lies half of it off; n lines have a sagitta of 1 / n^2 of the arc's.
    """
    parts = np.where(vast, _lines_for(draft, 2 * float(limit_mm.min())), 1)
    for _ in range(_MORE):
        trial = _divided(draft, parts, vast, len(ring))
        trial = await levelled(await polish(trial, ring, Goal(every_point=True)), ring, limit_mm)
        far = np.maximum.reduceat(spread(trial, ring, limit_mm)[1], np.cumsum(parts) - parts) > 1
        if not far.any():
            return trial
        more = vast & (far | preceding(far) | following(far))
        if not more.any():
            break
        parts = parts + (more & far if (more & far).any() else more)
    return None


def along_vast(draft: Draft, limit_mm: FloatArray) -> Draft:
    """Return the draft with each arc of more than 2 m radius replaced by lines along it, all else in its place."""
    vast = _vast(draft)
    if not vast.any():
        return draft
    lines = _lines_for(draft, _CHORD_SHARE * float(limit_mm.min()))
    return _divided(draft, np.where(vast, lines, 1), vast, len(limit_mm))


def _lines_for(draft: Draft, sagitta_mm: float) -> IntArray:
    """Return (K,) how many chords each piece needs, none with a larger sagitta."""
    own = np.abs(draft.bulges) * draft.lengths / 2
    return np.asarray(np.maximum(np.ceil(np.sqrt(own / sagitta_mm)), 1), dtype=np.intp)


def _vast(draft: Draft) -> BoolArray:
    return vast_pieces(draft.lengths, draft.bulges)


def _divided(draft: Draft, parts: IntArray, straight: BoolArray, points: int) -> Draft:
    """Return the draft with some pieces straight, piece k as `parts[k]` lines of one length through places on it.

    Two lines end on end are not held tangent. `points` is the number of points of the ring.
    """
    piece = np.repeat(np.arange(len(parts)), parts)
    share = (np.arange(len(piece)) - np.repeat(np.cumsum(parts) - parts, parts)) / parts[piece]
    own = np.diff(draft.breaks, append=draft.breaks[0] + points)
    lines, first = (draft.straight | straight)[piece], share == 0
    return Draft(
        path_points(draft.path(), piece, share),
        np.where(lines, 0.0, draft.bulges[piece]),
        draft.breaks[piece] + np.floor(share * own[piece]).astype(np.intp),
        lines,
        draft.smooth[piece] & first & ~(lines & preceding(lines)),
        draft.fixed[piece] & first,
    )
