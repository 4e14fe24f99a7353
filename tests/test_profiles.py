"""Profiles across blurred straight edges, rendered from exact coverage at any phase, angle, contrast and blur."""

import numpy as np
import pytest

from digitize.measure.profiles import (
    light_between,
    linear_pixels,
    mid_crossing,
    normal_cdf,
    normal_cdf_and_bell,
    normalise,
    take_profiles,
)
from digitize.measure.ragged import fill_gaps, moving_mean
from digitize.measure.slopes import side_slopes, take_out_slopes
from digitize.measure.step_fits import estimate_blur, fit_steps
from tests.rendered import PX_VARIANCE, as_picture, codes_of, drawn, srgb_table
from tests.truth.light import linear_light, paint
from tests.truth.raster import blurred_coverage

BIAS_PX = 0.005  # target: straight edge, any angle and phase
CONTRAST_SHIFT_PX = 0.02  # target: edge shift over contrast 0.9/0.05 to 0.8/0.4
SIZE = 72
ANGLES = [0, 3, 17, 30, 44, 45, 46, 71, 90, 133, 180, 205, 315]
CONTRASTS = [(0.9, 0.05), (0.85, 0.2), (0.8, 0.4), (0.05, 0.9), (0.06, 0.025)]


# --- the normal distribution -------------------------------------------------------------------------------------


def test_normal_distribution_keeps_the_published_error_bound():
    # Abramowitz and Stegun 7.1.26: error of erf below 1.5e-7, so half of that here.
    from scipy.special import ndtr

    z = np.linspace(-9, 9, 36001)
    assert np.abs(normal_cdf(z) - ndtr(z)).max() < 7.5e-8


def test_normal_distribution_has_its_known_values():
    # Abramowitz and Stegun, table 26.1
    known = {0.0: 0.5, 1.0: 0.841344746, 2.0: 0.977249868, 3.0: 0.998650102, 1.96: 0.975002105}
    for z, value in known.items():
        cdf, bell = normal_cdf_and_bell(np.array([z, -z]))
        assert cdf == pytest.approx([value, 1 - value], abs=1e-7)
        assert bell == pytest.approx(np.exp(-z * z / 2), rel=1e-14)


# --- light -------------------------------------------------------------------------------------------------------


def test_pixels_become_light_by_the_table_of_their_channel():
    pixels = np.random.default_rng(1).integers(0, 256, (6, 7, 3), dtype=np.uint8)
    x, y = np.meshgrid(np.arange(7), np.arange(6))
    found = linear_pixels(as_picture(pixels), x, y)
    assert found.dtype == np.float32
    assert found == pytest.approx(linear_light(pixels), abs=1e-6)


def test_16_bit_pixels_and_grey_ones_become_light():
    pixels = np.random.default_rng(1).integers(0, 65536, (5, 4, 1), dtype=np.uint16)
    found = linear_pixels(as_picture(pixels), np.array([3, 0]), np.array([4, 1]))
    assert found[:, 0] == pytest.approx(linear_light(pixels[[4, 1], [3, 0], 0] / 257), abs=1e-6)


def test_light_between_pixels_is_bilinear_and_clamped():
    codes = codes_of(np.random.default_rng(1).uniform(0.1, 0.9, (5, 6, 3)))
    light = linear_light(codes)
    places = np.array([(2.0, 3.0), (1.25, 2.5), (-4.0, 1.0), (9.0, 9.0)])
    found = light_between(as_picture(codes), places)
    assert found[0] == pytest.approx(light[3, 2], abs=1e-6)
    weighted = 0.5 * (0.75 * (light[2, 1] + light[3, 1]) + 0.25 * (light[2, 2] + light[3, 2]))
    assert found[1] == pytest.approx(weighted, abs=1e-6)
    assert found[2] == pytest.approx(light[1, 0], abs=1e-6)
    assert found[3] == pytest.approx(light[4, 5], abs=2e-3)


# --- profiles ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("normal", "step"),
    [((1, 0), (1, 0)), ((0.9, 0.43), (1, 0)), ((-0.8, 0.6), (-1, 0)), ((0.6, 0.8), (0, 1)), ((0.1, -0.99), (0, -1))],
)
def test_profiles_run_along_the_axis_nearest_to_the_normal(normal, step):
    pixels = np.arange(25 * 30).reshape(25, 30, 1).astype(np.uint16)
    taken = take_profiles(as_picture(pixels), np.array([(12.3, 11.6)]), np.array([normal], float), reach=3)
    assert taken.reach == 3
    assert taken.base_px.tolist() == [[12, 12]]
    assert taken.step.tolist() == [list(step)]
    assert taken.cosine[0] == pytest.approx(np.dot(normal, step))
    k = np.arange(-3, 4)
    expected = linear_light(pixels[12 + k * step[1], 12 + k * step[0], 0] / 257)
    assert taken.light[0, :, 0] == pytest.approx(expected, abs=1e-7)
    assert taken.inside_picture.all()


