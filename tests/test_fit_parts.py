"""The steps of the curve fit: how far pieces go, vertices that stand out, rings that are nearly ragged."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from ezdxf.math import bulge_to_arc

from digitize.fitting import polish, search
from digitize.fitting.bulge import curve_ring, path_kinks
from digitize.fitting.circle import fit_circles
from digitize.fitting.distance import two_sided_distance
from digitize.fitting.draft import Draft, distance_of, first_draft, local_of, offsets, slopes_of
from digitize.fitting.fit import fit_curve
from digitize.fitting.pieces import Limits, judged
from digitize.fitting.ragged import lines_if_ragged
from digitize.fitting.ring import make_ring
from digitize.fitting.spikes import blunted
from digitize.fitting.together import alone, together
from digitize.records import Path
from tests import strategies as s

TOLERANCE = 0.02
_DENSE_ARCS = [np.linspace(middle - np.pi / 4, middle + np.pi / 4, 5000) for middle in (0.0, np.pi)]


@pytest.fixture
def stretches(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """How many stretches each call of the judge was asked about."""
    asked: list[int] = []

    def counted(*args, **kwargs):
        asked.append(len(args[1]))
        return judged(*args, **kwargs)

    monkeypatch.setattr(search, "judged", counted)
    return asked


# one piece


def pratt_by_eigenvalues(points: s.Ring) -> float:
    """Mean square of the distances from Pratt's circle, by NumPy's eigenvalues of his pencil."""
    x, y = (points - points.mean(axis=0)).T / np.ptp(points)
    design = np.column_stack([x * x + y * y, x, y, np.ones_like(x)])
    constraint = np.array([[0, 0, 0, -2.0], [0, 1, 0, 0], [0, 0, 1, 0], [-2.0, 0, 0, 0]])
    values, vectors = np.linalg.eig(np.linalg.solve(constraint, design.T @ design / len(x)))
    a, b, c, d = vectors[:, np.argmin(np.where(values.real > 0, values.real, np.inf))].real
    radius = np.sqrt(b * b + c * c - 4 * a * d) / abs(2 * a)
    off = np.hypot(x + b / (2 * a), y + c / (2 * a)) - radius
    return float(np.mean(off**2)) * np.ptp(points) ** 2


@pytest.mark.parametrize(("first", "length"), [(0, 300), (250, 700), (650, 900)])
def test_a_stretch_is_held_against_the_circle_of_pratt(first: int, length: int) -> None:
    ring = s.ellipse(12, 9)[:: max(1, len(s.ellipse(12, 9)) // 1000)]
    limits = Limits(np.full(len(ring), np.inf), np.inf)
    wish = judged(ring, np.array([first]), np.array([length]), limits=limits, samples=96)
    (found,) = wish.by([wish.given])
    share = np.rint(np.linspace(0, 1, 96) * length).astype(int)
    expected = pratt_by_eigenvalues(ring[(first + share) % len(ring)])
    assert found.mean_square[0] == pytest.approx(expected, rel=1e-4)


# all pieces at once


def test_a_fit_goes_on_while_there_is_something_to_gain() -> None:
    """The path that noise was added to is one of those that least squares are taken of: none found may be worse."""
    truth = s.id1_card()
    ring, joints = truth.sampled(noise=0.003, seed=3)[0], truth.starts()
    bulges = np.array([np.tan(one.sweep / 4) if isinstance(one, s.Arc) else 0.0 for one in truth.pieces])
    near = np.argmin(np.hypot(*(ring[None] - joints[:, None]).transpose(2, 0, 1)), axis=1)
    order = np.argsort(near)
    begun = first_draft(ring, near[order] - 9, ())
    known = replace(begun, vertices=joints[order], bulges=bulges[order], breaks=near[order])
    fitted = alone(polish.polish(begun, ring, polish.Goal(every_point=True)))
    assert np.sum(offsets(begun, ring) ** 2) > 2 * np.sum(offsets(known, ring) ** 2)
    assert np.sum(offsets(fitted, ring) ** 2) < np.sum(offsets(known, ring) ** 2)


def test_other_breaks_leave_the_path_as_it_is() -> None:
    ring, _ = s.id1_card().sampled()
    draft = first_draft(ring, np.array([0, 50, 120, 200]), ())
    kinks, chords = draft.kinks, draft.chords
    other = draft.with_breaks(draft.breaks + 3)
    assert other.breaks.tolist() == [3, 53, 123, 203]
    assert other.kinks is kinks
    assert other.chords is chords
    turned = replace(other, vertices=other.vertices[:, ::-1])
    assert turned.chords.tolist() == chords[:, ::-1].tolist()
    assert turned.kinks == pytest.approx(kinks_by_angles(turned))


def kinks_by_angles(draft: Draft) -> list[float]:
    """By ezdxf: how an arc of a bulge leaves its chord."""
    found = []
    for k in range(len(draft.bulges)):
        before, here, after = (complex(*draft.vertices[(k + j) % len(draft.bulges)]) for j in (-1, 0, 1))
        arrive = np.angle(here - before) + 2 * np.arctan(draft.bulges[k - 1])
        leave = np.angle(after - here) - 2 * np.arctan(draft.bulges[k])
        found.append(float(np.angle(np.exp(1j * (leave - arrive)))))
    return found


# how far a piece goes


@pytest.mark.parametrize(
    "ring",
    [s.ellipse(12, 10), s.lobed((0.03, 0.05, 0.02), 12, 0.8), s.wave(8, 20, 6.0).sampled(noise=0.002)[0]],
    ids=["ellipse", "lobed", "wave"],
)
def test_reach_between_neighbours_is_that_of_trying_every_end(ring: s.Ring, stretches: list[int]) -> None:
    found = search.find_candidates(ring, (), spread_mm=0.02, most=200)
    limits = Limits(np.full(len(ring), TOLERANCE), 2 * TOLERANCE)
    reach = alone(search.find_reach(ring, found, limits=limits, samples=96))
    size = len(reach)
    assert sum(stretches) < 5 * size  # 2 log2(size) for each without the neighbours
    tries = (search._try(ring, found, np.arange(size), np.full(size, n), limits, 96) for n in range(1, size // 2))
    fits = np.stack(together(tries))
    first_failure = np.argmin(fits, axis=0)
    assert np.mean(reach == first_failure) > 0.9
    assert search.count_pieces(reach).min() == search.count_pieces(first_failure).min()


def test_reach_never_passes_a_corner() -> None:
    ring, corners = s.star(5, 30, 13).sampled(corners=True)
    found = search.find_candidates(ring, corners, spread_mm=0.003, most=2400)
    limits = Limits(np.full(len(ring), 1.0), 1.0)  # so loose that two sides pass for one
    reach = alone(search.find_reach(ring, found, limits=limits, samples=96))
    passed = [set(range(k + 1, k + n)) for k, n in enumerate(reach)]
    marks = {int(k) for k in np.searchsorted(found.index, corners)}
    assert not any(marks & {k % len(reach) for k in inside} for inside in passed)


# distances in the frame of a piece


def test_slopes_of_distances_are_their_differences() -> None:
    draft = Draft(
        np.array([[0, 0], [10, 1], [9, 8], [-1, 6.0]]),
        np.array([0.3, -0.4, 0.0, 1.2]),
        np.arange(4),
        *[np.zeros(4, bool)] * 3,
    )
    counts, piece = np.full(4, 25), np.repeat(np.arange(4), 25)
    shares = np.random.default_rng(30).random(100)
    points = np.array([_place(draft.path(), k, share) for k, share in zip(piece, shares, strict=True)])
    seen = local_of(draft, *points.T, counts)
    assert distance_of(seen) == pytest.approx(np.zeros(100), abs=1e-12)
    places = np.stack([np.ones(100), seen.along, seen.across, seen.along**2 + seen.across**2], axis=1)
    slopes = np.einsum("nk,nkj->nj", places, slopes_of(draft)[piece])
    for k in range(4):
        for unknown in range(5):
            ahead, back = (
                distance_of(local_of(_changed(draft, k, unknown, step), *points.T, counts)) for step in (1e-6, -1e-6)
            )
            expected = ((ahead - back) / 2e-6)[piece == k]
            assert slopes[piece == k, unknown] == pytest.approx(expected, abs=2e-4)


def _changed(draft: Draft, k: int, unknown: int, step: float) -> Draft:
    """One of piece k's five unknowns changed: start x, y, end x, y, sagitta."""
    vertices, bulges = draft.vertices.copy(), draft.bulges.copy()
    chord = np.hypot(*(vertices[(k + 1) % 4] - vertices[k]))
    if unknown == 4:
        bulges[k] += 2 * step / chord
    else:
        vertices[(k + unknown // 2) % 4, unknown % 2] += step
    return replace(draft, vertices=vertices, bulges=bulges)


def _place(path: Path, piece: int, share: float) -> s.Ring:
    """Where a piece is at a share of its length, its arc by ezdxf."""
    start, end = path.points_mm[piece], path.points_mm[(piece + 1) % len(path.bulges)]
    bulge = float(path.bulges[piece])
    if bulge == 0:
        return start + share * (end - start)
    centre, first, last, radius = bulge_to_arc(tuple(start), tuple(end), bulge)  # always counter-clockwise
    sweep = (last - first) % (2 * np.pi)
    at = first + share * sweep if bulge > 0 else last - share * sweep
    return np.array(centre) + radius * np.array([np.cos(at), np.sin(at)])


# vertices that stand out


def blunt_corner(reach: float) -> tuple[Draft, s.Ring]:
    """A square, each corner cut off by `reach` mm in the ring, with a path that keeps the corners."""
    corners = np.array([[0, 0], [20, 0], [20, 20], [0, 20.0]])
    sides = np.roll(corners, -1, axis=0) - corners
    share = np.concatenate([[reach], np.arange(1.0, 19.01, 0.1), [20 - reach]])[:, None] / 20
    ring = np.concatenate([corner + share * side for corner, side in zip(corners, sides, strict=True)])
    none = np.zeros(4, bool)
    return Draft(corners, np.zeros(4), len(share) * np.arange(4), ~none, none, none), ring


def test_vertex_a_little_out_is_pulled_back() -> None:
    draft, ring = blunt_corner(0.03)
    limit = np.full(len(ring), 0.02)
    pulled = blunted(draft, ring, limit)
    assert len(pulled.breaks) == 4
    assert max(two_sided_distance(pulled.path(), ring)[:2]) <= 0.0201
    assert two_sided_distance(draft.path(), ring)[0] > 0.0209


def test_vertex_far_out_is_cut_off_and_its_pieces_stay_in_place() -> None:
    draft, ring = blunt_corner(0.4)
    limit = np.full(len(ring), 0.02)
    cut = blunted(draft, ring, limit)
    assert len(cut.breaks) == 8
    assert max(two_sided_distance(cut.path(), ring)[:2]) <= 0.0201
    long = np.hypot(*(np.roll(cut.vertices, -1, axis=0) - cut.vertices).T) > 5
    turns = np.degrees(np.abs(path_kinks(cut.path())))
    assert long.sum() == 4
    assert turns == pytest.approx(np.full(8, 45.0), abs=6)


def test_vertices_within_the_limit_are_left_alone() -> None:
    draft, ring = blunt_corner(0.02)
    assert blunted(draft, ring, np.full(len(ring), 0.02)) is draft


# rings that are nearly ragged


@pytest.mark.parametrize(
    ("radius", "sd", "length"), [(8, 0.1, 0.6), (15, 0.06, 0.3), (25, 0.25, 0.8)], ids=["small", "fine", "coarse"]
)
def test_uneven_ring_keeps_the_promise_with_bounded_work(
    radius: float, sd: float, length: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Few arcs beside Douglas and Peucker's lines, and no more systems solved than some hundred."""
    solved = []
    steps = polish.damped_steps
    monkeypatch.setattr(polish, "damped_steps", lambda *args: solved.extend(args[0]) or steps(*args))
    ring = s.uneven(radius, sd, length, 31)
    fitted = fit_curve(make_ring(ring))
    assert isinstance(fitted, Path)
    to_ring, from_ring, mean = two_sided_distance(fitted, ring)
    assert max(to_ring, from_ring) <= TOLERANCE
    assert abs(mean) < 0.001
    assert shapely.is_valid(shapely.polygons(curve_ring(fitted, chord_mm=1e-3)))
    lines = len(shapely.get_coordinates(shapely.Polygon(ring).simplify(TOLERANCE))) - 1
    assert 20 < len(fitted.bulges) < 0.6 * lines
    assert len(solved) < 600


# rings that are ragged


def saw(teeth: int, steps: int) -> s.Ring:
    """A disc of 60 mm with teeth 0.5 mm high all round it, `steps` points on each flank."""
    corners = 2 * teeth
    angle = 2 * np.pi * np.arange(corners) / corners
    radius = np.where(np.arange(corners) % 2, 30.5, 30.0)
    ring = radius[:, None] * np.column_stack([np.cos(angle), np.sin(angle)])
    part = np.arange(steps)[:, None, None] / steps
    return ((1 - part) * ring + part * np.roll(ring, -1, axis=0)).transpose(1, 0, 2).reshape(-1, 2)


@pytest.mark.parametrize(
    ("teeth", "steps", "ragged"),
    [(45, 3, True), (35, 3, False), (45, 4, False), (110, 6, True), (110, 7, False), (160, 12, True), (160, 13, False)],
)
def test_edge_of_so_many_lines_is_ragged(teeth: int, steps: int, ragged: bool) -> None:
    """More lines than any clean outline of the zoo needs (24 scallops by chords: 72), close beside one another."""
    ring = saw(teeth, steps)
    lines = lines_if_ragged(ring, TOLERANCE)
    assert (lines is not None) == ragged
    if ragged:
        assert len(lines) == 2 * teeth
        assert shapely.hausdorff_distance(shapely.LinearRing(ring), shapely.LinearRing(lines)) <= TOLERANCE


@pytest.mark.parametrize("outline", s.zoo(), ids=str)
def test_clean_outlines_are_not_ragged(outline: s.Outline) -> None:
    assert lines_if_ragged(outline.sampled(noise=0.003, seed=3)[0], TOLERANCE) is None


def test_noise_of_a_coarse_picture_is_not_raggedness() -> None:
    """Points 0.5 mm apart, as at 50 dpi, 0.04 mm off: a twelfth of a pixel."""
    angle = 2 * np.pi * np.arange(400) / 400
    off = 0.04 * np.random.default_rng(4).standard_normal(400)
    assert lines_if_ragged((32 + off)[:, None] * np.column_stack([np.cos(angle), np.sin(angle)]), TOLERANCE) is None


def test_a_circle_is_that_of_the_ring_and_not_of_its_densest_part() -> None:
    """r = 10 + 0.01 cos(2 angle) is 10 on the mean around; where it is larger the points lie ten times as close."""
    angle = np.concatenate([np.linspace(0, 2 * np.pi, 2000, endpoint=False), *_DENSE_ARCS])
    angle = np.unique(angle % (2 * np.pi))
    ring = (10 + 0.01 * np.cos(2 * angle))[:, None] * np.column_stack([np.cos(angle), np.sin(angle)])
    found = fit_circles([ring])[0]
    assert found.radius == pytest.approx(10, abs=2e-4)
    assert np.abs(found.centre).max() < 2e-4
