"""Local quadratics on closed contours against the published table, SciPy and analytic curves."""

import numpy as np
import pytest

from digitize.edge.smoothing import closed_normals, correlate_closed, quadratic_weights, resample_closed, smooth_rings
from digitize.measure.ragged import EndToEnd
from digitize.measure.rings import rolled, signed_area

# Savitzky and Golay, Analytical Chemistry 36 (1964) 1627, table I (quadratic and cubic), from memory, and as
# reproduced in handbooks of signal processing; numerators of the right half with the middle first, and the norm.
TABLE_VALUE = {
    2: ([17, 12, -3], 35),
    3: ([7, 6, 3, -2], 21),
    4: ([59, 54, 39, 14, -21], 231),
    5: ([89, 84, 69, 44, 9, -36], 429),
    8: ([43, 42, 39, 34, 27, 18, 7, -6, -21], 323),
}
# Table II (first derivative, quadratic): the weights are k over the norm.
TABLE_DERIVATIVE_NORM = {2: 10, 3: 28, 4: 60, 5: 110}
# Table III (second derivative, quadratic): numerators and norm of the value of the second derivative.
TABLE_SECOND = {2: ([-2, -1, 2], 7), 3: ([-4, -3, 0, 5], 42), 4: ([-20, -17, -8, 7, 28], 462)}


def smoothed(points, normals, noise):
    """One curve smoothed."""
    return smooth_rings(points, normals, EndToEnd([len(points)]), np.array([noise]))


def mirrored(half):
    return np.array([*half[:0:-1], *half], float)


def ellipse(count, a=60.0, b=35.0):
    t = 2 * np.pi * np.arange(count) / count
    return np.stack([a * np.cos(t), b * np.sin(t)], 1), np.stack([b * np.cos(t), a * np.sin(t)], 1)


@pytest.mark.parametrize("half", TABLE_VALUE)
def test_weights_of_the_value_are_the_published_ones(half):
    numerators, norm = TABLE_VALUE[half]
    assert quadratic_weights(half) == pytest.approx(mirrored(numerators) / norm, abs=1e-12)


def test_weights_over_five_points_are_the_famous_ones():
    assert quadratic_weights(2) * 35 == pytest.approx([-3, 12, 17, 12, -3], abs=1e-11)


@pytest.mark.parametrize("half", TABLE_DERIVATIVE_NORM)
def test_weights_of_the_slope_are_the_published_ones(half):
    assert quadratic_weights(half, 1) * TABLE_DERIVATIVE_NORM[half] == pytest.approx(
        np.arange(-half, half + 1), abs=1e-10
    )


@pytest.mark.parametrize("half", TABLE_SECOND)
def test_weights_of_the_second_derivative_are_the_published_ones(half):
    numerators, norm = TABLE_SECOND[half]
    assert quadratic_weights(half, 2) == pytest.approx(mirrored(numerators) / norm, abs=1e-12)


@pytest.mark.parametrize("derivative", [0, 1, 2])
@pytest.mark.parametrize("half", [1, 2, 4, 8, 16, 32])
def test_weights_agree_with_scipy(half, derivative):
    from scipy.signal import savgol_coeffs

    expected = savgol_coeffs(2 * half + 1, 2, deriv=derivative, use="dot")
    assert quadratic_weights(half, derivative) == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize("half", [2, 5])
def test_closed_sequences_are_filtered_as_scipy_does_with_wrapping(half):
    from scipy.signal import savgol_filter

    values = np.random.default_rng(1).normal(size=(40, 2))
    found = correlate_closed(values, quadratic_weights(half))
    assert found == pytest.approx(savgol_filter(values, 2 * half + 1, 2, axis=0, mode="wrap"), abs=1e-12)
    slope = correlate_closed(values, quadratic_weights(half, 1))
    assert slope == pytest.approx(savgol_filter(values, 2 * half + 1, 2, deriv=1, axis=0, mode="wrap"), abs=1e-12)


def test_a_window_longer_than_the_sequence_is_refused():
    assert correlate_closed(np.zeros((5, 2)), quadratic_weights(2)).shape == (5, 2)
    with pytest.raises(ValueError, match="shorter than the window"):
        correlate_closed(np.zeros((4, 2)), quadratic_weights(2))


