"""Free stretches between a ring's corners whose joints still kink: written anew, of arcs tangent to begin with.

The fewest pieces may be too far from any tangent ones for a fit to find the way: stubs cut tight bends short, and a
vertex may turn by 20 degrees or more where the ring has no corner. Whether it has one is asked of the ring itself.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from itertools import pairwise

import numpy as np

from ..records import BoolArray, FloatArray
from ..steady import as_complex, few_unknowns, product
from .draft import Draft, kinks_of, preceding, shares_of
from .fillets import DOUBTFUL, LEAST_RADIUS_MM
from .pieces import IntArray
from .repair import spread
from .spikes import clipped
from .spline import Row, Way, fewest_tangent
from .tangent import LEAST_MM, ROUND_MM, SHARP, TANGENT, held, most_pieces, tiny_pieces

_PLACES = 8  # of a piece at which others may begin
_SLACKS = (
    1.3,
    1.2,
    1.1,
    1.0,
    0.85,
    0.7,
    0.55,
)  # of the limit, in turn: what a fit leaves of it is not known before
_LOOKS_MM = (2.0, 1.3, 0.8, 0.5)  # of the ring to either side of a corner
_NOISY = 1.2  # times the noise, or
_MISFIT = 0.1  # of the limit, root mean square: what follows the ring
_CLEARLY = 1.1  # times nearer
_GAP = 2  # points at a corner that belong to neither side
_LEAST_POINTS = 5  # of a side that is looked at
_MOST_POINTS = 400  # either side of a joint, where a better place for it is looked for
_LEAST_SIZE_MM = 0.5  # of a piece, for how far directions are looked at
_MOST_DOUBTFUL = float(np.radians(60))
_LINE = 0.15  # of the limit: a line whose root mean square is more is none of the ring's
_ROOMY = 1.2  # times the least length and radius, for the fit to move in
_LARGER = 1.5  # times that, where an arc came out too small
_WORK = 300  # pieces, all rounds together
_ROUNDS = (1, 10)  # at least and at most, before what is not well by then is left as it was
_LAST_ROUNDS = 3  # of leaving those, as a neighbour of one may not be well without it
_MANY = 60  # pieces: of so many, the ends of stubs are corners at once
_MORE_TRIES = 3  # where a vertex had to be cut off


@dataclass(frozen=True, slots=True)
class Scene:
    """A ring that a draft is fitted to, how far it may stray, and the same without the ring's noise."""

    ring: FloatArray  # (N, 2) mm
    limit_mm: FloatArray  # (N,)
    noise_mm: float  # standard deviation
    calm: FloatArray  # (N, 2) mm
    calm_limit_mm: FloatArray  # (N,)


def has_kinks(draft: Draft, limit_mm: FloatArray) -> bool:
    """Tell whether a joint kinks that may be none of the ring's corners."""
    return bool(((np.abs(kinks_of(draft)) > TANGENT) & ~_sharp(draft, limit_mm) & ~draft.fixed).any())


async def without_kinks(fewest: Draft, draft: Draft, scene: Scene) -> Draft:
    """Return the draft with its free stretches tangent all along, for up to 30 % more pieces than the fewest.

    Each stretch between two corners is written as a way of tangent arcs within so much more or less than the limit,
    then all are fitted to every point; stretches that do not keep the limit then are tried again at less. The ends of
    a stub count as corners only where that fails.
    """
    given = fewest.breaks[fewest.fixed] % len(scene.ring)
    if not _in_order(draft, scene):
        return draft
    tried: BoolArray | None = None
    for stubs in (False, True) if len(draft.bulges) < _MANY else (True,):
        corner = _corners(draft, given, scene, stubs=stubs)
        kinked = (np.abs(kinks_of(draft)) > TANGENT) & ~corner
        if not kinked.any() or not corner.any() or (tried is not None and np.array_equal(corner, tried)):
            break
        written = await _written(draft, corner, kinked, scene, most_pieces(fewest) - len(draft.bulges))
        if not _in_order(written, scene):
            break
        draft, tried = written, corner
    return draft


