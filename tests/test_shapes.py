"""Ideal shapes and symmetries of rings, against outlines of known sizes."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely import affinity

from digitize.fitting.bulge import curve_area, curve_ring
from digitize.fitting.distance import two_sided_distance
from digitize.fitting.fit import fit_curve
from digitize.fitting.ideal import CIRCLE, RECTANGLE, ROUNDED, SLOT, polygon
from digitize.fitting.ring import make_ring
from digitize.fitting.shapes import recognise
from digitize.fitting.symmetrise import largest_move, symmetric_curve, symmetrised_rings
from digitize.fitting.symmetry import symmetries
from tests import strategies as s
from tests.sweeps import sweep

TOLERANCE = 0.02


# ideal shapes


@pytest.mark.parametrize(
    ("model", "sizes"),
    [(CIRCLE, [7]), (polygon(5), [0.3, 7]), (SLOT, [0.3, 9, 4]), (RECTANGLE, [0.3, 9, 4]), (ROUNDED, [0.3, 9, 4, 1])],
    ids=lambda one: getattr(one, "kind", ""),
)
def test_slopes_are_what_small_changes_of_the_parameters_make(model, sizes):
    around = np.random.default_rng(1).uniform(-6, 6, (400, 2))
    parameters, small = np.array([0.1, 0.2, *sizes], dtype=float), 1e-6
    changed = [
        (model.distance(parameters + by, around) - model.distance(parameters - by, around)) / (2 * small)
        for by in small * np.eye(len(parameters))
    ]
    assert np.abs(model.slopes(parameters, around) - np.transpose(changed)).max() < 1e-7


def named(ring: s.Ring) -> tuple[str, dict[str, float], dict[str, float]]:
    shape = recognise(make_ring(ring))
    assert shape is not None
    assert max(two_sided_distance(shape.curve, ring)[:2]) < TOLERANCE
    return shape.kind, shape.sizes, shape.sd


IDEAL = [
    (s.id1_card(), "rounded rectangle", {"length": 85.60, "width": 53.98, "corner_radius": 3.18}),
    (s.slot(30, 8), "slot", {"length": 30.0, "width": 8.0}),
    (s.polygon("plain", np.array([[0, 0], [70, 0], [70, 33.0], [0, 33]])), "rectangle", {"length": 70, "width": 33}),
    (s.regular(6, 20.0), "regular polygon", {"sides": 6, "inscribed_diameter": 40 * np.cos(np.pi / 6)}),
    (s.regular(3, 20.0), "regular polygon", {"sides": 3, "inscribed_diameter": 20.0}),
]


@pytest.mark.parametrize(("outline", "kind", "sizes"), IDEAL, ids=[kind + str(len(sizes)) for _, kind, sizes in IDEAL])
def test_ideal_shape_is_named_with_its_sizes(outline: s.Outline, kind: str, sizes: dict[str, float]) -> None:
    ring, _ = outline.sampled(noise=0.003, seed=13, angle=0.4)
    found, measured, sd = named(ring + np.array([12.0, 7.0]))
    assert found == kind
    assert measured == pytest.approx(sizes, abs=0.004)
    assert all(0 < value < 0.003 for value in sd.values())


@pytest.mark.parametrize("outline", [s.constant_width(7, 27.3), s.star(5, 30, 13), s.tag_with_lug()], ids=str)
def test_other_shapes_get_no_name(outline: s.Outline) -> None:
    assert recognise(make_ring(outline.sampled(noise=0.003)[0])) is None


def test_lens_is_no_rounded_rectangle() -> None:
    half = np.arcsin(8 / 10)
    lens = s.Outline(
        "lens", (s.Arc((0, -6), 10, np.pi / 2 - half, 2 * half), s.Arc((0, 6), 10, -np.pi / 2 - half, 2 * half)), False
    )
    ring, _ = lens.sampled(noise=0.001, corners=True)
    assert recognise(make_ring(ring)) is None
    assert len(fit_curve(make_ring(ring)).bulges) == 2


@pytest.mark.parametrize(("length", "width", "radius"), [(20.0, 10.0, 6.0), (30.0, 8.0, 4.3)])
def test_corners_rounder_than_half_the_width_make_no_rounded_rectangle(
    length: float, width: float, radius: float
) -> None:
    """What is left where two slots overlap: by its distances a box of that corner radius, but its ends are pointed."""
    along, across = length / 2 - radius, radius - width / 2
    slots = [shapely.LineString([(-along, y), (along, y)]).buffer(radius, quad_segs=400) for y in (-across, across)]
    lens = affinity.rotate(slots[0].intersection(slots[1]), 17, origin=(0, 0))
    assert recognise(make_ring(shapely.get_coordinates(shapely.segmentize(lens.exterior, 0.04))[:-1])) is None


@pytest.mark.parametrize(("bow", "is_named"), [(0.015, True), (0.05, False), (0.08, False)])
def test_a_side_that_bows_by_more_than_the_edge_may_be_off_makes_no_rectangle(bow: float, is_named: bool) -> None:
    ring = shapely.get_coordinates(shapely.segmentize(shapely.box(0, 0, 40, 20).exterior, 0.04))[:-1]
    top = ring[:, 1] == 20
    ring[top, 1] += bow * (1 - (ring[top, 0] / 20 - 1) ** 2)
    assert (recognise(make_ring(ring), uncertainty_mm=0.02) is not None) == is_named


@pytest.mark.parametrize("angle", [0.0, 0.7, 1.5708, 2.5])
def test_length_is_the_longer_side_whatever_the_angle(angle: float) -> None:
    ring, _ = s.rounded_rectangle(20.05, 20.0, 4).sampled(angle=angle, spacing=0.1)
    shape = recognise(make_ring(ring))
    assert shape is not None
    assert shape.sizes["length"] == pytest.approx(20.05, abs=0.001)
    away = (shape.angle_deg - np.degrees(angle)) % 180
    assert min(away, 180 - away) < 0.01
    assert max(two_sided_distance(shape.curve, ring)[:2]) < 0.001


def test_standard_deviations_are_those_of_repeated_measurements() -> None:
    """Spread of 40 fits to fresh noise, white and shared by neighbours, against the mean of the stated ones."""
    rng = np.random.default_rng(14)
    ring, _ = s.slot(10, 4).sampled(spacing=0.1)
    ring = s.even(ring, 0.1)
    for taps in (np.ones(1), np.ones(5) / np.sqrt(5)):
        lengths, stated = [], []
        for _ in range(40):
            noise = np.fft.irfft(
                np.fft.rfft(0.002 * rng.standard_normal(len(ring))) * np.fft.rfft(taps, len(ring)), len(ring)
            )
            along = np.roll(ring, -1, axis=0) - np.roll(ring, 1, axis=0)
            across = np.column_stack([along[:, 1], -along[:, 0]]) / np.hypot(*along.T)[:, None]
            shape = recognise(make_ring(ring + noise[:, None] * across))
            assert shape is not None
            lengths.append(shape.sizes["length"])
            stated.append(shape.sd["length"])
        assert np.mean(stated) == pytest.approx(np.std(lengths), rel=0.35)


# symmetry


@pytest.mark.parametrize(
    ("outline", "turns", "axes"),
    [(s.id1_card(), 2, 2), (s.constant_width(7, 27.3), 7, 7), (s.star(5, 30, 13), 5, 5), (s.tag_with_lug(), 1, 1)],
    ids=["card", "heptagon", "star", "tag"],
)
def test_symmetry(outline: s.Outline, turns: int, axes: int) -> None:
    ring, _ = outline.sampled(noise=0.002, seed=15, angle=-0.25)
    found = symmetries(make_ring(ring))
    assert found.turns == turns
    expected = np.sort((np.degrees(-0.25) + 180 / axes * np.arange(axes)) % 180)
    assert np.array(found.axes_deg) == pytest.approx(expected, abs=0.02)
    assert max(found.axis_deviations_mm) < 2 * TOLERANCE


def test_turning_without_mirror_and_no_symmetry_at_all() -> None:
    z_shape = np.array([[0, 0], [20, 0], [20, 10], [30, 10], [30, 20], [10, 20], [10, 10], [0, 10.0]])
    found = symmetries(make_ring(s.polygon("z", z_shape).sampled(corners=True)[0]))
    assert (found.turns, found.axes_deg) == (2, ())
    uneven = np.array([[0, 0], [20, 0], [17, 9], [3, 11.0]])
    found = symmetries(make_ring(s.polygon("uneven", uneven).sampled(corners=True)[0]))
    assert (found.turns, found.axes_deg) == (1, ())
    circle = symmetries(make_ring(s.ellipse(10, 10)))
    assert circle.turns == 0


def test_symmetry_spoilt_by_more_than_the_tolerance_is_not_reported() -> None:
    ring, _ = s.polygon("nearly", np.array([[0, 0], [40, 0], [40, 20.4], [0, 20.0]])).sampled(corners=True)
    assert symmetries(make_ring(ring)).axes_deg == ()
    assert symmetries(make_ring(ring), tolerance_mm=0.4).turns == 2


@pytest.mark.parametrize("off", [0.01, 0.024, 0.034])
def test_deviations_are_those_of_shapely(off: float) -> None:
    """A card with one corner out of place, mirrored and turned by other code: shapely's Hausdorff distance."""
    ring, _ = s.polygon("nearly", np.array([[0, 0], [40, 0], [40, 20 + off], [0, 20.0]])).sampled(corners=True)
    found = symmetries(make_ring(ring))
    card, about = shapely.Polygon(ring).simplify(1e-9), found.centre_mm
    turned = affinity.rotate(card, 180, about)
    expected = shapely.hausdorff_distance(card.exterior, turned.exterior, densify=0.01)
    assert found.turns == 2
    assert found.turn_deviation_mm == pytest.approx(expected, rel=0.1)
    assert len(found.axes_deg) == 2
    for axis, away in zip(found.axes_deg, found.axis_deviations_mm, strict=True):
        flat = affinity.rotate(card, -axis, about)
        mirrored = affinity.scale(flat, 1, -1, origin=about)
        assert away == pytest.approx(
            shapely.hausdorff_distance(flat.exterior, mirrored.exterior, densify=0.01), rel=0.25
        )


