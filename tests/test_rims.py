"""Rims looked for round many borders at once: each is told as it would be by itself."""

import cv2
import numpy as np
import pytest

from digitize.measure.profiles import normal_cdf
from digitize.silhouette.rims import pale_rims
from tests.rendered import as_picture, codes_of

SIDE, PITCH, PIXEL_MM = 480, 160, 25.4 / 300
RIMS = {1: 8.0, 4: 6.0, 5: 10.0, 8: 7.0}  # width in px round some of nine discs


def nine_discs():
    """Dark discs on a light ground, some with a rim of half the light: the picture, and borders of what is dark."""
    y, x = np.mgrid[:SIDE, :SIDE].astype(float)
    light, chains = np.full((SIDE, SIDE), 0.85), []
    for k in range(9):
        away = np.hypot(x - (PITCH * (k % 3) + 79.4), y - (PITCH * (k // 3) + 80.3))
        inner, outer = 50.0, 50.0 + RIMS.get(k, 0.0)
        own = 0.1 + 0.4 * normal_cdf((away - inner) / 0.9) + 0.35 * normal_cdf((away - outer) / 0.9)
        light = np.where(away < 75, own, light)
        dark = (away < inner).astype(np.uint8)
        chains.append(cv2.findContours(dark, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[0][0][:, 0].astype(np.int64))
    return as_picture(codes_of(light[..., None] * (1.0, 0.95, 0.9), noise_codes=1.0, seed=6)), chains


def test_rims_are_told_as_wide_as_they_are_whichever_borders_are_looked_at_together():
    picture, chains = nine_discs()
    together = pale_rims(picture, [*chains, None], PIXEL_MM)
    assert together[9] is None
    widths = {k: one.width_px for k, one in enumerate(together) if one is not None}
    assert widths == pytest.approx(RIMS, abs=0.6)  # places are tried half a pixel apart
    for k, chain in enumerate(chains):
        (alone,) = pale_rims(picture, [chain], PIXEL_MM)
        assert repr(alone) == repr(together[k])
        if alone is not None:
            assert alone.is_sure
            assert np.allclose(alone.light, 0.5 * np.array([1.0, 0.95, 0.9]), atol=0.02)


def test_what_is_too_short_is_left_alone():
    picture, chains = nine_discs()
    assert pale_rims(picture, [chains[1][:200], None], PIXEL_MM) == [None, None]
    assert pale_rims(picture, [], PIXEL_MM) == []
