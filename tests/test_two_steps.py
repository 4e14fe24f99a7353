"""An edge of two steps is placed where it is: pictures by the error function of the standard library, tilted edges."""

import math

import numpy as np
import pytest

from digitize.edge.two_steps import fit_two_steps
from tests.rendered import as_picture
from tests.truth.light import srgb_codes

ITEM, GROUND = (0.06, 0.05, 0.05), (0.80, 0.79, 0.77)
RADIUS = 90.0


def disc_with_rim(rim, width_px, blur_px, size=240):
    """Light of a disc about the middle whose outermost band is a rim; its edges blurred as straight ones are."""
    y, x = np.mgrid[:size, :size].astype(float)
    away = np.hypot(x - (size - 1) / 2, y - (size - 1) / 2)
    inside = np.vectorize(lambda d: 0.5 * math.erfc(d / (math.sqrt(2.0) * blur_px)))
    shell, core = inside(away - RADIUS)[..., None], inside(away - RADIUS + width_px)[..., None]
    light = GROUND + (np.array(rim) - GROUND) * shell + (np.array(ITEM) - rim) * core
    return as_picture(np.clip(np.rint(srgb_codes(light)), 0, 255).astype(np.uint8))


def fitted(picture, width_px, blur_px):
    middle = (picture.width_px - 1) / 2
    turn = np.linspace(0, 2 * np.pi, int(2 * np.pi * RADIUS), endpoint=False)
    normals = np.column_stack([np.cos(turn), np.sin(turn)])
    base = middle + (RADIUS + 0.6 * np.sin(5 * turn))[:, None] * normals  # somewhere near
    return fit_two_steps(picture, base, normals, width_px, blur_px), middle


@pytest.mark.parametrize("rim", [(0.5, 0.5, 0.5), (0.74, 0.74, 0.72), (0.55, 0.40, 0.30)])
@pytest.mark.parametrize(("width", "blur"), [(3.5, 0.8), (6.0, 1.1), (12.0, 1.6)])
def test_both_steps_lie_where_they_were_drawn(rim, width, blur):
    two, middle = fitted(disc_with_rim(rim, width, blur), width + 0.7, 0.9)
    good = np.isfinite(two.outer_px)
    assert good.mean() > 0.99
    places = two.profiles.base_px + two.outer_px[:, None] * two.profiles.step
    off = np.hypot(*(places[good] - middle).T) - RADIUS
    assert abs(np.median(off)) < 0.03  # codes are whole numbers, and a curved edge is drawn as a straight one
    assert np.abs(off).max() < 0.35
    slanted = width**2 / (2 * RADIUS)  # a row at 45 degrees to a curved rim's normal crosses so much more of it
    assert np.median(two.width_px) == pytest.approx(width, abs=0.04 + 0.3 * slanted)
    assert two.blur_px == pytest.approx(blur, rel=0.06)
    assert np.median(two.rim, axis=0) == pytest.approx(rim, abs=0.012)


def test_a_rim_too_narrow_for_the_blur_is_left_to_others():
    assert fitted(disc_with_rim((0.6, 0.6, 0.6), 2.0, 1.0), 2.0, 1.0)[0] is None