def test_holes_follow_or_do_not() -> None:
    card = s.id1_card().sampled()[0]
    middle = card.mean(axis=0)
    turn = np.linspace(0, 2 * np.pi, 200, endpoint=False)
    hole = 3 * np.column_stack([np.cos(turn), -np.sin(turn)])
    both = (middle + hole + [20, 0], middle + hole - [20, 0])
    assert symmetries(make_ring(card), holes=tuple(map(make_ring, both))).with_holes
    assert not symmetries(make_ring(card), holes=tuple(map(make_ring, both[:1]))).with_holes
    assert not symmetries(make_ring(card), holes=tuple(map(make_ring, (both[0], both[1] + [0.1, 0])))).with_holes


# the symmetric outline


SYMMETRIC = [
    (s.id1_card(), 4),
    (s.constant_width(7, 27.3), 14),
    (s.star(5, 30, 13), 10),
    (s.tag_with_lug(), 2),
    (s.wave(8, 20, 6.0), 16),
    (s.polygon("z", np.array([[0, 0], [20, 0], [20, 10], [30, 10], [30, 20], [10, 20], [10, 10], [0, 10.0]])), 2),
]


@pytest.mark.parametrize("direction", [1, -1])
@sweep(
    ("outline", "order"),
    SYMMETRIC,
    ("constant width 7", "tag with lug", "z"),
    ids=lambda case: str(case[0]),
)
def test_symmetric_path_is_so_exactly_and_as_close(outline: s.Outline, order: int, direction: int) -> None:
    """The path's own image under each rotation and mirroring, by shapely's affine maps, lies on the path."""
    ring = outline.sampled(noise=0.002, seed=16, angle=0.3, corners=True)[0][::direction]
    found = symmetries(make_ring(ring))
    (even,) = symmetrised_rings((ring,), found)
    path = symmetric_curve(fit_curve(make_ring(even)), found, within_mm=TOLERANCE)
    assert path is not None
    assert len(path.bulges) == len(fit_curve(make_ring(ring)).bulges)
    assert np.sign(curve_area(path)) == direction
    flat = shapely.LinearRing(curve_ring(path, chord_mm=1e-5))
    images = [affinity.rotate(flat, 360 / found.turns * k, found.centre_mm) for k in range(found.turns)]
    for axis in found.axes_deg:
        level = affinity.rotate(flat, -axis, found.centre_mm)
        images.append(affinity.rotate(affinity.scale(level, 1, -1, origin=found.centre_mm), axis, found.centre_mm))
    assert len(images) == order
    ends = np.asarray(flat.coords)
    tree = shapely.STRtree(shapely.linestrings(np.stack([ends[:-1], ends[1:]], axis=1)))
    for image in images:
        some = shapely.points(np.asarray(image.coords)[::7])
        assert tree.query_nearest(some, return_distance=True, all_matches=False)[1].max() < 2e-5
    assert largest_move(path, ring) < TOLERANCE
    truth = outline.sampled(angle=0.3, corners=True, spacing=0.01)[0]
    assert max(two_sided_distance(path, truth)[:2]) < TOLERANCE


def test_move_of_a_lopsided_outline_is_half_of_what_it_is_off() -> None:
    """A rectangle 40 x 20 with one long side 0.03 mm too far out on the right: each corner moves by half of that."""
    corners = np.array([[0, 0], [40, -0.03], [40, 20], [0, 20.0]])
    ring = s.polygon("lopsided", corners).sampled(corners=True)[0]
    found = symmetries(make_ring(ring))
    path = symmetric_curve(fit_curve(make_ring(symmetrised_rings((ring,), found)[0])), found, within_mm=TOLERANCE)
    assert path is not None
    assert 0.007 < largest_move(path, ring) < 0.02
