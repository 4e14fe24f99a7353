"""Stated uncertainties against errors that are drawn: each cause alone, so that a figure halved or doubled is seen.

Photos are simulated without pictures: the truth's own camera (tests/truth) gives the places of a square's sides; edges
are profiles. `tests/bench/coverage.py` is the same over whole scans and photos.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter1d
from scipy.special import ndtr

from digitize.camera.budget import SeenRing, item_budget
from digitize.camera.estimate import CameraEstimate
from digitize.camera.focal import LensKnowledge
from digitize.camera.honest import solve_honestly
from digitize.camera.lens import Lens
from digitize.camera.pose import Pose
from digitize.camera.solve import Evidence, Model, Prior
from digitize.measure.response import curve_shift_px, sharpened_share, sharpened_shift_px
from digitize.measure.step_fits import estimate_blur, fit_steps
from digitize.records import Contribution
from digitize.reference.on_glass import TONE_PX
from digitize.trust.glass import scanner_bend
from digitize.trust.tips import tip_gain, with_tips
from digitize.trust.uncertainty import shade_sd_mm
from tests.rendered import as_picture, circle_px, codes_of, traced
from tests.test_camera import corners, evidence
from tests.truth.camera import camera
from tests.truth.light import linear_light, paint, shade, srgb_codes
from tests.truth.raster import blurred_coverage
from tests.truth.worn import SmoothBend

SIZE, FOCAL = (2016, 1512), 1500.0
PHOTOS = 32


@dataclass(frozen=True)
class Drawn:
    """What the errors of one simulated photo come from, standard deviations."""

    focal: float = 0.0
    centre_px: float = 0.0
    k1: float = 0.0
    k2: float = 0.0
    noise_px: float = 0.002  # of a place on a side

    def photo(self, number: int, line: str) -> tuple[float, float, float, float]:
        """Return mean squares of an item's errors (sizes, edge points), and their stated squares by one line, mm2."""
        rng = np.random.default_rng([number, 2203])
        focal = FOCAL * np.exp(rng.normal(0, self.focal))
        eye = camera(
            tuple(rng.uniform(-15, 15, 2)),
            rng.uniform(220, 340) * focal / FOCAL,
            tilt_deg=rng.uniform(0, 2),
            tilt_towards_deg=rng.uniform(0, 360),
            focal_px=focal,
            size_px=SIZE,
            principal_shift_px=tuple(rng.normal(0, self.centre_px, 2)),
            k1=rng.normal(0, self.k1),
            k2=rng.normal(0, self.k2),
        )
        seen = evidence(eye, [(-48.0, rng.uniform(-20, 20))], side=50.0, noise=self.noise_px, seed=number)
        seen = Evidence(seen.sides, seen.places_px, np.full(len(seen.places_px), self.noise_px), seen.side)
        middle = ((SIZE[0] - 1) / 2, (SIZE[1] - 1) / 2)
        sd = np.array([self.focal, self.centre_px, self.centre_px, self.k1, self.k2, 0.0, 0.0, 0.0])
        start = Model(Lens(FOCAL, middle), (Pose(eye.rotation, eye.translation),))
        found = solve_honestly((seen,), start, Prior(np.array([np.log(FOCAL), *middle, 0, 0, 0, 0, 0]), sd))
        words = LensKnowledge(Lens(FOCAL, middle), sd[:5], "exif", "EXIF")
        estimate = CameraEstimate(found, seen, np.zeros(2), (), 0.8, 3.0, words, np.full(4, 0.01))
        height = rng.uniform(3, 6)
        ring = _box(30.0, (40.0, rng.uniform(-20, 20)))
        px = eye.to_px(ring, height)
        lines = item_budget(estimate, (SeenRing(px, np.full(len(px), height)),), height_within_mm=None)
        (stated,) = (one for one in lines if one.name == line)
        size, across = _errors(ring, estimate.scale.at_height(height).to_mm(px))
        return size, across, stated.length_mm**2, stated.profile_mm**2


