"""Tangent joints: smooth rings without kinks, for few pieces more; corners that are some stay."""

from __future__ import annotations

from itertools import islice

import numpy as np
import pytest
import shapely
from scipy.ndimage import gaussian_filter1d

from digitize.fitting import free
from digitize.fitting.bulge import curve_ring, path_kinks, path_radii
from digitize.fitting.distance import two_sided_distance
from digitize.fitting.fit import fit_curve
from digitize.fitting.ring import make_ring
from digitize.fitting.track import Track, beside, foot, track_of
from digitize.records import Path
from tests import strategies as s
from tests.sweeps import sweep

TOLERANCE = 0.02
SMOOTH = {
    "ellipse": s.ellipse(12, 10),
    "long ellipse": s.ellipse(30, 12),
    "lobed": s.lobed((0.03, 0.05, 0.02), 12, 0.8),
    "tight bends": s.lobed((0.1, 0.15, 0.05, 0.04), 20, 0.3),
    "blob": s.lobed((0.05, -0.08, 0.03, 0.02), 25, 0.7),
    "another blob": s.lobed((-0.05, 0.04, 0.03, -0.04), 15, 0.9),
    "worn edge": s.uneven(20, 0.05, 8.0, 3),
}


def kinks_deg(path: Path) -> s.Ring:
    return np.degrees(np.abs(path_kinks(path)))


@pytest.mark.parametrize("noise", [0.0, 0.002, 0.01], ids=["exact", "2 um", "half the tolerance"])
@sweep("name", SMOOTH, ("long ellipse", "tight bends", "worn edge"))
def test_smooth_ring_has_no_kink_for_at_most_30_percent_more_pieces(name: str, noise: float) -> None:
    ring = SMOOTH[name] + noise * np.random.default_rng(5).standard_normal((len(SMOOTH[name]), 1)) * s.across(
        SMOOTH[name]
    )
    fewest, smooth = (fit_curve(make_ring(ring), joins=joins) for joins in ("fewest", "smooth"))
    assert kinks_deg(smooth).max() < 0.3
    assert len(fewest.bulges) <= len(smooth.bulges) <= max(1.3 * len(fewest.bulges), len(fewest.bulges) + 1)
    assert max(two_sided_distance(smooth, SMOOTH[name])[:2]) < TOLERANCE + noise / 2
    radii = path_radii(smooth)
    assert radii.min() >= 0.2
    assert radii[np.isfinite(radii)].max() <= 2000
    assert shapely.is_valid(shapely.polygons(curve_ring(smooth, chord_mm=1e-3)))


def test_a_free_side_between_corners_has_no_kink() -> None:
    """A box of 25 mm whose top is a wave: four corners, and joints of the wave that are none."""
    step, right = 0.042, 25.0

    def top(x: s.Ring) -> s.Ring:
        return 20 + 1.2 * np.sin(0.31 * x) + 0.8 * np.cos(0.53 * x + 1) + 0.3 * np.sin(1.1 * x)

    along = np.arange(0, right, step)
    left_up, right_up = (np.arange(0, float(top(np.array(x))), step) for x in (0.0, right))
    back = right - along
    ring = np.concatenate(
        [
            np.column_stack([along, 0 * along]),
            np.column_stack([0 * right_up + right, right_up]),
            np.column_stack([back, top(back)]),
            np.column_stack([0 * left_up, float(top(np.array(0.0))) - left_up]),
        ]
    )
    kinks = np.sort(kinks_deg(fit_curve(make_ring(ring))))
    assert kinks[-4:].min() > 45
    assert kinks[:-4].max() < 0.3


def boxed_wave(waves: float, height: float, noise: float) -> s.Ring:
    """A box of 40 mm with two waves on its top, a point every 50 um; one of its corners lacks its point."""
    step, side = 0.05, 40.0
    back = np.arange(side, 0, -step)
    phase = 2 * np.pi * waves * back / side
    top = 20 + height * (np.sin(phase) + 0.4 * np.sin(2.3 * phase + 1))
    up, down = np.arange(0, float(top[0]), step), np.arange(float(top[-1]), 0, -step)
    along = np.arange(0, side, step)
    ring = np.concatenate(
        [
            np.column_stack([along, 0 * along]),
            np.column_stack([0 * up + side, up]),
            np.column_stack([back, top]),
            np.column_stack([0 * down, down]),
        ]
    )
    return ring + np.random.default_rng(0).normal(0, noise, ring.shape)


