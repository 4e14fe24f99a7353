"""Vertices that stand out farther than allowed: spikes between samples of a ring that cut its corners."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from ..records import FloatArray
from .bulge import path_points
from .distance import distances_to
from .draft import Draft, chords_of, directions_of, following, kinks_of, preceding
from .pieces import IntArray
from .proof import bound_near
from .repair import spread

Place = Callable[[IntArray, FloatArray], FloatArray]  # which of some points, and shares (N,) -> where they are then

_HALVINGS = 12  # of the way that points are pulled
_AT_ONCE = 3  # of them: the places that these may lead to are looked at together
_CHUNK = 1000  # points looked at together
_TRIED = 40  # places looked at for the end of a shortened piece
_ROOM = 0.85  # of the limit, at the ends of a line that cuts a vertex off: points behind it are a little farther
_GENTLE = 2e-3  # radians, 0.1 degrees: a joint may kink so much
_WINDOW = 30  # points of the ring looked at for the end of a shortened piece


def blunted(draft: Draft, ring: FloatArray, limit_mm: FloatArray) -> Draft:
    """Pull back vertices that stand out farther than the limit; where that bends the pieces too much, cut them off."""
    out = _standing_out(draft, ring, limit_mm)
    if not len(out):
        return draft
    bent = out[:0]
    while len(bent) < len(out):
        pulled = _pulled(draft, ring, limit_mm, np.setdiff1d(out, bent))
        bad = spread(pulled, ring, limit_mm)[1] > 1
        more = np.setdiff1d(out[(bad | preceding(bad))[out]], bent)
        if not len(more):
            break
        bent = np.union1d(bent, more)
    return (
        _cut_off(_pulled(draft, ring, limit_mm, np.setdiff1d(out, bent)), ring, limit_mm, bent) if len(bent) else pulled
    )


def clipped(draft: Draft, ring: FloatArray, limit_mm: FloatArray) -> Draft:
    """Pull back vertices that stand out farther than the limit, arcs as tangent as before at their other ends.

    Where that takes pieces beyond the limit, or turns a line away from an arc, vertices are cut off.
    """
    out = _standing_out(draft, ring, limit_mm)
    if not len(out):
        return draft
    pulled = _bent(draft, out, ring, limit_mm)
    bad = spread(pulled, ring, limit_mm)[1] > 1
    turned = draft.smooth & (np.abs(kinks_of(pulled)) > _GENTLE)
    bad |= turned | following(turned)
    cut = (bad | preceding(bad))[out]
    return _cut_off(_bent(draft, out[~cut], ring, limit_mm), ring, limit_mm, out[cut]) if cut.any() else pulled


def _bent(draft: Draft, out: IntArray, ring: FloatArray, limit_mm: FloatArray) -> Draft:
    """Pull vertices back, and bend the arcs there so that they keep their directions at their other ends."""
    arrive, leave = directions_of(draft)
    pulled, bulges = _pulled(draft, ring, limit_mm, out), draft.bulges.copy()
    heading = np.arctan2(*chords_of(pulled).T[::-1])
    before = (out - 1) % len(bulges)
    bulges[before] = np.tan(_folded(heading[before] - leave[before]) / 2)
    bulges[out] = np.tan(_folded(following(arrive)[out] - heading[out]) / 2)
    return replace(pulled, bulges=np.where(draft.straight, 0.0, bulges))


def _folded(angle: FloatArray) -> FloatArray:
    return np.asarray(np.pi - np.mod(np.pi - angle, 2 * np.pi))


def _standing_out(draft: Draft, ring: FloatArray, limit_mm: FloatArray) -> IntArray:
    breaks = draft.breaks % len(ring)
    out = np.flatnonzero(bound_near(draft.vertices, breaks, ring) > limit_mm[breaks])
    return out[distances_to(ring, draft.vertices[out]) > limit_mm[breaks[out]]] if len(out) else out


def _pulled(draft: Draft, ring: FloatArray, limit_mm: FloatArray, out: IntArray) -> Draft:
    """Move vertices towards the ring until they are within the limit."""
    if not len(out):
        return draft
    near = draft.breaks[out] % len(ring)

    def place(which: IntArray, share: FloatArray) -> FloatArray:
        own = ring[near[which]]
        return np.asarray(own + share[:, None] * (draft.vertices[out[which]] - own))

    vertices = draft.vertices.copy()
    vertices[out] = place(np.arange(len(out)), _farthest(place, near, ring, limit_mm[near]))
    return replace(draft, vertices=vertices)


def _farthest(place: Place, near: IntArray, ring: FloatArray, limits: FloatArray) -> FloatArray:
    """Return how far, as a share from 0 to 1, points can go and stay within their limits of the ring: by halving."""
    low, step, each = np.zeros(len(near)), 1.0, np.arange(len(near))
    for _ in range(_HALVINGS // _AT_ONCE):
        step /= 2**_AT_ONCE
        ahead = low + step * np.arange(1, 2**_AT_ONCE)[:, None]  # wherever the next halvings may lead
        within = _bounds(place, ahead, near, ring) <= limits
        at = np.zeros(len(near), dtype=np.intp)
        for half in (2**k for k in reversed(range(_AT_ONCE))):
            at += half * within[at + half - 1, each]
        low = low + step * at
    return low


def _bounds(place: Place, shares: FloatArray, near: IntArray, ring: FloatArray) -> FloatArray:
    """Return (T, M) at least the distance from a ring of M points, each at several shares (T, M)."""
    which, flat = np.tile(np.arange(len(near)), len(shares)), shares.ravel()
    found = [
        bound_near(place(which[low : low + _CHUNK], flat[low : low + _CHUNK]), near[which[low : low + _CHUNK]], ring)
        for low in range(0, len(flat), _CHUNK)
    ]
    return np.concatenate(found).reshape(shares.shape)


def _cut_off(draft: Draft, ring: FloatArray, limit_mm: FloatArray, out: IntArray) -> Draft:
    """Shorten the pieces on both sides of some vertices and join their ends by straight lines."""
    path, count = draft.path(), len(draft.breaks)
    near = draft.breaks[out] % len(ring)
    limits = _ROOM * limit_mm[near]
    before = (out - 1) % count
    last = 1 - _first_within(lambda which, back: path_points(path, before[which], 1 - back), near, ring, limits)
    first = _first_within(lambda which, back: path_points(path, out[which], back), near, ring, limits)
    ends, starts = path_points(path, before, last), path_points(path, out, first)
    share = np.ones(count)
    share[before] -= 1 - last
    share[out] -= first
    vertices, breaks = draft.vertices.copy(), draft.breaks.copy()
    low = breaks[out] + np.minimum(_nearest(ends, breaks[out], ring), 0)
    vertices[out] = starts
    breaks[out] = np.maximum(breaks[out] + _nearest(starts, breaks[out], ring), low + 1)
    shorter = replace(draft, vertices=vertices, bulges=np.tan(np.arctan(draft.bulges) * share), breaks=breaks)
    return _with_lines(shorter, out, ends, low)


def _first_within(place: Place, near: IntArray, ring: FloatArray, limits: FloatArray) -> FloatArray:
    """Return by what share of a piece, up to half, to go back from its vertex until it is within the limit."""
    shares = 0.5 * (np.arange(1, _TRIED + 1) / _TRIED) ** 2
    away = _bounds(place, np.repeat(shares[:, None], len(near), axis=1), near, ring)
    within = away <= limits
    return np.asarray(shares[np.where(within.any(axis=0), np.argmax(within, axis=0), np.argmin(away, axis=0))])


def _nearest(points: FloatArray, near: IntArray, ring: FloatArray) -> IntArray:
    """Return how many points of the ring on from `near` (M,) the nearest one to each point (M, 2) is."""
    shift = np.arange(-_WINDOW, _WINDOW + 1)
    gap = ring[(near[:, None] + shift) % len(ring)] - points[:, None]
    return np.asarray(shift[np.argmin(gap[..., 0] ** 2 + gap[..., 1] ** 2, axis=1)])


def _with_lines(draft: Draft, at: IntArray, vertices: FloatArray, breaks: IntArray) -> Draft:
    """Return the draft with a straight piece put in before each piece `at`."""
    return Draft(
        np.insert(draft.vertices, at, vertices, axis=0),
        np.insert(draft.bulges, at, 0.0),
        np.insert(draft.breaks, at, breaks),
        np.insert(draft.straight, at, True),
        np.insert(np.where(np.isin(np.arange(len(draft.breaks)), at), False, draft.smooth), at, False),
        np.insert(draft.fixed, at, False),
    )