def _box(side: float, at: tuple[float, float]) -> np.ndarray:
    q, t = corners(side, at), np.linspace(0, 1, 40, endpoint=False)[:, None]
    return np.concatenate([q[i] + t * (q[(i + 1) % 4] - q[i]) for i in range(4)])


def _errors(ring: np.ndarray, measured: np.ndarray) -> tuple[float, float]:
    """Mean squares of the errors of width and height, and across the edge, once laid on the truth."""
    true, got = ring - ring.mean(0), measured - measured.mean(0)
    u, _, v = np.linalg.svd(got.T @ true)
    got = got @ (u @ v)
    normals = np.repeat([(0, 1), (1, 0), (0, -1), (-1, 0)], 40, axis=0)
    return (
        float(np.mean((np.ptp(got, axis=0) - np.ptp(true, axis=0)) ** 2)),
        float(np.mean(((got - true) * normals).sum(axis=1) ** 2)),
    )


@pytest.mark.parametrize(
    ("line", "drawn"),
    [
        ("focal length", Drawn(focal=0.03)),
        ("lens", Drawn(k1=0.05, k2=0.1)),
        ("lens", Drawn(centre_px=12.0)),
        ("pose", Drawn(noise_px=0.05)),
    ],
    ids=["focal", "radial", "centre", "pose"],
)
def test_a_line_of_the_camera_is_as_large_as_the_errors_of_its_cause(line, drawn):
    size, across, stated_size, stated_across = np.mean([drawn.photo(n, line) for n in range(PHOTOS)], axis=0)
    assert 0.7 < np.sqrt(across / stated_across) < 1.4
    assert 0.6 < np.sqrt(size / stated_size) < 1.3  # that of the longer way of two is stated


# --- edges: profiles across one, as a scanner's driver hands them on -------------------------------------------------

REACH, PHASES = 20, 20


def profiles(light, blur_px, *, sharpened=0.0, gamma=None):
    """Profiles (1 inside, 0 outside) at all phases, in the light that sRGB's curve makes of the codes; true places."""
    at = np.arange(-REACH, REACH + 1)
    true = (np.arange(PHASES) + 0.5) / PHASES - 0.5
    inside, outside = light
    seen = outside + (inside - outside) * ndtr((true[:, None] - at) / blur_px)
    codes = srgb_codes(seen) if gamma is None else 255 * seen ** (1 / gamma)
    codes = codes + sharpened * (codes - gaussian_filter1d(codes, 1.2, axis=1))
    taken = linear_light(np.clip(codes, 0, 255))
    ends = taken[:, 2].mean(), taken[:, -3].mean()
    return (taken - ends[1]) / (ends[0] - ends[1]), true, ends


def fitted(value, true):
    blur = estimate_blur(value, np.ones(PHASES))
    fit = fit_steps(value, np.ones(PHASES), blur, true.copy())
    distance = np.arange(-REACH, REACH + 1) - fit.offset_px[:, None]
    return blur, distance, float(np.mean(fit.offset_px - true))


@pytest.mark.parametrize("light", [(0.03, 0.85), (0.5, 0.85), (0.62, 0.05)])
@pytest.mark.parametrize("amount", [0.2, 0.4])
def test_what_a_driver_s_sharpening_does_to_an_edge_is_told_from_how_it_overshoots(light, amount):
    value, true, ends = profiles(light, 1.3, sharpened=amount)
    blur, distance, off = fitted(value, true)
    share = sharpened_share(value - ndtr(-distance / blur), distance, blur)
    assert 0.75 * amount < share < 1.15 * amount
    assert 0.7 < sharpened_shift_px(ends, blur, share) / off < 1.2


