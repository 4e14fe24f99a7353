"""What is looked for in many rings at once is what is found in each alone; a quick look never decides otherwise."""

from __future__ import annotations

import gc
from dataclasses import replace

import numpy as np
import pytest
import shapely

from digitize.fitting.blocks import solve_each, solve_ring
from digitize.fitting.circle import fit_circles
from digitize.fitting.draft import first_draft
from digitize.fitting.fit import _holds
from digitize.fitting.pieces import _runs_forward
from digitize.fitting.ring import Ring, make_ring
from digitize.fitting.shapes import recognise, recognise_all
from digitize.fitting.spikes import _farthest
from digitize.fitting.spline import Row, Way, _Run, fewest_tangent
from digitize.fitting.symmetry import Turned, centroid, symmetries, symmetries_of
from digitize.fitting.task import make_task
from digitize.fitting.together import alone, together
from digitize.records import frozen_array
from digitize.sound import unsound
from tests import strategies as s
from tests.made import circle_ring, ring

RNG = np.random.default_rng(11)


def rings() -> list[Ring]:
    outlines = [
        s.slot(30, 9),
        s.id1_card(),
        s.regular(6, 40),
        s.regular(3, 24),
        s.star(5, 20, 9),
        s.rounded_rectangle(9, 7, 2),
    ]
    sampled = [outline.sampled(noise=0.002, seed=k)[0] for k, outline in enumerate(outlines)]
    sampled += [circle_ring(3, 1, 4, count=300), s.lobed((0.05, -0.08), 15, 0.8), circle_ring(0, 0, 1.5, count=90)]
    return [make_ring(one) for one in sampled]


def test_shapes_recognised_together_are_those_recognised_alone() -> None:
    several = rings()
    found = recognise_all(several)
    assert [None if one is None else one.kind for one in found] == [
        *("slot", "rounded rectangle", "regular polygon", "regular polygon", None, "rounded rectangle"),
        *("circle", None, "circle"),
    ]
    for ring_, shape in zip(several, found, strict=True):
        only = recognise(ring_)
        assert (only is None) == (shape is None)
        if only is not None and shape is not None:
            assert (only.sizes, only.sd, only.centre_mm) == (shape.sizes, shape.sd, shape.centre_mm)


def test_circles_fitted_together_are_those_fitted_alone() -> None:
    several = [one.dense_mm for one in rings()]
    for ring_, found in zip(several, fit_circles(several), strict=True):
        only = fit_circles([ring_])[0]
        assert np.array_equal(only.centre, found.centre)
        assert (only.radius, only.worst_mm, only.worst_mean_mm) == (found.radius, found.worst_mm, found.worst_mean_mm)


def test_symmetries_looked_for_together_are_those_looked_for_alone() -> None:
    several = rings()
    found = together(symmetries_of(one) for one in several)
    assert {one.turns for one in found} >= {1, 2, 3, 5, 6}
    assert found == [symmetries(one) for one in several]


def test_a_look_at_the_nearest_vertices_never_shortens_a_distance() -> None:
    """Held against GEOS; of a ring of short sides it is the distance, of a comb of long ones it may be more."""
    comb = np.array([(0, 0), (20, 0), (20, 1), (1, 1), (1, 2), (20, 2), (20, 3), (0, 3)], dtype=float)
    for points, exact in ((s.lobed((0.05, -0.08), 15, 0.8), True), (comb, False)):
        centre = centroid(points)
        asked = RNG.uniform(points.min(axis=0), points.max(axis=0), (300, 2))
        away = Turned(points, centre).beside_nearest((asked - centre) @ (1, 1j))
        true = shapely.distance(shapely.linearrings(points), shapely.points(asked))
        assert (away > true - 1e-9).all()
        assert bool((away < true + 1e-4).all()) == exact


@pytest.mark.parametrize(("moved", "kept"), [(0.0, True), (0.1, False)])
def test_a_symmetry_holds_for_holes_only_where_they_lie_on_holes(moved: float, kept: bool) -> None:
    """Two round holes of a slot, one of them moved by more than two tolerances, or not."""
    outer = make_ring(s.slot(30, 9).sampled()[0])
    middle = outer.points_mm.mean(axis=0)
    pair = [circle_ring(x, 0, 2, count=120, clockwise=True) + middle for x in (-7, 7 + moved)]
    assert symmetries(outer, holes=tuple(map(make_ring, pair))).with_holes == kept


def row(count: int, bend: float, *, lines: tuple[tuple[int, int], ...] = ()) -> Row:
    """Places of a curve that bends more and more, 0.4 mm apart."""
    heading = np.cumsum(bend * np.linspace(0, 1, count))
    places = np.cumsum(0.4 * np.exp(1j * heading))
    return Row(places, np.full(count, 0.02), np.full(count, 3.0), 8, lines, 0.36, 0.24)


LONG = row(100, 0.05)
# the second goes on where the first ends
HALVES = [
    Row(LONG.places[a:b], LONG.limit_mm[a:b], LONG.size_mm[a:b], 8, (), 0.36, 0.24) for a, b in ((0, 52), (52, 100))
]
ROWS = [*HALVES, row(40, 0.1), row(90, 0.05), row(25, 0.3), row(60, 0.0, lines=((6, 14),)), row(12, 1.2)]


