"""The background behind the items, against the light that was painted there."""

import numpy as np
import pytest

from digitize.silhouette.background import background_apart, estimate_background

H, W = 180, 260


def lid(level=(0.8, 0.78, 0.7), slope=(0.05, -0.04), bend=0.05):
    """Smoothly uneven light, (H, W, 3)."""
    y, x = np.mgrid[-1 : 1 : H * 1j, -1 : 1 : W * 1j]
    shape = 1 + slope[0] * x + slope[1] * y - bend * (x**2 + y**2)
    return (shape[..., None] * np.array(level)).astype(np.float32)


def with_items(light, boxes, colour, noise=0.004, seed=1):
    seen = light + np.random.default_rng(seed).normal(0, noise, light.shape).astype(np.float32)
    for rows, columns in boxes:
        seen[rows, columns] = colour
    return seen.astype(np.float32)


EVERYWHERE = np.ones((H, W), bool)
BOXES = [(slice(40, 110), slice(50, 130)), (slice(90, 150), slice(160, 230))]


@pytest.mark.parametrize("colour", [(0.05, 0.04, 0.03), (0.6, 0.2, 0.1), (0.95, 0.95, 0.9)])
def test_light_behind_items_is_what_was_painted(colour):
    truth = lid()
    found = estimate_background(with_items(truth, BOXES, colour), EVERYWHERE)
    assert found.light.shape == (H, W, 3)
    assert found.light.dtype == np.float32
    assert np.abs(found.light - truth).max() < 0.012
    assert np.abs(found.light - truth).mean() < 0.003


@pytest.mark.parametrize("noise", [0.002, 0.01, 0.02])
def test_noise_is_that_of_the_lid(noise):
    found = estimate_background(with_items(lid(), BOXES, (0.1, 0.1, 0.1), noise), EVERYWHERE)
    assert found.noise == pytest.approx(noise, rel=0.2)


def test_noise_has_a_floor():
    found = estimate_background(with_items(lid(bend=0, slope=(0, 0)), [], 0, 0.0), EVERYWHERE)
    assert (found.noise > 0).all()


def test_what_is_not_known_is_not_looked_at():
    known = EVERYWHERE.copy()
    known[:, :140] = False  # more than half of the picture, of another colour
    truth = lid(bend=0.0, slope=(0, 0))
    seen = with_items(truth, [(slice(0, H), slice(0, 140))], (0.1, 0.1, 0.1))
    assert np.abs(estimate_background(seen, known).light[:, 150:] - truth[:, 150:]).max() < 0.02


def halves():
    """Two thirds dark, one third light."""
    seen = np.full((H, W, 3), 0.85, np.float32)
    seen[:, 90:] = 0.1
    return seen + np.random.default_rng(2).normal(0, 0.003, seen.shape).astype(np.float32)


@pytest.mark.parametrize(("seed", "level"), [("light", 0.85), ("dark", 0.1), ((0.84, 0.86, 0.85), 0.85), (None, 0.1)])
def test_seed_chooses_between_two_grounds(seed, level):
    found = estimate_background(halves(), EVERYWHERE, seed=seed)
    assert np.median(found.light) == pytest.approx(level, abs=0.01)


def test_the_border_tells_the_background_from_a_large_item():
    seen = with_items(lid(bend=0), [(slice(14, H - 14), slice(14, W - 14))], (0.1, 0.1, 0.1))
    found = estimate_background(seen, EVERYWHERE)
    assert np.median(found.light[..., 0]) == pytest.approx(0.8, abs=0.03)


def test_one_channel_stays_one_channel():
    truth = lid()[..., :1]
    found = estimate_background(with_items(truth, BOXES, 0.1), EVERYWHERE)
    assert found.light.shape == (H, W, 1)
    assert found.noise.shape == (1,)
    assert np.abs(found.light - truth).mean() < 0.003


def test_tiny_and_flat_pictures_are_survived():
    for size in ((1, 1), (3, 40), (9, 9)):
        found = estimate_background(np.full((*size, 3), 0.5, np.float32), np.ones(size, bool))
        assert found.light == pytest.approx(0.5, abs=0.01)
    nothing = estimate_background(np.full((20, 20, 3), 0.5, np.float32), np.zeros((20, 20), bool))
    assert np.isfinite(nothing.light).all()


def test_a_lid_that_falls_off_in_steps_is_followed_past_the_items_on_it():
    y, x = np.mgrid[:H, :W].astype(np.float32)
    share = 1 - 0.15 / (1 + np.exp(-(x - 90) / 12)) - 0.15 / (1 + np.exp(-(x - 200) / 12))
    share -= 0.15 * np.exp(-(((x - W) / 60) ** 2) - (y / 50) ** 2)
    truth = (share[..., None] * np.array((0.8, 0.78, 0.7))).astype(np.float32)
    found = estimate_background(with_items(truth, BOXES, (0.05, 0.1, 0.03)), EVERYWHERE)
    clear = np.ones((H, W), bool)
    for box in BOXES:
        clear[box] = False
    off = np.abs(found.light - truth)[clear]
    assert off.mean() < 0.006
    assert np.quantile(off, 0.99) < 0.03


def far_fallen(dark=0.05):
    """A lid that is clipped white at the left and falls to a quarter of it at the right, and what lies on it."""
    x = np.linspace(0, 1, W)
    light = np.broadcast_to(np.interp(x, (0, 0.4, 1), (1.0, 0.95, 0.27))[None, :, None], (H, W, 3)).astype(np.float32)
    return light, np.minimum(with_items(light, BOXES, (dark,) * 3), 1.0).astype(np.float32)


def test_a_lid_that_falls_off_far_is_told_from_dark_things_by_one_level():
    light, seen = far_fallen()
    found = background_apart(seen, EVERYWHERE)
    assert np.abs(found.light - light).max() < 0.1
    assert np.abs(found.light - light).mean() < 0.006
    assert (
        np.abs(estimate_background(seen, EVERYWHERE).light - light).mean() > 0.012
    )  # what grows from one colour stops


def test_dark_things_all_over_leave_too_little_lid_to_follow():
    seen = with_items(lid(), [(slice(10, 170), slice(10, 255))], 0.05)
    assert background_apart(seen, EVERYWHERE) is None