def _in_order(draft: Draft, scene: Scene) -> bool:
    """Tell whether joints follow one another along the ring: a fit may let those of short pieces pass each other."""
    return bool(shares_of(draft, len(scene.ring))[1].min() >= 0)


async def _written(draft: Draft, corner: BoolArray, kinked: BoolArray, scene: Scene, room: int) -> Draft:
    """Return the draft with those stretches written anew for which that is possible, for so many pieces more."""
    begun, corner, kinked = _from_a_corner(draft, corner, kinked, len(scene.ring))
    stretches = await _stretches(begun, corner, kinked, scene)
    found, more = [(int(kinked.sum()), draft)], _MORE_TRIES
    rounds = int(np.clip(_WORK // len(draft.bulges), *_ROUNDS))
    for left in range(rounds + _LAST_ROUNDS, 0, -1):
        if not more or all(one.way is None for one in _spared(stretches, room)):
            break
        trial = _assembled(begun, corner, kinked, stretches)
        if not _in_order(trial, scene):
            break
        trial = await held(trial, scene.ring, scene.limit_mm, SHARP)
        bad = _unsound(trial, stretches, scene)
        if bad is None:
            break
        if not bad:
            kinks = sum(int(kinked[one.first : one.last].sum()) for one in stretches if one.way is None)
            found.append((kinks, clipped(trial, scene.ring, scene.limit_mm)))
            more = more - 1 if len(found[-1][1].bulges) > len(trial.bulges) else 0
        for one in bad or stretches:
            if left > _LAST_ROUNDS:
                await one.mend()
            else:
                one.leave()
    return min(found, key=lambda one: (one[0], int(np.sum(np.abs(kinks_of(one[1])) > TANGENT)), len(one[1].bulges)))[1]


def _from_a_corner(
    draft: Draft, corner: BoolArray, kinked: BoolArray, points: int
) -> tuple[Draft, BoolArray, BoolArray]:
    """Return a draft of so many points, and what is known of its vertices, from the first corner on."""
    order = np.roll(np.arange(len(corner)), -int(np.argmax(corner)))
    lap = np.where(np.arange(len(corner)) < order[0], points, 0)
    turned = Draft(
        draft.vertices[order],
        draft.bulges[order],
        (draft.breaks + lap)[order],
        draft.straight[order],
        draft.smooth[order],
        draft.fixed[order],
    )
    return turned, corner[order], kinked[order]


def _sharp(draft: Draft, limit_mm: FloatArray) -> BoolArray:
    """Return (K,) which vertices are corners without a look at the ring: where two lines meet, and the sharpest."""
    kinks = np.abs(kinks_of(draft))
    lines = draft.straight & preceding(draft.straight) & (kinks > TANGENT)
    # two arcs of one bend of the least radius, each a limit off it to either side, turn by no more where they meet
    most = 2 * float(np.arccos(1 / (1 + 2 * float(limit_mm.max()) / ROUND_MM)))
    return np.asarray(lines | (kinks > min(most, _MOST_DOUBTFUL)))


def _corners(draft: Draft, given: IntArray, scene: Scene, *, stubs: bool) -> BoolArray:
    """Return (K,) which vertices are corners of the ring: those given, where two lines meet, and sharp ones."""
    kinks, limit = np.abs(kinks_of(draft)), float(scene.limit_mm.max())
    corner = np.isin(draft.breaks % len(scene.ring), given) | _sharp(draft, scene.limit_mm)
    stub = draft.lengths < LEAST_MM
    stub |= preceding(stub)
    corner |= stubs & stub & (kinks > DOUBTFUL)
    certain, within = draft.breaks[corner], float(np.hypot(_NOISY * scene.noise_mm, _MISFIT * limit))
    for at in np.flatnonzero((kinks > DOUBTFUL) & ~corner & ~stub).tolist():
        corner[at] = _bends(scene.ring, int(draft.breaks[at]), certain, within)
    return corner


def _bends(ring: FloatArray, at: int, certain: IntArray, within_mm: float) -> bool:
    """Tell whether two parabolas that part at a point are clearly nearer to the ring about it than one smooth curve.

    That is of the fifth order, with as many terms: both are of the length gone. As much of the ring is looked at as
    either follows within so much, root mean square, but no points beyond corners that are certain.
    """
    count = len(ring)
    away = (certain - at + count // 2) % count - count // 2
    before, after = away[away < 0].max(initial=-count // 4), away[away > 0].min(initial=count // 4)
    index = np.arange(max(before + _GAP, -_MOST_POINTS), min(after - _GAP, _MOST_POINTS) + 1)
    points = ring[(at + index) % count]
    gone = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    gone -= gone[np.argmax(index >= 0)]
    for look in _LOOKS_MM:
        near = (np.abs(gone) <= look) & (np.abs(index) >= _GAP)
        left = index[near] < 0
        if min(np.sum(left), np.sum(~left)) < _LEAST_POINTS:
            break
        seen, powers = points[near], np.vander(gone[near] / look, 6, increasing=True)
        kinked = _misfit(np.hstack([powers[:, :3] * left[:, None], powers[:, :3] * ~left[:, None]]), seen)
        smooth = _misfit(powers, seen)
        if min(kinked, smooth) <= within_mm:
            return _CLEARLY * kinked < smooth
    return False


def _misfit(design: FloatArray, points: FloatArray) -> float:
    """Return the root mean square, in mm, of what a least-squares fit leaves of points (N, 2), x and y taken alike."""
    return float(np.sqrt(np.mean((product(design, few_unknowns(design, points)) - points) ** 2)))


class _Stretch:
    """A stretch of the ring from one corner to the next, and what is to be written there."""

    def __init__(self, draft: Draft, first: int, last: int, scene: Scene) -> None:
        """Look at pieces of a draft, the last of them the one before `last`."""
        self.first, self.last = first, last
        self.slacks = list(_SLACKS)
        self.slack = _SLACKS[0]
        self.remedies: list[str] = []
        self.small = np.zeros(0, dtype=bool)  # (K,) which pieces of the way, once fitted, are too small arcs
        self.way: Way | None = None
        points = len(scene.ring)
        _, counts = shares_of(draft, points)
        every = [np.unique(np.arange(_PLACES) * counts[k] // _PLACES) for k in range(first, last)]
        index = [draft.breaks[first + k] + one for k, one in enumerate(every)]
        self.index = np.concatenate([*index, [draft.breaks[last - 1] + counts[last - 1]]])
        chords = draft.lengths[first:last]
        sizes = np.repeat(chords, [len(one) for one in every])
        places = as_complex(scene.calm[self.index % points])
        places[[0, -1]] = as_complex(draft.vertices[[first, last % len(draft.vertices)]])
        starts = np.cumsum([0, *(len(one) for one in every)])
        lines = np.flatnonzero(_lines(draft, scene)[first:last])
        self.row = Row(
            places,
            scene.calm_limit_mm[self.index % points],
            np.maximum(np.append(sizes, chords[-1]), _LEAST_SIZE_MM),
            _PLACES,
            tuple((int(starts[k]), int(starts[k + 1])) for k in lines),
            _ROOMY * LEAST_MM,
            _ROOMY * LEAST_RADIUS_MM,
        )

    @property
    def more(self) -> int:
        """How many pieces more than before are wanted."""
        return 0 if self.way is None else len(self.way.bulges) - self.last + self.first

    async def closer(self) -> None:
        """Look for a way within less of the limit than before; in the end there is none."""
        self.way, self.remedies = None, ["tangent", "corner"]
        if self.slacks:
            self.slack = self.slacks.pop(0)
            self.way = await fewest_tangent(self.row, self.slack)
        if self.way is None:
            self.slacks = []  # what is not within more of the limit is not within less of it

    async def mend(self) -> None:
        """Look for a way of larger arcs, make lines of small ones beside corners, or look for a closer way, in turn."""
        ends = np.zeros(len(self.small), dtype=bool)
        if len(ends) > 1:
            ends[[0, -1]] = self.small[[0, -1]]
        if self.way is None or not ends.any() or not self.remedies:
            await self.closer()
            return
        remedy = self.remedies.pop(0)
        if remedy == "larger":
            least = replace(
                self.row, least_mm=_LARGER * self.row.least_mm, least_radius_mm=_LARGER * self.row.least_radius_mm
            )
            self.row, self.way = least, await fewest_tangent(least, self.slack)
        else:
            self.way = self.way.lined(ends, tangent=remedy == "tangent")
        if self.way is None:
            await self.closer()

    def leave(self) -> None:
        """Leave the stretch as it was."""
        self.slacks, self.way = [], None

    def pieces(self, draft: Draft) -> Draft:
        """Return the pieces that are to be written, of a draft of those that were there."""
        if self.way is None:
            return _part(draft, self.first, self.last)
        at, count = self.way.at[:-1], len(self.way.bulges)
        places, index = self.row.places[at], self.index[at]
        first = np.arange(count) == 0
        return Draft(
            np.column_stack([places.real, places.imag]),
            self.way.bulges,
            index,
            self.way.straight,
            self.way.smooth,
            np.where(first, draft.fixed[self.first], ~self.way.smooth),
        )


def _part(draft: Draft, first: int, last: int) -> Draft:
    return Draft(*(getattr(draft, one.name)[first:last] for one in fields(Draft)))


def _lines(draft: Draft, scene: Scene) -> BoolArray:
    """Return (K,) which pieces are lines that the ring bears out: it has no bend there that a line only cuts short."""
    rms, _, _ = spread(draft, scene.calm, scene.calm_limit_mm)
    long = draft.lengths >= 2 * LEAST_MM
    return np.asarray(draft.straight & long & (rms < _LINE * scene.limit_mm.max()))


async def _stretches(draft: Draft, corner: BoolArray, kinked: BoolArray, scene: Scene) -> list[_Stretch]:
    """Return the stretches between corners in which a joint kinks, with the first ways."""
    at = [*np.flatnonzero(corner).tolist(), len(corner)]
    found = [_Stretch(draft, first, last, scene) for first, last in pairwise(at) if kinked[first:last].any()]
    for one in found:
        await one.closer()
        one.remedies.insert(0, "larger")
    return found


def _spared(stretches: list[_Stretch], room: int) -> list[_Stretch]:
    """Leave stretches as they were, those first that want the most pieces more, until there is room for the others."""
    while sum(one.more for one in stretches) > room and any(one.more > 0 for one in stretches):
        max(stretches, key=lambda one: one.more).leave()
    return stretches


def _assembled(draft: Draft, corner: BoolArray, kinked: BoolArray, stretches: list[_Stretch]) -> Draft:
    """Return the draft with the ways that were found; corners, and what kinks and is left as it was, stay so."""
    kept = replace(draft, fixed=draft.fixed | (corner | kinked) & (np.abs(kinks_of(draft)) < SHARP))
    parts, done = [], 0
    for one in stretches:
        parts += [_part(kept, done, one.first), one.pieces(kept)]
        done = one.last
    parts.append(_part(kept, done, len(corner)))
    return Draft(*(np.concatenate([getattr(part, one.name) for part in parts]) for one in fields(Draft)))


def _unsound(trial: Draft, stretches: list[_Stretch], scene: Scene) -> list[_Stretch] | None:
    """Return the stretches written anew that kink, stray or have too small arcs; None where only others stray."""
    stray = spread(trial, scene.ring, scene.limit_mm)[1] > 1
    small, kinks = tiny_pieces(trial), np.abs(kinks_of(trial))
    bad, shift = [], 0
    for one in stretches:
        first, last = one.first + shift, one.last + shift + one.more
        shift += one.more
        if one.way is None:
            continue
        one.small = small[first:last]
        if one.small.any() or stray[first:last].any() or (kinks[first:last] > TANGENT)[one.way.smooth].any():
            bad.append(one)
    return bad if bad or not stray.any() else None