def test_ways_looked_for_together_are_those_looked_for_alone() -> None:
    found = together(fewest_tangent(one, 1.0) for one in ROWS)
    assert sum(isinstance(one, Way) for one in found) >= 5
    for one, way in zip(ROWS, found, strict=True):
        only = alone(fewest_tangent(one, 1.0))
        assert (only is None) == (way is None)
        if only is not None and way is not None:
            assert way.at[0] == 0
            assert way.at[-1] == len(one.places) - 1
            assert np.array_equal(only.at, way.at)
            assert np.array_equal(only.bulges, way.bulges)


def test_no_piece_that_keeps_to_all_places_is_refused_by_a_look_at_one() -> None:
    """The offsets are those from the circle by its centre, one place after the other."""
    count, pieces, slack = 12, 500, 1.0
    chords = np.cumsum(0.4 * np.exp(1j * np.cumsum(RNG.normal(0.05, 0.03, (3, count)), axis=1)), axis=1)
    run = _Run(chords, np.abs(chords), np.full((3, count), 0.02))
    at, end = RNG.integers(0, 3, pieces), RNG.integers(1, count, pieces)
    bulges = RNG.uniform(0.0, 0.3, pieces)
    kept, squares = run.fitting(at, end, bulges, np.full(3, slack))
    expected, means = [], []
    for k in range(pieces):
        chord, bulge = chords[at[k], end[k]], bulges[k]
        centre = chord / 2 + 1j * chord * (1 - bulge**2) / (4 * bulge)
        off = (np.abs(chords[at[k], : end[k]] - centre) - np.abs(centre)) / 0.02
        if np.abs(off).max() <= slack:
            expected.append(k)
            means.append(float(np.sum(off**2)) / end[k])
    assert 20 < len(expected) < pieces - 20
    assert kept.tolist() == expected
    assert squares == pytest.approx(means, abs=1e-9)


def test_systems_of_several_sizes_are_solved_as_each_alone() -> None:
    sizes = np.array([2, 5, 3, 9])
    blocks = RNG.normal(size=(int(sizes.sum()), 4, 4))
    diagonal = blocks + np.swapaxes(blocks, 1, 2) + 20 * np.eye(4)
    upper, right = RNG.normal(size=blocks.shape), RNG.normal(size=(len(blocks), 4, 2))
    found = solve_each(diagonal, upper, right, sizes)
    for end, size in zip(np.cumsum(sizes).tolist(), sizes.tolist(), strict=True):
        part = slice(end - size, end)
        assert np.array_equal(found[part], solve_ring(diagonal[part], upper[part], right[part]))
        whole = np.zeros((4 * size, 4 * size))
        for k in range(size):
            here, after = slice(4 * k, 4 * k + 4), slice(4 * ((k + 1) % size), 4 * ((k + 1) % size) + 4)
            whole[here, here] += diagonal[part][k]
            whole[here, after] += upper[part][k]
            whole[after, here] += upper[part][k].T
        assert whole @ found[part].reshape(4 * size, 2) == pytest.approx(right[part].reshape(4 * size, 2), abs=1e-9)


def test_how_far_points_may_go_is_found_as_by_halving_one_by_one() -> None:
    outline = s.lobed((0.05, -0.08), 15, 0.8)
    near = np.array([0, 100, 400, 900])
    goal = outline[near] + RNG.normal(0, 0.2, (4, 2))
    limits = np.full(4, 0.02)

    def place(which, share):
        return outline[near[which]] + share[:, None] * (goal[which] - outline[near[which]])

    low, high = np.zeros(4), np.ones(4)
    for _ in range(12):
        middle = (low + high) / 2
        off = shapely.distance(shapely.linearrings(outline), shapely.points(place(np.arange(4), middle)))
        low, high = np.where(off <= limits, middle, low), np.where(off <= limits, high, middle)
    assert _farthest(place, near, outline, limits) == pytest.approx(low, abs=2**-12)


def test_a_draft_that_passed_for_one_limit_is_checked_for_another() -> None:
    """Chords of 6 degrees on a circle of 10 mm stray by 10 (1 - cos 3 degrees) = 0.0137 mm."""
    task = alone(make_task(circle_ring(0, 0, 10, count=600), (), 0.02, 0.0))
    begun = first_draft(task.ring, np.arange(0, 600, 10), ())
    draft = replace(begun, bulges=np.zeros(60))
    assert _holds(draft, task)
    assert not _holds(draft, task.eased(0.5))
    assert _holds(draft, task)


def test_ways_back_are_held_against_the_slip() -> None:
    ways = [[0, 1, 2, 3], [0, 2, 1.5, 3], [0, 2, 1, 3], [0, 2, 1.5, 1.2]]
    slip = np.array([0.1, 0.6, 0.6, 0.6])
    assert _runs_forward(np.array(ways, dtype=float), slip).tolist() == [True, True, False, False]


def test_what_can_be_written_to_is_looked_at_again() -> None:
    square = ring([(0, 0), (10, 0), (10, 10), (0, 10)]).copy()
    assert not unsound(square, ())
    square[2] = (-10, 5)
    assert unsound(square, ())


def test_a_body_is_sound_only_with_the_holes_it_was_seen_with() -> None:
    outer = frozen_array(ring([(0, 0), (10, 0), (10, 10), (0, 10)]))
    inner, beyond = (frozen_array(circle_ring(x, 5, 2, count=40, clockwise=True)) for x in (5, 20))
    assert not unsound(outer, (inner,))
    assert not unsound(outer, (inner,))
    assert "reaches beyond" in unsound(outer, (beyond,))
    del inner
    gc.collect()
    for _ in range(50):  # a new array may lie where the old one lay
        assert "reaches beyond" in unsound(outer, (frozen_array(beyond),))
