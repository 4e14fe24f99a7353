"""What is seen beside the borders of many items is what is seen beside each by itself, bit for bit."""

from dataclasses import replace
from functools import cache
from types import SimpleNamespace

import numpy as np

from digitize.edge.crumbs import _odd
from digitize.measure.profiles import normal_cdf
from digitize.recipe.beside import look_beside
from tests.rendered import as_picture, circle_px, codes_of, traced

SIDE, PITCH, PIXEL_MM = 420, 140, 25.4 / 300
LOCATED = SimpleNamespace(
    estimate=SimpleNamespace(blur_px=0.9, facts=SimpleNamespace(mm_per_px=(PIXEL_MM, PIXEL_MM))), camera=None
)
COLOUR = np.array([1.0, 0.95, 0.8])
RADII = np.array([30.0, 41.5, 52.0, 35.2, 48.4, 44.0, 26.3, 50.1, 39.9])


@cache
def nine():
    """Discs on a sheet: plain, bevelled, with a band of print, a crumb, and one that ends near the picture's side."""
    y, x = np.mgrid[:SIDE, :SIDE].astype(float)
    light = np.full((SIDE, SIDE, 3), 0.85) * COLOUR
    centres = [(PITCH * (k % 3) + 69.3, PITCH * (k // 3) + 70.6) for k in range(9)]
    centres[8] = (SIDE - 55.0, SIDE - 54.0)
    for k, ((cx, cy), radius) in enumerate(zip(centres, RADII, strict=True)):
        away = np.hypot(x - cx, y - cy)
        steps = [(radius, 0.85), (radius - (4.0, 0.0, 1.5)[k % 3], 0.5), (radius - (12.0, 0.0, 0.0)[k // 3], 0.3)]
        own = np.full_like(away, 0.12)
        for (at, beyond), before in zip(steps[::-1], (0.12, 0.3, 0.5), strict=True):
            own += (beyond - before) * normal_cdf((away - at) / 0.9)
        near = away < radius + 8
        light[near] = own[near, None] * COLOUR
    cx, cy = centres[1]
    light[(np.abs(x - cx) < 5) & (np.abs(y - cy - RADII[1]) < 4)] = (0.3, 0.1, 0.05)
    picture = replace(as_picture(codes_of(light, noise_codes=1.0, seed=4)), curve_stated=False)
    rings = [circle_px(np.array(one), radius) for one, radius in zip(centres, RADII, strict=True)]
    found = [traced([ring], (SIDE, SIDE), picture=picture)[0] for ring in rings]
    return picture, [(one.contour,) for one in found]


def told(beside):
    """All that was seen beside an item, as plain values."""
    light = [None if one is None else (one.light.tobytes(), one.noise, one.inside.tobytes()) for one in beside.light]
    two = beside.two and (beside.two.inner_px.tobytes(), beside.two.outer_px.tobytes(), beside.two.share)
    return light, two, beside.doubt, beside.unclean, beside.washed, beside.crumbs


def test_items_looked_at_together_look_as_each_alone():
    picture, items = nine()
    together = [told(one) for one in look_beside(picture, items, LOCATED, 1.0)]
    assert together == [told(look_beside(picture, [one], LOCATED, 1.0)[0]) for one in items]
    _, twos, doubts, unclean, _, _ = zip(*together, strict=True)
    assert None not in doubts
    assert 0 < sum(one is not None for one in twos) < 9
    assert 0 < sum(one != (None,) for one in unclean) < 9


def test_light_that_is_odd_along_one_edge_is_odd_among_others():
    picture, items = nine()
    contours = [one[0] for one in items]
    together = _odd(picture, contours, half=32)
    assert [one.any() for one in together] == [k == 1 for k in range(9)]
    for contour, odd in zip(contours, together, strict=True):
        assert odd.tolist() == _odd(picture, [contour], half=32)[0].tolist()


def test_what_was_seen_is_taken_for_no_other_contours():
    picture, items = nine()
    (seen,) = look_beside(picture, items[:1], LOCATED, 1.0)
    assert seen.is_of(items[0])
    assert seen.begins(items[0])
    other = (items[1][0],)
    assert not seen.is_of(other)
    assert not seen.begins(other)
    assert not seen.is_of((*items[0], *other))