def test_profiles_say_where_they_leave_the_picture():
    picture = as_picture(np.zeros((20, 20, 1), np.uint8))
    taken = take_profiles(picture, np.array([(1.0, 10.0), (10.0, 19.0)]), np.array([(1.0, 0.0), (0.0, 1.0)]), reach=3)
    assert taken.inside_picture.tolist() == [[False] * 2 + [True] * 5, [True] * 4 + [False] * 3]


def test_moving_mean_wraps_when_closed_and_stops_at_the_ends_when_open():
    values = np.arange(8.0)[:, None]
    closed, weight = moving_mean(values, np.ones(8), 1, closed=True)
    assert closed[:, 0] == pytest.approx([8 / 3, 1, 2, 3, 4, 5, 6, 13 / 3])
    assert weight == pytest.approx(3)
    opened, weight = moving_mean(values, np.ones(8), 1, closed=False)
    assert opened[:, 0] == pytest.approx([0.5, 1, 2, 3, 4, 5, 6, 6.5])
    assert weight == pytest.approx([2, 3, 3, 3, 3, 3, 3, 2])


def test_moving_mean_heeds_weights_and_says_where_there_are_none():
    values = np.arange(6.0)[:, None]
    mean, _ = moving_mean(values, np.array([3.0, 1, 0, 0, 0, 0]), 1, closed=False)
    assert mean[:2, 0] == pytest.approx([0.25, 0.25])
    assert mean[2, 0] == pytest.approx(1.0)
    assert np.isnan(mean[3:, 0]).all()


def test_gaps_are_bridged_around_the_seam():
    values = np.array([[np.nan], [2.0], [np.nan], [4.0], [np.nan], [np.nan]])
    filled = fill_gaps(values)[:, 0]
    # from 4 at index 3 down to 2 at index 7 (= 1 of the next turn) in four even steps
    assert filled == pytest.approx([2.5, 2.0, 3.0, 4.0, 3.5, 3.0])
    assert np.isnan(fill_gaps(np.full((4, 1), np.nan))).all()


# --- straight edges ----------------------------------------------------------------------------------------------


def edge_picture(angle_deg, phase_px, contrast, blur_px, *, bits=16, noise_codes=0.0, seed=0):
    """Half-plane whose outward normal points along `angle_deg`, its edge `phase_px` from the picture's middle."""
    a = np.radians(angle_deg)
    normal, along = np.array([np.cos(a), np.sin(a)]), np.array([-np.sin(a), np.cos(a)])
    middle = np.array([SIZE / 2, SIZE / 2]) + phase_px * normal
    far = 4 * SIZE
    ring = middle + np.array([along * far, -along * far, -along * far - normal * far, along * far - normal * far])
    outside, inside = contrast
    picture = drawn(
        [ring], (SIZE, SIZE), inside=inside, outside=outside, blur_px=blur_px, bits=bits, noise_codes=noise_codes,
        seed=seed,
    )  # fmt: skip
    return picture, middle, normal, along


def measured(picture, middle, normal, along, *, blur_px, known_sigma=None):
    """Signed distances of the measured places from the true edge, px, and the blur that was found."""
    reach = int(np.ceil(1.45 * (3 * blur_px + 1))) + 6
    t = np.arange(-(SIZE / 2 - reach - 6), SIZE / 2 - reach - 5)
    places = middle + t[:, None] * along
    profiles = take_profiles(picture, places, np.broadcast_to(normal, places.shape), reach=reach)
    distance = ((profiles.base_px - middle) @ normal)[:, None] + np.arange(-reach, reach + 1) * profiles.cosine[:, None]
    margin = 3.5 * blur_px + 1.5
    steps = normalise(profiles, distance < -margin, distance > margin, half=10, closed=False)
    sigma = estimate_blur(steps.value, profiles.cosine) if known_sigma is None else known_sigma
    fit = fit_steps(steps.value, profiles.cosine, sigma, mid_crossing(steps.value))
    found = profiles.base_px + fit.offset_px[:, None] * profiles.step
    return (found - middle) @ normal, sigma, fit, steps