@pytest.mark.parametrize(("waves", "height", "noise"), [(2.05, 2.87, 0.0), (3, 1.5, 0.002), (4, 1, 0.005)])
def test_tight_waves_between_corners_have_no_kink(waves: float, height: float, noise: float) -> None:
    """The box's corners turn by more than 25 degrees by construction; all its other joints are tangent."""
    ring = boxed_wave(waves, height, noise)
    fewest, smooth = (fit_curve(make_ring(ring), joins=joins) for joins in ("fewest", "smooth"))
    kinks = kinks_deg(smooth)
    assert 4 <= np.sum(kinks > 25) <= 5  # one of the corners may be blunt
    assert np.sum(kinks > 0.3) == np.sum(kinks > 25)
    assert len(smooth.bulges) <= 1.3 * len(fewest.bulges)
    assert max(two_sided_distance(smooth, ring)[:2]) < max(TOLERANCE, 5.5 * noise)
    radii = path_radii(smooth)
    assert radii.min() >= 0.2
    assert radii[np.isfinite(radii)].max() <= 2000


def test_fillets_below_the_least_radius_are_lines() -> None:
    """Corners of 0.15 mm radius: each arc is 0.15 (1 - cos 45 degrees) = 44 um off its chord, 22 um off a line half-way
    between, less where the sides give a little: a line each, four besides the sides, as the tolerance allows."""
    ring, _ = s.rounded_rectangle(30, 20, 0.15).sampled(spacing=0.02)
    fitted = fit_curve(make_ring(ring))
    assert len(fitted.bulges) == 8
    assert np.all(fitted.bulges == 0)
    assert max(two_sided_distance(fitted, ring)[:2]) < TOLERANCE


def test_fewest_pieces_may_kink_and_are_fewer() -> None:
    rings = SMOOTH.values()
    fewest, smooth = ([fit_curve(make_ring(ring), joins=joins) for ring in rings] for joins in ("fewest", "smooth"))
    assert sum(len(path.bulges) for path in fewest) < sum(len(path.bulges) for path in smooth)
    assert max(kinks_deg(path).max() for path in fewest) > 3


@pytest.mark.parametrize("degrees", [8.0, 12.0, 18.0])
@pytest.mark.parametrize("noise", [0.0, 0.002])
def test_shallow_corners_between_arcs_stay_corners(degrees: float, noise: float) -> None:
    """Twelve arcs on a circle of 30 mm that meet at inward cusps of a few degrees: by the inscribed angle each arc
    turns by 30 degrees more than the cusp, whose arrow above the chord is half the chord times tan of a quarter."""
    chord = 2 * 30 * np.sin(np.pi / 12)
    bite = chord / 2 * np.tan(np.radians(30 + degrees) / 4)
    outline = s.scallops(12, 30, bite)
    ring, _ = outline.sampled(noise=noise, seed=6)
    fitted = fit_curve(make_ring(ring))
    assert len(fitted.bulges) == 12
    assert kinks_deg(fitted) == pytest.approx(np.full(12, degrees), abs=0.3)


def test_two_lines_keep_their_corner_however_shallow() -> None:
    ring, _ = s.polygon("bent", np.array([[0, 0], [20, 0.35], [40, 0], [40, 20], [0, 20]])).sampled(noise=0.001)
    fitted = fit_curve(make_ring(ring))
    assert len(fitted.bulges) == 5
    assert not fitted.bulges.any()


@sweep("outline", s.zoo(), ("rounded 40 x 25 R 1", "constant width 7", "wave 8", "tag with lug"), ids=str)
def test_known_outlines_get_no_piece_more(outline: s.Outline) -> None:
    ring, _ = outline.sampled(noise=0.01, seed=2)
    fewest, smooth = (fit_curve(make_ring(ring), joins=joins) for joins in ("fewest", "smooth"))
    assert len(smooth.bulges) <= outline.count + 1
    assert len(smooth.bulges) == len(fewest.bulges)