def test_an_edge_that_nobody_sharpened_shows_none():
    value, true, ends = profiles((0.05, 0.85), 0.9)
    blur, distance, _ = fitted(value, true)
    assert sharpened_share(value - ndtr(-distance / blur), distance, blur) < 0.005
    soft = 0.9 * value + 0.1 * gaussian_filter1d(value, 3.0, axis=1)  # glare: the opposite of sharpening
    blur, distance, _ = fitted(soft, true)
    assert sharpened_share(soft - ndtr(-distance / blur), distance, blur) == 0.0
    assert sharpened_shift_px(ends, 0.9, 0.0) == 0.0


@pytest.mark.parametrize("light", [(0.03, 0.85), (0.4, 0.85), (0.62, 0.05)])
def test_where_an_edge_is_seen_through_another_power_than_the_true_one(light):
    """Codes of a plain power of 1.8, taken for sRGB's, whose own is about 2.2 (IEC 61966-2-1)."""
    value, true, ends = profiles(light, 0.9, gamma=1.8)
    _, _, off = fitted(value, true)
    assert curve_shift_px(ends, 0.9, -0.4) == pytest.approx(off, rel=0.2)


@pytest.mark.parametrize("light", [(0.03, 0.85), (0.1, 0.8)])
def test_what_a_scanner_s_tone_leaves_is_its_line(light):
    """Light to a power that is off by a twentieth, a dark item on a pale lid, a blur of 1 px."""
    at, true = np.arange(-REACH, REACH + 1), (np.arange(PHASES) + 0.5) / PHASES - 0.5
    taken = (light[1] + (light[0] - light[1]) * ndtr(true[:, None] - at)) ** 1.05
    inside, outside = taken[:, 2].mean(), taken[:, -3].mean()
    _, _, off = fitted((taken - outside) / (inside - outside), true)
    assert 0.75 < off / (0.05 * TONE_PX) < 1.3


# --- tips ----------------------------------------------------------------------------------------------------------


def kite(half_deg: float, arm: float = 40.0, step: float = 0.25):
    """A kite with sharp tips left and right, each of twice that angle; points about `step` apart, and its corners."""
    top = arm * np.tan(np.radians(half_deg))
    corners = np.array([(-arm, 0.0), (0.0, -top), (arm, 0.0), (0.0, top)])
    count = int(np.hypot(arm, top) / step)
    t = np.linspace(0, 1, count, endpoint=False)[:, None]
    ring = np.concatenate([a + t * (b - a) for a, b in zip(corners, np.roll(corners, -1, 0), strict=True)])
    return ring, tuple(range(0, 4 * count, count))


def test_a_tip_moves_by_one_over_the_sine_of_half_its_angle():
    ring, corners = kite(30.0)  # sharp: 1 / sin 30; blunt ones above and below: 1 / sin 60
    assert tip_gain(ring, corners) == pytest.approx(np.sqrt((2.0**2 + (2 / np.sqrt(3)) ** 2) / 2), rel=1e-3)
    assert tip_gain(ring, ()) == 1.0  # no corner: round
    square, of = kite(45.0)
    assert tip_gain(square, of) == pytest.approx(np.sqrt(2), rel=1e-3)


def test_tips_count_for_edges_and_not_for_what_grows_with_the_length():
    lines = (
        Contribution("edge level", 0.001, 0.002, acts="all round"),
        Contribution("lens", 0.01, 0.02, acts="with length"),
    )
    edge, lens = with_tips(lines, 2.5)
    assert (edge.length_mm, edge.profile_mm) == (pytest.approx(0.005), 0.001)
    assert lens is lines[1]


# --- shade and print: discs in small pictures ------------------------------------------------------------------------

CENTRE, RADIUS, SHAPE = (80.3, 79.6), 55.0, (160, 160)