@pytest.mark.parametrize("angle", ANGLES)
def test_straight_edge_has_no_bias_at_any_angle_and_phase(angle):
    phases = np.arange(0, 1, 0.125) + 0.03
    biases = []
    for phase in phases:
        picture, *frame = edge_picture(angle, phase, (0.9, 0.05), 0.8)
        distances, *_ = measured(picture, *frame, blur_px=0.8)
        assert np.isfinite(distances).all()
        biases.append(distances.mean())
    assert np.abs(biases).max() <= BIAS_PX, np.round(biases, 4)


@pytest.mark.parametrize("contrast", CONTRASTS, ids=lambda c: f"{c[0]}/{c[1]}")
@pytest.mark.parametrize("blur", [0.5, 0.7, 1.2, 2.0])
def test_straight_edge_has_no_bias_at_any_contrast_and_blur(contrast, blur):
    for angle, phase in ((0, 0.25), (90, 0.6), (22, 0.1), (45, 0.4), (248, 0.8)):
        picture, *frame = edge_picture(angle, phase, contrast, blur)
        distances, *_ = measured(picture, *frame, blur_px=blur)
        assert abs(distances.mean()) <= BIAS_PX, (angle, phase)


@pytest.mark.parametrize("angle", [0, 28, 45])
def test_edge_does_not_shift_with_the_contrast(angle):
    means = []
    for contrast in ((0.9, 0.05), (0.85, 0.3), (0.8, 0.4)):
        picture, *frame = edge_picture(angle, 0.3, contrast, 1.0, bits=8, noise_codes=1.5, seed=5)
        means.append(measured(picture, *frame, blur_px=1.0)[0].mean())
    assert np.ptp(means) <= CONTRAST_SHIFT_PX


def test_a_wrong_curve_of_light_would_show():
    # The same edge read as if its codes were light: off by about 0.47 of the blur (computed for this project).
    picture, *frame = edge_picture(0, 0.3, (0.9, 0.05), 1.0)
    straight = np.linspace(0, 1, 65536, dtype=np.float32)[:, None].repeat(3, axis=1)
    wrong = type(picture)(picture.name, picture.sha256, picture.pixels, straight)
    assert abs(measured(wrong, *frame, blur_px=1.0)[0].mean()) > 0.3
    assert abs(measured(picture, *frame, blur_px=1.0)[0].mean()) <= BIAS_PX
    assert srgb_table(65536)[-1, 0] == 1


@pytest.mark.parametrize("blur", [0.4, 0.7, 1.0, 1.5, 2.2])
@pytest.mark.parametrize("angle", [0, 33, 45])
def test_blur_is_found_with_the_pixel_in_it(blur, angle):
    picture, *frame = edge_picture(angle, 0.37, (0.9, 0.05), blur)
    sigma = measured(picture, *frame, blur_px=blur)[1]
    assert sigma == pytest.approx(np.sqrt(blur**2 + PX_VARIANCE), abs=0.03)


def test_noise_gives_the_deviation_of_the_cramer_rao_bound_and_says_so():
    # One row: 1.88 sqrt(s) noise / contrast px, for s the blur with the pixel in it (computed for this project).
    noise, sigma = 0.01, np.sqrt(0.7**2 + 1 / 12)
    rng = np.random.default_rng(3)
    index = np.arange(-9, 10)
    offset = rng.uniform(-0.5, 0.5, 4000)
    value = 1 - normal_cdf((index - offset[:, None]) / sigma) + rng.normal(0, noise, (4000, 19))
    fit = fit_steps(value, np.ones(4000), sigma, mid_crossing(value))
    spread = (fit.offset_px - offset).std()
    stated = np.sqrt(np.mean(fit.sd_px**2))
    bound = 1.88 * np.sqrt(sigma) * noise
    assert spread == pytest.approx(bound, rel=0.08)
    assert stated == pytest.approx(spread, rel=0.1)
    assert abs((fit.offset_px - offset).mean()) < 4 * spread / np.sqrt(4000)


def test_levels_and_contrast_are_those_painted():
    picture, *frame = edge_picture(12, 0.2, (0.8, 0.4), 0.8)
    steps = measured(picture, *frame, blur_px=0.8)[3]
    assert steps.inside == pytest.approx(0.4, abs=1e-3)
    assert steps.outside == pytest.approx(0.8, abs=1e-3)
    assert steps.contrast == pytest.approx(0.4 * np.sqrt(3), abs=1e-3)
    assert steps.usable.all()


