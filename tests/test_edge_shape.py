"""Edges that are no clean step get a figure that reaches their true place; washed out stretches are seen.

Discs whose light is a function of the distance from their edge, in closed form: steps of a Gaussian's integral.
"""

from functools import cache

import numpy as np
import pytest

from digitize.edge.beyond import changing_sides
from digitize.edge.detours import with_detours
from digitize.edge.runner import find_runner_ups
from digitize.edge.shape import unclean_steps
from digitize.edge.stretches import Stretch, stretches_along
from digitize.edge.washed import washed_outs
from digitize.measure.profiles import normal_cdf
from digitize.recipe.other import left_over, of_shape
from digitize.trust.lift import SoftEdge, softness_mm
from tests.rendered import as_picture, circle_px, codes_of, traced

SHAPE, CENTRE, RADIUS, BLUR_PX, PIXEL_MM = (300, 300), np.array([149.3, 150.6]), 110.0, 0.9, 25.4 / 300
GROUND, ITEM = 0.85, 0.25
BEVELS = [(4.0, 0.6), (6.0, 0.5), (1.5, 0.02), (3.0, 0.02)]  # width px, its light


def beyond(blur_px=BLUR_PX, *, at_px=0.0):
    """(H, W) share of the light that lies farther out than the disc's edge, moved outward by so much."""
    y, x = np.mgrid[: SHAPE[0], : SHAPE[1]]
    return normal_cdf((np.hypot(x - CENTRE[0], y - CENTRE[1]) - RADIUS - at_px) / blur_px)


def seen(light):
    """The picture of that light in grey, noise of a code on it, and the disc's traced contour."""
    picture = as_picture(codes_of(np.repeat(light[:, :, None], 3, axis=2), noise_codes=1.0, seed=3))
    return picture, traced([circle_px(CENTRE, RADIUS)], SHAPE, picture=picture)[0].contour


@cache
def bevelled(width_px, light):
    return seen(ITEM + (light - ITEM) * beyond(at_px=-width_px) + (GROUND - light) * beyond())


def off_px(contour):
    return np.abs(np.linalg.norm(contour.points_px - CENTRE, axis=1) - RADIUS)


@pytest.mark.parametrize("blur_px", [0.9, 2.2])  # sharp, and soft all round as above the glass
def test_a_clean_step_is_no_doubt_however_soft(blur_px):
    picture, contour = seen(ITEM + (GROUND - ITEM) * beyond(blur_px))
    assert unclean_steps(picture, [contour], blur_px=BLUR_PX, mm_per_px=PIXEL_MM)[0] is None
    assert washed_outs(picture, [contour], mm_per_px=PIXEL_MM)[0] is None


def stated_px(picture, contour, blur_px):
    """What an edge's shape and its softness add to the budget together, k = 2."""
    soft = softness_mm((contour,), blur_px, PIXEL_MM)
    edge = SoftEdge(soft, contour.contrast / np.sqrt(3), (blur_px or 0.0) * PIXEL_MM)
    _, budget = of_shape(picture, (contour,), blur_px, PIXEL_MM)
    return 2.0 * np.hypot(sum(line.profile_mm for line in budget), edge.off_mm()) / PIXEL_MM


@pytest.mark.parametrize("bevel", BEVELS)
@pytest.mark.parametrize("blur_px", [BLUR_PX, None], ids=["reference", "no reference"])
def test_a_bevel_is_covered(bevel, blur_px):
    """Within twice the figure: what looks alike lies off by different ways."""
    picture, contour = bevelled(*bevel)
    off = float(np.quantile(off_px(contour), 0.95))
    assert off > 0.15
    assert off < 2.0 * stated_px(picture, contour, blur_px) < 12.0 * off


@pytest.mark.parametrize(("deep", "blur_px", "at_px"), [(0.3, 1.5, 2.0), (0.3, 2.5, 4.0), (0.2, 1.5, 4.0)])
def test_a_shade_within_a_few_px_is_covered(deep, blur_px, at_px):
    light = ITEM + (GROUND - ITEM) * beyond()
    picture, contour = seen(light * (1.0 - deep * beyond() * (1.0 - beyond(blur_px, at_px=at_px))))
    off = float(np.quantile(off_px(contour), 0.95))
    assert 0.5 < off < stated_px(picture, contour, BLUR_PX)


def test_the_place_is_where_the_step_is_least_clean():
    """A bevel along the upper third of the disc alone, as one that faces the lamp."""
    y = np.arange(SHAPE[0])[:, None]
    faces = np.clip((CENTRE[1] - 30.0 - y) / 20.0, 0.0, 1.0)
    light = ITEM + (0.6 - ITEM) * faces * beyond(at_px=-4.0) + (GROUND - ITEM - (0.6 - ITEM) * faces) * beyond()
    picture, contour = seen(light)
    unclean = unclean_steps(picture, [contour], blur_px=BLUR_PX, mm_per_px=PIXEL_MM)[0]
    assert unclean.place_px[1] < CENTRE[1] - 30.0


def glared(half_deg, *, deep=1.0):
    """The disc with a glare over its edge, so far to either side of its right-hand end; as light as the ground at 1."""
    y, x = np.mgrid[: SHAPE[0], : SHAPE[1]]
    aside = np.hypot(x - CENTRE[0] - RADIUS, y - CENTRE[1]) / (RADIUS * np.radians(half_deg))
    covered = 1.0 - beyond()
    return seen(GROUND + (ITEM - GROUND) * covered * (1.0 - deep * np.exp(-(aside**4))))