def test_noise_on_a_circle_is_averaged_and_its_radius_kept():
    rng = np.random.default_rng(2)
    radius, noise, count = 150.0, 0.05, 942
    t = 2 * np.pi * np.arange(count) / count
    normals = np.stack([np.cos(t), np.sin(t)], 1)
    noisy = (radius + rng.normal(0, noise, count))[:, None] * normals
    points, sd = smoothed(noisy, normals, noise)
    error = np.linalg.norm(points, axis=1) - radius
    assert abs(error.mean()) < 0.006  # noise / sqrt(count) is 0.0016
    assert error.std() < 0.4 * noise
    # what it states for the points is what they have
    assert np.sqrt(np.mean(sd**2)) == pytest.approx(np.sqrt(np.mean(error**2)), rel=0.35)


def test_longest_window_is_used_on_a_straight_stretch_and_states_its_own_sd():
    square = resample_closed(np.array([(0, 0), (400, 0), (400, 400), (0, 400)], float), 1.0)
    normals = closed_normals(square, 2)
    _, sd = smoothed(square, normals, 0.05)
    middle = np.abs(square - (200, 0)).max(axis=1) < 50
    assert sd[middle] == pytest.approx(0.05 * np.sqrt((quadratic_weights(32) ** 2).sum()), rel=1e-9)


def test_a_small_feature_keeps_its_shape():
    # a wave of 0.5 px amplitude and 40 px length against 0.01 px of noise: a window of 65 points would flatten it
    count = 1200
    t = 2 * np.pi * np.arange(count) / count
    normals = np.stack([np.cos(t), np.sin(t)], 1)
    wave = 0.5 * np.sin(30 * t)
    noise = np.random.default_rng(4).normal(0, 0.01, count)
    points, _ = smoothed((190 + wave + noise)[:, None] * normals, normals, 0.01)
    assert np.abs(np.linalg.norm(points, axis=1) - 190 - wave).max() < 0.05
    flattened = correlate_closed((190 + wave)[:, None] * normals, quadratic_weights(32))
    assert np.abs(np.linalg.norm(flattened, axis=1) - 190 - wave).max() > 0.3  # so the window must have been chosen


def test_short_contours_come_back_as_they_are():
    points, normals = ellipse(5)
    kept, sd = smoothed(points, normals, 0.1)
    assert np.array_equal(kept, points)
    assert sd == pytest.approx(0.1)


def test_resampling_gives_even_steps_on_the_curve():
    points, _ = ellipse(37)
    even = resample_closed(points, 1.0)
    steps = np.linalg.norm(np.roll(even, -1, axis=0) - even, axis=1)
    perimeter = np.linalg.norm(np.roll(points, -1, axis=0) - points, axis=1).sum()
    assert len(even) == round(perimeter)
    assert np.ptp(steps) < 0.03
    assert even[0] == pytest.approx(points[0], abs=1e-12)


def test_resampling_does_not_pull_a_circle_inward():
    angles = np.linspace(0, 2 * np.pi, 50, endpoint=False) + 0.01 * np.sin(np.arange(50))
    even = resample_closed(10 * np.column_stack([np.cos(angles), np.sin(angles)]), 1.0)
    assert np.abs(np.linalg.norm(even, axis=1) - 10).max() < 0.001  # chords would be 0.02 inside


def test_normals_of_an_ellipse_point_out_of_a_counter_clockwise_ring():
    points, exact = ellipse(400)
    exact = exact / np.linalg.norm(exact, axis=1, keepdims=True)
    found = closed_normals(points, 4)
    assert np.degrees(np.arccos(np.clip((found * exact).sum(axis=1), -1, 1))).max() < 0.1
    assert closed_normals(points[::-1], 4) == pytest.approx(-found[::-1], abs=1e-12)


def test_signed_area_of_known_figures():
    assert signed_area(np.array([(0, 0), (4, 0), (4, 3), (0, 3)], float)) == 12
    assert signed_area(np.array([(0, 0), (0, 3), (4, 3), (4, 0)], float)) == -12
    far = np.array([(0, 0), (4, 0), (0, 3)], float) + 1e7
    assert signed_area(far) == pytest.approx(6, abs=1e-6)
    count = 50
    regular = ellipse(count, 2.0, 2.0)[0]
    assert signed_area(regular) == pytest.approx(0.5 * count * 4 * np.sin(2 * np.pi / count), rel=1e-12)


@pytest.mark.parametrize("count", [0, 1, 5])
def test_rolled_is_what_numpy_rolls(count):
    values = np.arange(2.0 * count).reshape(count, 2)
    for by in range(-7, 8):
        assert np.array_equal(rolled(values, by), np.roll(values, by, axis=0))