def test_colours_of_one_brightness_are_told_apart():
    ring = [np.array([(-99, -99), (36.3, -99), (36.3, 199), (-99, 199)], float)]
    canvas = np.broadcast_to(np.array((0.2, 0.5, 0.3), np.float32), (SIZE, SIZE, 3)).copy()
    paint(canvas, blurred_coverage(ring, (SIZE, SIZE), 0.9), (0.5, 0.2, 0.3))
    distances, *_ = measured(
        as_picture(codes_of(canvas, bits=16)), np.array([36.3, 36]), np.array([1.0, 0]), np.array([0.0, 1]), blur_px=0.9
    )
    assert abs(distances.mean()) <= BIAS_PX


def test_without_contrast_nothing_is_usable():
    flat = as_picture(np.full((SIZE, SIZE, 3), 128, np.uint8))
    steps = measured(flat, np.array([36.0, 36]), np.array([1.0, 0]), np.array([0.0, 1]), blur_px=0.8)[3]
    assert not steps.usable.any()
    assert (steps.contrast == 0).all()


def test_profiles_that_never_cross_have_no_place():
    value = np.array([np.ones(7), np.zeros(7), [1, 1, 1, 0.75, 0.25, 0, 0]])
    found = mid_crossing(value)
    assert np.isnan(found[:2]).all()
    assert found[2] == pytest.approx(0.5)
    assert np.isnan(fit_steps(value, np.ones(3), 0.8, found).offset_px[:2]).all()


def test_of_several_crossings_the_one_nearest_the_middle_counts():
    value = np.array([[1, 0, 1, 1, 1, 0, 0, 1, 0, 0, 0.0]])
    assert mid_crossing(value)[0] == pytest.approx(-0.5)


# --- light that changes along the profile ------------------------------------------------------------------------


def sloping(slope_in, slope_out, sigma=1.0, noise=0.002, count=400, reach=14):
    """Profiles of a step whose sides slope: the exact ramps blurred by SciPy on a fine grid."""
    from scipy.ndimage import gaussian_filter1d

    fine = 40
    u = np.arange(-4 * reach * fine, 4 * reach * fine + 1) / fine
    ideal = np.where(u < 0, 1 + slope_in * u, slope_out * u) + 0.5 * (u == 0)
    blurred = gaussian_filter1d(ideal, sigma * fine, mode="nearest")
    rng = np.random.default_rng(6)
    offset = rng.uniform(-0.5, 0.5, count)
    distance = np.arange(-reach, reach + 1) - offset[:, None]
    return np.interp(distance, u, blurred) + rng.normal(0, noise, distance.shape), distance, offset


@pytest.mark.parametrize(("slope_in", "slope_out"), [(0.0, 0.02), (0.01, 0.0), (-0.01, -0.02), (0.015, 0.03)])
def test_slopes_are_found_and_taken_out(slope_in, slope_out):
    value, distance, offset = sloping(slope_in, slope_out)
    inside = side_slopes(value - 1.0, distance, distance < -4, half=40)
    outside = side_slopes(value, distance, distance > 4, half=40)
    assert inside.slope == pytest.approx(slope_in, abs=5e-4)
    assert outside.slope == pytest.approx(slope_out, abs=5e-4)
    # As the pipeline has it: normalised by the mean levels some way off the edge, then flattened.
    low, high = value[distance > 4].mean(), value[distance < -4].mean()
    scaled = (value - low) / (high - low)
    within = side_slopes(scaled - 1.0, distance, distance < -4, half=40)
    beyond = side_slopes(scaled, distance, distance > 4, half=40)
    flat = take_out_slopes(scaled, distance, 1.0, within, beyond)
    assert flat == pytest.approx(1 - normal_cdf(distance), abs=0.02)
    fit = fit_steps(flat, np.ones(len(flat)), 1.0, mid_crossing(flat))
    raw = fit_steps(scaled, np.ones(len(flat)), 1.0, mid_crossing(scaled))
    assert abs((fit.offset_px - offset).mean()) <= 0.01
    assert abs((fit.offset_px - offset).mean()) < abs((raw.offset_px - offset).mean())


def test_no_slope_is_seen_in_plain_noise():
    value, distance, _ = sloping(0.0, 0.0, noise=0.02)
    assert not side_slopes(value, distance, distance > 4, half=40).slope.any()
    flat = side_slopes(value - 1.0, distance, distance < -4, half=40)
    assert take_out_slopes(value, distance, 1.0, flat, flat) is value
