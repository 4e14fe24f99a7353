"""Joints that kink where the ring has no corner: made tangent, for some pieces more.

The fewest pieces often meet at a kink of a few degrees that no draughtsman would draw: the ring is smooth there, and
the vertex only stands out of it. A corner of the ring is told by that: no arc that takes the vertex off, tangent to
both pieces, comes nearer to the ring.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from dataclasses import replace

import numpy as np

from ..records import BoolArray, FloatArray
from ..steady import as_complex
from .bulge import path_points
from .draft import Draft, kinks_of, preceding, shares_of
from .fillets import DOUBTFUL, LEAST_RADIUS_MM, Fillet, nearest_fillets
from .goal import ROUGH
from .pieces import IntArray
from .polish import polish
from .repair import HOPELESS, cuts_of, is_stuck, levelled, spread
from .track import track_of
from .vast import vast_pieces

TANGENT = np.radians(0.3)  # of turn: as good as none; half a degree shows on a glossy edge
SHARP = np.radians(20)  # a joint that turns more is a corner
ROUND_MM = 0.4  # radius: a doubtful corner that is rounder is none
LEAST_MM = 0.3  # length of an arc put in: shorter ones make machines stutter
_MORE = 0.3  # of the pieces: so many may be added
_CLOSER = 0.75  # of the tolerance of a draft whose pieces are far too few for tangent joints
_WORK = 300  # pieces, all rounds of halving together
_HALVINGS = (1, 12)  # rounds, at least and at most
_IDLE = 3  # rounds of halving that may bring nothing, before it is given up
_BETTER = 0.97  # of the largest offset so far: a round that brought something
_ROUNDS = 3  # of making lines of arcs that have become vast


async def rounded(draft: Draft, ring: FloatArray, limit_mm: FloatArray) -> Draft:
    """Return the draft without kinks that are no corners of the ring, for up to 30 % more pieces.

    All joints are held tangent and the worst pieces halved until the limit is kept; where so many pieces are not
    enough, arcs take the vertices off, the sharpest first. What leaves the fewest kinks is returned, at last the draft.
    """
    able = _kinked(draft)
    if not len(able):
        return draft
    draft, arcs = _cornered(draft, ring, limit_mm, able)
    most = most_pieces(draft)
    halved = await _halved(await held(draft, ring, limit_mm, SHARP), ring, limit_mm, most)
    found = [] if halved is None else [halved]
    if not found or len(_kinked(found[0])):
        found.append(await _with_arcs(draft, arcs, ring, limit_mm, most))
    return min([draft, *found], key=lambda one: (len(_kinked(one)), len(one.bulges)))


async def tangent_all(
    draft: Draft, ring: FloatArray, limit_mm: FloatArray, closer: Callable[[float], Awaitable[Draft]]
) -> Draft | None:
    """Return a first draft of a ring without lines and arcs with all joints tangent, for up to 30 % more pieces.

    Where its pieces are too few, `closer` is asked for a draft at so much less than the tolerance of this one.
    None where up to 30 % more pieces are not enough. Corners stay, as `rounded` tells them.
    """
    most = most_pieces(draft)
    if is_stuck(draft, ring, limit_mm):
        return None
    trial = await _held_but_corners(draft, ring, limit_mm)
    if is_stuck(trial, ring, limit_mm):
        return None
    if spread(trial, ring, limit_mm)[1].max() > HOPELESS:
        closest = await closer(_CLOSER)
        if len(closest.bulges) <= most:
            trial = await _held_but_corners(closest, ring, limit_mm)
    return await _halved(trial, ring, limit_mm, most)


async def _held_but_corners(draft: Draft, ring: FloatArray, limit_mm: FloatArray) -> Draft:
    draft, _ = _cornered(draft, ring, limit_mm, _kinked(draft))
    return await held(draft, ring, limit_mm, SHARP)


def most_pieces(draft: Draft) -> int:
    """Return how many pieces a draft may come to have for tangent joints."""
    return max(len(draft.bulges) + 1, int((1 + _MORE) * len(draft.bulges)))


def _cornered(draft: Draft, ring: FloatArray, limit_mm: FloatArray, able: IntArray) -> tuple[Draft, list[Fillet]]:
    """Return the draft with those of some vertices fixed that are corners, and the arcs that could take others off.

    A corner turns by more than 5 degrees, and no arc comes nearer to the ring, or only one of less than 0.4 mm radius.
    """
    kinks = np.abs(kinks_of(draft))
    found = nearest_fillets(draft, ring, limit_mm, able)
    arcs = {at: one for at, one in found.items() if one is not None and abs(one.end - one.start) >= LEAST_MM}
    sharp = (at for at, one in found.items() if one is None or abs(one.start - one.centre) < ROUND_MM)
    corners = [at for at in sharp if kinks[at] > DOUBTFUL]
    return replace(draft, fixed=draft.fixed | np.isin(np.arange(len(draft.fixed)), corners)), list(arcs.values())


def _kinked(draft: Draft) -> IntArray:
    """Return the vertices that kink and may be no corners, the sharpest first."""
    kinks = np.abs(kinks_of(draft))
    able = np.flatnonzero((kinks > TANGENT) & _smoothable(draft, kinks))
    return able[np.argsort(-kinks[able], kind="stable")]


def _smoothable(draft: Draft, kinks: FloatArray) -> BoolArray:
    """Return (K,) the vertices that are no corners by their turn; where two lines meet is always one."""
    return np.asarray((kinks < SHARP) & ~(draft.straight & preceding(draft.straight)) & ~draft.fixed)


async def _with_arcs(draft: Draft, arcs: list[Fillet], ring: FloatArray, limit_mm: FloatArray, most: int) -> Draft:
    chosen = arcs[: most - len(draft.bulges)]
    if not chosen:
        return draft
    with_arcs = _with(draft, sorted(chosen, key=lambda one: one.at), len(ring))
    for turn in (SHARP, TANGENT):
        trial = await held(with_arcs, ring, limit_mm, turn)
        if _sound(trial, ring, limit_mm, turn):
            return trial
    return with_arcs


async def _halved(trial: Draft, ring: FloatArray, limit_mm: FloatArray, most: int) -> Draft | None:
    """Return a draft whose joints are held, its worst pieces halved until it keeps the limit.

    None where that takes more pieces than `most`.
    """
    least, idle = np.inf, 0
    for _ in range(int(np.clip(_WORK // len(trial.bulges), *_HALVINGS))):
        if _sound(trial, ring, limit_mm, SHARP):
            return trial
        room = most - len(trial.bulges)
        worst = float(spread(trial, ring, limit_mm)[1].max())
        idle = 0 if worst < _BETTER * least else idle + 1
        least = min(least, worst)
        if room <= 0 or idle > _IDLE:
            break
        trial = await held(_divided(trial, room, ring, limit_mm), ring, limit_mm, SHARP)
    return trial if _sound(trial, ring, limit_mm, SHARP) else None


def _divided(draft: Draft, room: int, ring: FloatArray, limit_mm: FloatArray) -> Draft:
    """Return the draft with its worst pieces in halves, about as many as are missing.

    Offsets grow with the cube of a piece's length.
    """
    off = spread(draft, ring, limit_mm)[1]
    missing = max(1, int(np.sum(np.maximum(np.cbrt(off) - 1, 0.0))))
    cuts = cuts_of(draft, ring, limit_mm)
    for at in np.sort(np.argsort(-off, kind="stable")[: min(room, missing)])[::-1].tolist():
        draft = split(draft, at, int(cuts[at]), len(ring))
    return draft


def split(draft: Draft, at: int, cut: int, points: int) -> Draft:
    """Return the draft with one piece in two, the first of so many points."""
    _, counts = shares_of(draft, points)
    share = cut / int(counts[at]) if counts[at] else 0.5
    middle = path_points(draft.path(), np.array([at]), np.array([share]))
    quarter = np.arctan(draft.bulges[at])
    bulges = np.insert(draft.bulges, at + 1, np.tan(quarter * (1 - share)))
    bulges[at] = np.tan(quarter * share)
    return Draft(
        np.insert(draft.vertices, at + 1, middle, axis=0),
        bulges,
        np.insert(draft.breaks, at + 1, draft.breaks[at] + cut),
        np.insert(draft.straight, at + 1, False) & (np.arange(len(bulges)) != at),
        np.insert(draft.smooth, at + 1, True),
        np.insert(draft.fixed, at + 1, False),
    )


def _with(draft: Draft, fillets: list[Fillet], points: int) -> Draft:
    """Return the draft with arcs put in at their vertices, and their neighbours cut short."""
    count = len(draft.bulges)
    starts, ends = draft.vertices[:, 0] + 1j * draft.vertices[:, 1], as_complex(np.roll(draft.vertices, -1, axis=0))
    breaks = draft.breaks.copy()
    smooth = draft.smooth.copy()
    tracks = [track_of(complex(starts[k]), complex(ends[k]), float(draft.bulges[k])) for k in range(count)]
    for one in fillets:
        starts[one.at], ends[one.at - 1] = one.end, one.start
        breaks[one.at] = one.last
        smooth[one.at] = True
    bulges = np.array([track.bulge(complex(a), complex(b)) for track, a, b in zip(tracks, starts, ends, strict=True)])
    at = np.array([one.at for one in fillets])
    first = np.array([[one.start.real, one.start.imag] for one in fillets])
    return Draft(
        np.insert(np.column_stack([starts.real, starts.imag]), at, first, axis=0),
        np.insert(bulges, at, [one.bulge for one in fillets]),
        np.insert(breaks, at, [one.first for one in fillets]),
        np.insert(draft.straight, at, False),
        np.insert(smooth, at, True),
        np.insert(draft.fixed, at, False),
    )


async def held(draft: Draft, ring: FloatArray, limit_mm: FloatArray, turn: float) -> Draft:
    """Return the draft fitted once more, all joints tangent that turn less than an angle, vast arcs as lines."""
    for _ in range(_ROUNDS):
        kinks = np.abs(kinks_of(draft))
        held = replace(draft, smooth=_smoothable(draft, kinks) & (kinks < turn))
        draft = await polish(held, ring, ROUGH)
        if spread(draft, ring, limit_mm)[1].max() < HOPELESS:
            draft = await levelled(draft, ring, limit_mm)
        vast = vast_pieces(draft.lengths, draft.bulges)
        if not vast.any():
            break
        draft = replace(draft, straight=draft.straight | vast, bulges=np.where(vast, 0.0, draft.bulges))
    return draft


def _sound(draft: Draft, ring: FloatArray, limit_mm: FloatArray, turn: float) -> bool:
    """Tell whether a draft keeps to the limit and to the least radius and length, its joints closed."""
    kinks = np.abs(kinks_of(draft))
    closed = not (_smoothable(draft, kinks) & (kinks < turn) & (kinks > TANGENT)).any()
    return closed and not tiny_pieces(draft).any() and bool(spread(draft, ring, limit_mm)[1].max() <= 1)


def tiny_pieces(draft: Draft) -> BoolArray:
    """Return (K,) which pieces are arcs too small to be put in; chord (1 + bulge^2) / (4 |bulge|) is their radius."""
    size, chord = np.abs(draft.bulges), draft.lengths
    return np.asarray((size > 0) & ((chord * (1 + size**2) < 4 * size * LEAST_RADIUS_MM) | (chord < LEAST_MM)))
