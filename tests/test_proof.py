"""Bounds of distances against shapely's distances, with paths that fit and with faults planted in them."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from digitize.fitting.bulge import curve_ring, make_path, path_tangents
from digitize.fitting.fit import fit_curve
from digitize.fitting.proof import _back, _feet, _rolled, bound_near, keeps_within
from digitize.fitting.ring import make_ring
from digitize.records import Path
from tests import strategies as s
from tests.sweeps import sweep, tried

FLAT = 1e-6  # chord error of the paths that shapely measures: what its distances may be too large by


def distances(points: s.Ring, ring: s.Ring) -> s.Ring:
    """Shapely's distance of each point from the nearest side of a ring."""
    tree = shapely.STRtree(shapely.linestrings(np.stack([ring, np.roll(ring, -1, axis=0)], 1)))
    return tree.query_nearest(shapely.points(points), return_distance=True, all_matches=False)[1]


def dense(path: Path) -> s.Ring:
    ring = shapely.Polygon(curve_ring(path, chord_mm=FLAT)).exterior
    return shapely.get_coordinates(shapely.segmentize(ring, 0.02))[:-1]


def breaks_of(path: Path, ring: s.Ring) -> np.ndarray:
    """The first point of the ring beyond each vertex, for pieces that follow one another along it."""
    gaps = np.hypot(*(path.points_mm[:, None] - ring[None]).transpose(2, 0, 1))
    nearest = np.argmin(gaps, axis=1)
    leave, arrive = path_tangents(path)
    halved = np.exp(1j * leave) + np.exp(1j * np.roll(arrive, 1))
    away = (ring[nearest] - path.points_mm) @ np.array([1, 1j])
    nearest = nearest + (np.real(away * np.conj(halved)) < 0)
    return nearest[0] + (nearest - nearest[0]) % len(ring)


def fitted(ring: s.Ring, tolerance: float = 0.05) -> Path:
    path = fit_curve(make_ring(ring, (0,)), tolerance_mm=tolerance)  # a corner: no full circle
    assert isinstance(path, Path)
    return path


def spoilt(path: Path, seed: int, size: float) -> Path:
    """Vertices and bulges moved at random, some pieces past half a turn, some straight."""
    rng = np.random.default_rng(seed)
    bulges = path.bulges + size * rng.standard_normal(len(path.bulges))
    bulges[rng.random(len(bulges)) < 0.1] = 0.0
    wild = rng.random(len(bulges)) < 0.2 * size
    bulges[wild] = rng.uniform(-4, 4, wild.sum())
    return make_path(path.points_mm + size * rng.standard_normal(path.points_mm.shape), bulges)


def shuffled(breaks: np.ndarray, points: int, seed: int, most: int) -> np.ndarray:
    """Breaks moved by up to `most` points, still ascending, no piece without a point."""
    moved = np.sort(breaks + np.random.default_rng(seed).integers(-most, most + 1, len(breaks)))
    moved = np.maximum.accumulate(moved - np.arange(len(moved))) + np.arange(len(moved))
    return moved if moved[-1] < moved[0] + points else breaks


def distance_bounds(path: Path, breaks: np.ndarray, ring: s.Ring) -> tuple[s.Ring, s.Ring]:
    """What `keeps_within` compares with its limits: of each point from the path, and of the path between two feet."""
    counts, points = np.diff(breaks, append=breaks[0] + len(ring)), _rolled(ring, breaks)
    feet = _feet(path, counts, points)
    return feet.distance, _back(path, counts, points, feet)


@pytest.mark.sweep
@settings(max_examples=tried(20, of=40), deadline=None, derandomize=True)
@given(s.rings(), st.integers(0, 10_000), st.sampled_from([0.0, 0.01, 0.3]), st.sampled_from([0, 3, 200]))
def test_bounds_are_never_below_the_distances(ring: s.Ring, seed: int, size: float, most: int) -> None:
    path = spoilt(fitted(ring), seed, size) if size else fitted(ring)
    breaks = shuffled(breaks_of(path, ring), len(ring), seed, most)
    to_path, to_ring = distance_bounds(path, breaks, ring)
    way = dense(path)
    true = np.roll(distances(ring, way), -int(breaks[0]) % len(ring))
    assert np.all(to_path >= true - 2 * FLAT)
    assert to_ring.max() >= distances(way, ring).max() - 2 * FLAT


@pytest.mark.sweep
@settings(max_examples=tried(12, of=25), deadline=None, derandomize=True)
@given(s.rings(), st.integers(0, 10_000), st.sampled_from([0.005, 0.05]))
def test_what_is_shown_to_keep_within_the_limit_does(ring: s.Ring, seed: int, size: float) -> None:
    """At the smallest limit of a ladder that is shown to be kept, the distances are within it."""
    path = spoilt(fitted(ring), seed, size)
    breaks = breaks_of(path, ring)
    true = max(distances(ring, dense(path)).max(), distances(dense(path), ring).max())
    for limit in (0.5 * true, 0.9 * true, 0.999 * true - 2 * FLAT):
        assert not keeps_within(path, breaks, ring, np.full(len(ring), limit))