def test_a_glare_over_the_edge_is_seen_where_it_is():
    picture, contour = glared(10)
    assert off_px(contour).max() > 2.5
    washed = washed_outs(picture, [contour], mm_per_px=PIXEL_MM)[0]
    assert 0.5 < washed.long_mm < 4.0  # the glare is 3.3 mm wide
    assert np.linalg.norm(washed.place_px - CENTRE - (RADIUS, 0)) < 25


@pytest.mark.parametrize(("deep", "is_said"), [(0.85, True), (0.5, False)])
def test_a_seventh_of_the_step_is_no_edge_and_half_of_it_is_one(deep, is_said):
    picture, contour = glared(10, deep=deep)
    assert (washed_outs(picture, [contour], mm_per_px=PIXEL_MM)[0] is not None) == is_said


def test_a_fleck_shorter_than_half_a_millimetre_is_not_worth_a_word():
    picture, contour = glared(1)
    assert washed_outs(picture, [contour], mm_per_px=PIXEL_MM)[0] is None


def test_a_strip_without_width_is_not_said():
    """The border there and back along one line: noise, no hair."""
    rest = [(60, y) for y in range(1, 30)] + [(x, 30) for x in range(60, -1, -1)] + [(0, y) for y in range(29, 0, -1)]
    spur = [(30.0, -y) for y in range(1, 9)] + [(30.1, -y) for y in range(8, 0, -1)]
    upper = [(x, 0.0) for x in range(31)] + spur + [(x, 0.0) for x in range(32, 60)]
    base = np.array([*upper, *rest], float)
    good = np.ones(len(base), bool)
    good[31 : 31 + len(spur)] = False
    came = with_detours(base[good], np.flatnonzero(good), base, lambda run: base[run])
    assert len(came.places_px) == good.sum()
    assert came.cut_off == ()


@pytest.mark.parametrize(("deep", "blur_px", "at_px"), [(0.08, 2.5, 2.0), (0.13, 4.0, 0.0), (0.18, 4.0, 0.0)])
def test_a_soft_shade_of_an_ordinary_scan_is_no_second_border(deep, blur_px, at_px):
    light = ITEM + (GROUND - ITEM) * beyond()
    shade = deep * beyond() * (1.0 - beyond(blur_px, at_px=at_px))
    picture, contour = seen(light * (1.0 - shade))
    light = stretches_along(picture, [contour], PIXEL_MM)
    assert find_runner_ups([contour], light, blur_px=BLUR_PX)[0] is None


def runner_up(light):
    picture, contour = seen(light)
    return find_runner_ups([contour], stretches_along(picture, [contour], PIXEL_MM), blur_px=BLUR_PX)[0]


@pytest.mark.parametrize("softer", [1.1, 1.2, 1.3])
def test_an_edge_that_is_only_softer_all_round_is_no_two(softer):
    assert runner_up(ITEM + (GROUND - ITEM) * beyond(softer * BLUR_PX)) is None


@pytest.mark.parametrize("part", [0.4, 0.5, 0.6])
def test_two_like_steps_nearer_than_the_blur_lets_see_are_two(part):
    rim = ITEM + part * (GROUND - ITEM)
    two = runner_up(ITEM + (rim - ITEM) * beyond(at_px=-1.2) + (GROUND - rim) * beyond())
    assert two.share == 1.0
    assert two.apart_px() == pytest.approx(1.2, abs=0.2)


@pytest.mark.parametrize(("wide_px", "band", "share"), [(6, 0.5, 0.3), (10, 0.55, 0.7), (12, 0.7, 0.4)])
def test_of_a_rim_along_part_of_the_edge_a_chosen_border_is_as_sure_as_it_says(wide_px, band, share):
    """The inner one is off most where the rim ends; by as much as is stated, root mean square."""
    y, x = np.mgrid[: SHAPE[0], : SHAPE[1]]
    rimmed = np.abs(np.arctan2(y - CENTRE[1], x - CENTRE[0])) < np.pi * share
    rim = (band - ITEM) * rimmed
    picture, contour = seen(ITEM + rim * beyond(at_px=-wide_px) + (GROUND - ITEM - rim) * beyond())
    two = find_runner_ups([contour], stretches_along(picture, [contour], PIXEL_MM), blur_px=BLUR_PX)[0]
    inner = two.moved(contour, outer=False) - CENTRE
    true = RADIUS - wide_px * (np.abs(np.arctan2(inner[:, 1], inner[:, 0])) < np.pi * share)
    off = np.hypot(*inner.T) - true
    (line,) = left_over(two, PIXEL_MM)
    assert 0.6 < np.sqrt(np.mean(off**2)) / (line.profile_mm / PIXEL_MM) < 1.4


def test_sides_are_those_on_which_the_light_changes_once_more():
    at = np.arange(-10.0, 10.1, 0.5)
    step = ITEM + (GROUND - ITEM) * normal_cdf(at / BLUR_PX)
    added = {(): 0.0, (-1.0,): at < -6, (1.0,): at > 6, (-1.0, 1.0): np.abs(at) > 6}
    known = [(step + 0.05 * more)[:, None] for more in added.values()]
    assert changing_sides([Stretch(at, light, 0.002, light[0], light[-1]) for light in known], BLUR_PX) == list(added)
    assert changing_sides([Stretch(at, light, 0.01, light[0], light[-1]) for light in known], BLUR_PX) == [()] * 4
