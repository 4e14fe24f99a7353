"""Stretches of a path that stray from their ring, written as straight lines through the ring's own points.

Where an edge turns within fewer points than a piece must have, as at the teeth of a leaf in a coarse scan, no fit of
lines and arcs keeps to the limit. The rest of the outline need not suffer for it.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..records import BoolArray, FloatArray
from ..steady import as_complex
from .bulge import curve_ring, path_points
from .distance import distances_to
from .draft import Draft, following, in_order, in_sequence, preceding, shares_of
from .pieces import IntArray
from .repair import spread
from .spikes import blunted

_ROUNDS = 4  # beside lines that were put in another piece may stray
_FLAT_MM = 1e-4  # chord error of the flattened path
_STEP_MM = 0.05  # between the places of the path that are looked at
_SURE = 0.9  # of the limit: how far points may lie off the lines


def lined(draft: Draft, ring: FloatArray, limit_mm: FloatArray) -> Draft:
    """Return the draft with lines through some of the ring's points in place of the pieces that are beyond the limit.

    No vertex of it is to move any more: all are `fixed`. Whether the path keeps to the limit and does not cross itself
    is for the caller to check.
    """
    draft = _with_lines(draft, spread(draft, ring, limit_mm)[1] > 1, ring, limit_mm)
    draft = blunted(draft, ring, limit_mm)
    astray = _disordered(draft.breaks, len(ring))
    draft = in_sequence(draft, len(ring))
    for _ in range(_ROUNDS):
        draft = _with_lines(draft, astray | preceding(astray) | following(astray), ring, limit_mm)
        astray = _astray(draft, ring, limit_mm)
        if not astray.any():
            break
    return replace(draft, fixed=np.ones(len(draft.breaks), dtype=bool))


def _disordered(breaks: IntArray, points: int) -> BoolArray:
    """Return (K,) which pieces begin at a point that an earlier one has passed, or are passed over."""
    counts = np.diff(breaks, append=breaks[0] + points)
    return np.asarray((counts < 0) | (np.maximum.accumulate(breaks) > breaks))


def _astray(draft: Draft, ring: FloatArray, limit_mm: FloatArray) -> BoolArray:
    """Return (K,) which pieces answer for points too far from the path, stray from the ring, or cross another."""
    path, (_, counts) = draft.path(), shares_of(draft, len(ring))
    over = distances_to(curve_ring(path, chord_mm=_FLAT_MM), ring) / limit_mm
    left = np.bincount(np.repeat(np.arange(len(counts)), counts), in_order(draft, over) > 1, len(counts))
    lengths = draft.lengths * (1 + np.abs(draft.bulges))  # about
    parts = np.ceil(lengths / _STEP_MM).astype(np.intp) + 1
    piece = np.repeat(np.arange(len(parts)), parts)
    share = (np.arange(len(piece)) - np.repeat(np.cumsum(parts) - parts, parts)) / np.maximum(parts[piece] - 1, 1)
    places = path_points(path, piece, share)
    strays = (distances_to(ring, places) > limit_mm.max()) | _crossing(places)
    return np.asarray((left > 0) | (np.bincount(piece, strays, len(parts)) > 0))


def _crossing(places: FloatArray) -> BoolArray:
    """Return (N,) from which places of a closed line the way to the next crosses another such way."""
    import shapely

    found = np.zeros(len(places), dtype=bool)
    if shapely.is_simple(shapely.linearrings(places)):
        return found
    ways = np.asarray(shapely.linestrings(np.stack((places, following(places)), axis=1)))
    found[shapely.STRtree(ways).query(ways, predicate="crosses")[0]] = True
    return found


def _with_lines(draft: Draft, astray: BoolArray, ring: FloatArray, limit_mm: FloatArray) -> Draft:
    """Return the draft with lines in place of pieces that stray, between the vertices at the ends of each run."""
    if not astray.any():
        return draft
    order = np.roll(np.arange(len(astray)), -int(np.argmin(astray)))  # from a piece that does not, if there is one
    breaks = draft.breaks[order] + len(ring) * (order < order[0])
    starts = np.flatnonzero(~(astray[order] & preceding(astray[order])) | (order == order[0]))
    parts = []
    for at, to in zip(starts, np.append(starts[1:], len(order)), strict=True):
        begin, beyond = int(breaks[at]), int(np.append(breaks, breaks[0] + len(ring))[to])
        ends = draft.vertices[order[at]], draft.vertices[order[to % len(order)]]
        if astray[order[at]]:
            vertices, own = _lines(*ends, begin, beyond, ring, _SURE * float(limit_mm.min()))
            parts.append((vertices, np.zeros(len(own)), own, np.zeros(len(own), dtype=bool)))
        else:
            one = order[at : at + 1]
            parts.append((draft.vertices[one], draft.bulges[one], breaks[at : at + 1], draft.fixed[one]))
    vertices, bulges, breaks, fixed = (np.concatenate(each) for each in zip(*parts, strict=True))
    return Draft(vertices, bulges, breaks, bulges == 0, np.zeros(len(breaks), dtype=bool), fixed)


def _lines(
    start: FloatArray, end: FloatArray, first: int, beyond: int, ring: FloatArray, within_mm: float
) -> tuple[FloatArray, IntArray]:
    """Return the vertices (L, 2) of lines from a start to before an end, and where each one's points begin (L,).

    The others are points of the ring, from the first to the one before `beyond`, the fewest that keep to the rest.
    """
    import shapely

    index = np.arange(first, beyond)
    points = ring[index % len(ring)]
    places = shapely.LineString(np.vstack((start, points, end)))
    kept = shapely.get_coordinates(places.simplify(within_mm, preserve_topology=False))[1:-1]
    own = np.isin(as_complex(points), as_complex(kept))
    return np.vstack((start, points[own])), np.append(first, index[own])