@sweep("outline", s.zoo(), ("slot 30 x 8", "star 12", "scallops 24"), ids=str)
@pytest.mark.parametrize("noise", [0.0, 0.003])
def test_bounds_of_a_fit_are_tight(outline: s.Outline, noise: float) -> None:
    """Half a micrometre above the true distance at most, so that a search of nearest sides is hardly ever needed."""
    ring, _ = outline.sampled(noise=noise, seed=21)
    path = fit_curve(make_ring(ring))
    assert isinstance(path, Path)
    true = max(distances(ring, dense(path)).max(), distances(dense(path), ring).max())
    assert keeps_within(path, breaks_of(path, ring), ring, np.full(len(ring), true + 0.0005))


CARD, _ = s.id1_card().sampled(spacing=0.02)
CARD_PATH = fit_curve(make_ring(CARD), tolerance_mm=0.005)
BREAKS = breaks_of(CARD_PATH, CARD)


def test_one_point_farther_off_than_its_own_limit_is_seen() -> None:
    limit = np.full(len(CARD), 0.01)
    assert keeps_within(CARD_PATH, BREAKS, CARD, limit)
    bumped = CARD.copy()
    bumped[700] *= 1.0005
    assert not keeps_within(CARD_PATH, BREAKS, bumped, limit)
    limit[700] = 0.03
    assert keeps_within(CARD_PATH, BREAKS, bumped, limit)


@pytest.mark.parametrize("piece", range(8))
def test_every_piece_is_looked_at(piece: int) -> None:
    bulges = CARD_PATH.bulges.copy()
    bulges[piece] += 0.02
    wrong = make_path(CARD_PATH.points_mm, bulges)
    assert not keeps_within(wrong, BREAKS, CARD, np.full(len(CARD), 0.02))


def test_spike_between_two_points_is_seen() -> None:
    """A vertex far outside: no point of the ring has its foot there."""
    square = s.polygon("square", np.array([[0, 0], [20, 0], [20, 20], [0, 20.0]]))
    ring, _ = square.sampled(spacing=0.1, shift=0.5)
    path = make_path(np.array([[0, 0], [20, 0], [20, 20], [0, 20.0]]), np.zeros(4))
    breaks = breaks_of(path, ring)
    assert keeps_within(path, breaks, ring, np.full(len(ring), 0.04))  # the ring cuts the corner: 0.05 / sqrt(2)
    assert not keeps_within(path, breaks, ring, np.full(len(ring), 0.03))


def test_piece_without_points_shows_nothing() -> None:
    breaks = BREAKS.copy()
    breaks[3] = breaks[2]
    assert not keeps_within(CARD_PATH, breaks, CARD, np.full(len(CARD), 1.0))


def test_bound_of_a_point_is_its_distance_where_it_is_looked_for() -> None:
    rng = np.random.default_rng(22)
    near = rng.integers(0, len(CARD), 50)
    points = CARD[near] + 0.05 * rng.standard_normal((50, 2))
    assert bound_near(points, near, CARD) == pytest.approx(distances(points, CARD), abs=1e-12)
    assert np.all(bound_near(points, near + 500, CARD) >= distances(points, CARD))


def test_way_between_two_feet_counts_as_far_as_the_next_foot() -> None:
    """A disc's edge with a gap of 0.2 rad between two points, the second of them 0.05 mm inside.

    Over the gap the arc bulges out by 10 mm * 0.2^2 / 8 = 0.05 mm, and the ring's side falls away by 0.05 mm: the arc
    is up to 1.56 times as far off (tD + 4 s t (1 - t) at t = 5/8) as any point or bulge alone.
    """
    angle = np.concatenate([np.arange(0, 1.0001, 0.01), np.arange(1.2, 2 * np.pi, 0.01)])
    ring = 10 * np.column_stack([np.cos(angle), np.sin(angle)])
    ring[101] *= 9.95 / 10
    path = make_path(np.array([[10.0, 0.0], [-10.0, 0.0]]), np.ones(2))
    breaks = np.array([0, int(np.searchsorted(angle, np.pi))])
    assert distances(dense(path), ring).max() == pytest.approx(1.56 * 0.05, abs=0.001)
    assert not keeps_within(path, breaks, ring, np.full(len(ring), 0.06))
    assert keeps_within(path, breaks, ring, np.full(len(ring), 0.101))


def test_pieces_without_a_length_prove_nothing_near() -> None:
    """A line there and back from 1 to 49 mm, its ends pieces of no length, lies 1 mm off the ends of a strip of 50."""
    strip = np.array([[0, 0], [50, 0], [50, 0.03], [0, 0.03]])
    ring = shapely.get_coordinates(shapely.segmentize(shapely.Polygon(strip).exterior, 0.25))[:-1]
    turned = np.array([[1, 0.015], [1, 0.015 + 4e-16], [49, 0.015], [49, 0.015 + 4e-16]])
    path, breaks = make_path(turned, np.zeros(4)), np.array([0, 4, 200, 205])
    assert distance_bounds(path, breaks, ring)[0].max() >= 1
    assert not keeps_within(path, breaks, ring, np.full(len(ring), 0.02))
    ends = np.array([-5, 5, 196, 206])  # all that lies off the path belongs to one of its ends
    assert distance_bounds(path, ends, ring)[0].max() >= 1
    assert not keeps_within(path, ends, ring, np.full(len(ring), 0.02))