def disc(number, *, shade_of=0.0, wide_px=5.0, stripes=0.0):
    """The contour of a disc with a soft shade to one side, or with printed stripes that run over its edge."""
    rng = np.random.default_rng([number, 9])
    canvas, ring = np.full((*SHAPE, 3), 0.85, np.float32), circle_px(CENTRE, RADIUS)
    if shade_of:
        a = rng.uniform(0, 2 * np.pi)
        shade(canvas, [ring + 0.6 * wide_px * np.array([np.cos(a), np.sin(a)])], wide_px, shade_of)
    body, colour = blurred_coverage([ring], SHAPE, 0.9), np.float32(0.25)
    if stripes:
        a, length = rng.uniform(0, np.pi), rng.uniform(25, 60)
        y, x = (part[body.slices] for part in np.mgrid[: SHAPE[0], : SHAPE[1]])
        wave = np.sin(2 * np.pi * (x * np.cos(a) + y * np.sin(a)) / length)
        colour = np.repeat((colour * (1 + stripes * np.sign(wave)))[..., None], 3, axis=2)
    paint(canvas, body, np.broadcast_to(colour, (*body.values.shape, 3)))
    picture = as_picture(codes_of(canvas, noise_codes=1.0, seed=number))
    return traced([ring], SHAPE, picture=picture)[0].contour


def off_px(contour):
    """Root mean square of how far a contour lies off the circle, a shift taken out."""
    from_centre = contour.points_px - CENTRE
    distance = np.hypot(*from_centre.T)
    off = distance - RADIUS
    directions = from_centre / distance[:, None]
    shift = np.linalg.lstsq(np.column_stack([np.ones(len(off)), directions]), off, rcond=None)[0][1:]
    return float(np.sqrt(np.mean((off - directions @ shift) ** 2)))


def squares(pairs):
    return np.sqrt(np.mean(np.square(np.array(pairs)), axis=0))


def test_what_a_narrow_shade_does_to_an_edge_is_in_its_line():
    """One three times as wide as the blur; of wider ones the line is too large, of narrower ones too small."""
    contours = [disc(number, shade_of=amount, wide_px=3.0) for number, amount in enumerate((0.05, 0.1, 0.15))]
    actual, stated = squares([(off_px(one), shade_sd_mm((one,), 1.0)) for one in contours])
    assert 0.7 < actual / stated < 1.4


def test_print_that_runs_over_an_edge_is_in_its_line():
    contours = [disc(number, stripes=0.5) for number in range(4)]
    actual, stated = squares([(off_px(one), one.uneven_px) for one in contours])
    assert 0.8 < actual / stated < 2.6
    assert disc(0).uneven_px < 0.003


# --- a glass that bends: lengths told by the scale at a square elsewhere ---------------------------------------------


def bent_lengths(seed, *, side, length, away):
    """Errors of an item's width and height by the scale of a square some way off, and the line stated of them; mm."""
    rng = np.random.default_rng([seed, 5077])
    bend, half = SmoothBend(rng), np.array([(-0.5, -0.5), (0.5, -0.5), (0.5, 0.5), (-0.5, 0.5)])
    while True:
        square = rng.uniform((side, side), np.subtract(SmoothBend.GLASS_MM, side))
        angle = rng.uniform(0, 2 * np.pi)
        at = square + away * np.array([np.cos(angle), np.sin(angle)])
        if (at > 0.5 * length).all() and (at < np.subtract(SmoothBend.GLASS_MM, 0.5 * length)).all():
            break
    corners, item = side * half + square, length * half + at
    seen = corners + bend.off_mm(corners)
    to_true = np.linalg.lstsq(seen - seen.mean(0), corners - corners.mean(0), rcond=None)[0]
    got = (item + bend.off_mm(item)) @ to_true
    errors = [got[1, 0] - got[0, 0] - length, got[2, 1] - got[1, 1] - length]
    line = scanner_bend(corners, item)
    return float(np.mean(np.square(errors))), (line.length_per_mm * length) ** 2


@pytest.mark.parametrize(
    ("side", "length", "away"), [(30, 33, 41), (54, 65, 80), (54, 100, 120), (54, 150, 220)], ids=str
)
def test_what_a_bent_glass_does_to_lengths_is_in_its_line(side, length, away):
    actual, stated = np.mean([bent_lengths(n, side=side, length=length, away=away) for n in range(120)], axis=0)
    assert 0.7 < np.sqrt(actual / stated) < 1.4
