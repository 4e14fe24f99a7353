"""Equal features come out equal: the drawn outline has one radius at all of its corners, its fit too."""

from __future__ import annotations

import numpy as np
import pytest

from digitize.cutting.make import cut_pocket
from digitize.cutting.ways import Cutting
from digitize.fitting.alike import with_equal_circles, with_equal_fillets
from digitize.fitting.bulge import make_path, path_kinks, path_radii
from digitize.fitting.distance import two_sided_distance
from digitize.fitting.fit import fit_curve
from digitize.fitting.ring import make_ring
from digitize.records import Circle, Path
from tests import strategies as s
from tests.truth.shapes import Shape, rounded

CORNERS = [(0, 0), (44, -6), (60, 20), (38, 41), (-4, 30)]


def irregular(radii: list[float]) -> s.Ring:
    """A five-sided blank whose corners are rounded by these radii, sampled as densely as a scan of 600 dpi."""
    outline = Shape(rounded(CORNERS, radii)).outer.polygon(1e-6)
    along = np.hypot(*(np.roll(outline, -1, axis=0) - outline).T)
    at = np.concatenate([[0.0], np.cumsum(along)])
    even = np.arange(0.0, at[-1], 0.042)
    closed = np.vstack([outline, outline[:1]])
    return np.column_stack([np.interp(even, at, closed[:, k]) for k in range(2)])


def noisy(ring: s.Ring, sd_mm: float) -> s.Ring:
    return ring + sd_mm * np.random.default_rng(11).standard_normal((len(ring), 1)) * s.across(ring)


def arcs_of(path: Path) -> s.Ring:
    radii = path_radii(path)
    return radii[np.isfinite(radii)]


@pytest.mark.parametrize("noise_mm", [0.0, 0.002, 0.01])
def test_fillets_of_one_radius_have_one_radius(noise_mm: float) -> None:
    ring = irregular([4.0] * 5)
    path = fit_curve(make_ring(noisy(ring, noise_mm)))
    assert len(path.bulges) == 10
    assert np.ptp(arcs_of(path)) < 1e-9
    assert arcs_of(path)[0] == pytest.approx(4.0, abs=0.001 + noise_mm)
    assert np.degrees(np.abs(path_kinks(path))).max() < 1e-6
    assert max(two_sided_distance(path, ring)[:2]) < 0.0005 + 0.4 * noise_mm


def test_fillets_of_two_radii_stay_two() -> None:
    path = fit_curve(make_ring(noisy(irregular([4.0, 4.1, 4.0, 4.1, 4.0]), 0.002)))
    assert sorted(np.unique(np.round(arcs_of(path), 9)).tolist()) == pytest.approx([4.0, 4.1], abs=0.005)


def test_their_pockets_corners_have_one_radius_too() -> None:
    ring = make_ring(noisy(irregular([4.0] * 5), 0.005))
    curve = fit_curve(ring)
    pocket = cut_pocket((ring,), (curve,), Cutting(clearance_mm=0.3))
    assert np.ptp(arcs_of(pocket.curves[0])) < 1e-9
    assert arcs_of(pocket.curves[0])[0] == pytest.approx(arcs_of(curve)[0] + 0.3, abs=1e-6)


def test_a_side_that_would_vanish_stops_them() -> None:
    """Two fillets that share a side of 0.002 mm: with the mean of their radii nothing would be left of it."""
    box = Shape(rounded([(0, 0), (20, 0), (20, 8), (5, 8), (0, 12)], [4.006, 3.999, 3.999, 0, 0])).outer
    path = make_path(np.asarray(box.points), np.asarray(box.bulges))
    assert with_equal_fillets(path, tolerance_mm=0.02) is path


@pytest.mark.parametrize(("apart_mm", "is_one"), [(0.002, True), (0.05, False)])
def test_holes_of_one_drill_have_one_diameter(apart_mm: float, is_one: bool) -> None:
    turn = np.linspace(0, -2 * np.pi, 400, endpoint=False)
    around = np.column_stack([np.cos(turn), np.sin(turn)])
    centres, radii = [(0.0, 0.0), (15.0, 0.0), (30.0, 4.0)], [2.5, 2.5 + apart_mm, 2.5]
    rings = tuple(make_ring(noisy(c + r * around, 0.002)) for c, r in zip(centres, radii, strict=True))
    curves = tuple(fit_curve(ring) for ring in rings)
    made = with_equal_circles(curves, rings, tolerance_mm=0.02)
    assert all(isinstance(one, Circle) for one in made)
    assert (len({one.radius_mm for one in made}) == 1) == is_one
    for one, radius in zip(made, radii, strict=True):
        assert one.radius_mm == pytest.approx(radius, abs=0.002)


def test_a_circle_that_would_leave_its_hole_keeps_its_own() -> None:
    turn = np.linspace(0, -2 * np.pi, 400, endpoint=False)
    around = np.column_stack([np.cos(turn), np.sin(turn)])
    dented = 2.5 + 0.0195 * np.cos(3 * turn)
    rings = (make_ring(2.504 * around), make_ring(dented[:, None] * around))
    curves = (Circle((0.0, 0.0), 2.504), Circle((0.0, 0.0), 2.5))
    assert with_equal_circles(curves, rings, tolerance_mm=0.02)[1] == curves[1]