@pytest.mark.parametrize("seed", range(4))
def test_gear_is_lines_at_noise_of_half_the_tolerance(seed: int) -> None:
    """48 straight sides of 2 to 5 mm: points of 10 um noise, ties of averaged neighbours and all, prove no bend."""
    from tests.test_curve_offset import gear

    fitted = fit_curve(make_ring(gear().sampled(noise=0.01, seed=seed)[0]))
    assert len(fitted.bulges) == 48
    assert not fitted.bulges.any()


def test_track_beside_and_foot() -> None:
    """Left of a counter-clockwise circle is inside it; left of a line along x is above it."""
    quarter = track_of(1 + 0j, 1j, float(np.tan(np.pi / 8)))
    assert (quarter.place, quarter.radius, quarter.turn) == (pytest.approx(0), pytest.approx(1), 1)
    inner, outer = beside(quarter, 0.25), beside(quarter, -0.25)
    assert inner is not None
    assert outer is not None
    assert (inner.radius, outer.radius) == (pytest.approx(0.75), pytest.approx(1.25))
    assert beside(quarter, 1.5) is None
    clockwise = track_of(1j, 1 + 0j, float(-np.tan(np.pi / 8)))
    wider = beside(clockwise, 0.25)
    assert wider is not None
    assert wider.radius == pytest.approx(1.25)
    assert beside(track_of(0j, 5 + 0j, 0.0), 2.0) == Track(2j, 1 + 0j)
    assert foot(quarter, 3 + 4j) == pytest.approx(0.6 + 0.8j)
    assert foot(track_of(0j, 5 + 0j, 0.0), 3 + 4j) == pytest.approx(3 + 0j)


def test_stretches_that_want_no_more_pieces_stay_where_there_is_no_room_for_more() -> None:
    """A draft may have more pieces than the fewest allow already: what asks for none is not asked to give way."""

    class Stretch:
        def __init__(self, more: int) -> None:
            self.more = more

        def leave(self) -> None:
            self.more = 0

    kept = free._spared([Stretch(3), Stretch(-1), Stretch(0)], -2)  # type: ignore[list-item]
    assert [one.more for one in kept] == [0, -1, 0]


def rough_outlines(seed: int):
    """Yield outlines with waves, roughness, flat sides cut off and teeth, as they come."""
    rng = np.random.default_rng(seed)
    while True:
        radius = rng.uniform(3, 40)
        count = max(int(2 * np.pi * radius / rng.choice([0.04, 0.08, 0.25])), 40)
        turn = np.linspace(0, 2 * np.pi, count, endpoint=False)
        reach = np.ones(count) * radius
        for wave in range(2, rng.integers(3, 9)):
            reach += radius * rng.normal(0, 0.06) / wave * np.cos(wave * turn + rng.uniform(0, 6))
        rough = gaussian_filter1d(rng.normal(0, 1, count), rng.uniform(1, 30), mode="wrap")
        reach += rough / (rough.std() + 1e-9) * rng.choice([0, 0.005, 0.02, 0.05, 0.15, 0.4])
        if rng.random() < 0.5:
            for _ in range(rng.integers(1, 5)):
                ahead, side = np.cos(turn - rng.uniform(0, 6.28)), radius * rng.uniform(0.5, 0.95)
                reach = np.where(ahead > 0, np.minimum(reach, side / np.maximum(ahead, 1e-6)), reach)
        if rng.random() < 0.3:
            reach += 0.6 * np.abs((turn * rng.integers(8, 30) / np.pi) % 1 - 0.5)
        points = np.column_stack([reach * np.cos(turn), reach * np.sin(turn)])
        yield points + rng.normal(0, rng.choice([0, 0.001, 0.005]), (count, 2))


def test_joints_that_pass_each_other_are_left_as_they_were() -> None:
    """Of the 176th two joints of short pieces change places where its free stretches are written anew."""
    points = next(islice(rough_outlines(1), 175, None))
    fitted = fit_curve(make_ring(points), tolerance_mm=TOLERANCE)
    assert max(two_sided_distance(fitted, points, step_mm=0.05)) < 2 * TOLERANCE
