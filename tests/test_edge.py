"""Every point of a border on the true edge: discs, straight sides and holes of exact coverage."""

import numpy as np
import pytest

from tests.rendered import PX_VARIANCE, as_picture, box_px, circle_px, codes_of, drawn, mask_of, traced
from tests.truth.light import paint
from tests.truth.raster import blurred_coverage
from tests.truth.shapes import rectangle, rounded

DISC_BIAS_PX = 0.01  # target for R >= 10 px
EDGE_BIAS_PX = 0.005
CONTRAST_SHIFT_PX = 0.02
SHAPE = (170, 180)
CENTRE = np.array([88.4, 84.7])


def radii(contour, centre=CENTRE):
    return np.linalg.norm(contour.points_px - centre, axis=1)


def signed_area(points):
    x, y = points.T
    return 0.5 * (x * np.roll(y, -1) - np.roll(x, -1) * y).sum()


# --- discs -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("blur", [0.6, 0.8, 1.2])
@pytest.mark.parametrize("radius", [10, 14.3, 25, 70])
def test_disc_radius_has_no_bias(radius, blur):
    for shift in (0.0, 0.31, 0.77):
        centre = CENTRE + shift * np.array([1, -0.6])
        contour = traced([circle_px(centre, radius)], SHAPE, blur_px=blur, bits=16)[0].contour
        error = radii(contour, centre) - radius
        assert abs(error.mean()) <= DISC_BIAS_PX
        assert np.abs(error).max() < 0.06


@pytest.mark.parametrize("radius", [10, 25, 60])
def test_hole_radius_has_no_bias(radius):
    plate = box_px(CENTRE, 150, 12)
    outer, hole = traced([plate, circle_px(CENTRE, radius)], SHAPE, blur_px=0.8, bits=16)
    assert hole.contour.is_hole
    assert not outer.contour.is_hole
    assert abs((radii(hole.contour) - radius).mean()) <= DISC_BIAS_PX


@pytest.mark.parametrize(("outside", "inside"), [(0.9, 0.05), (0.8, 0.4), (0.04, 0.62), (0.06, 0.025)])
def test_disc_radius_holds_at_any_contrast(outside, inside):
    contour = traced([circle_px(CENTRE, 40.2)], SHAPE, inside=inside, outside=outside, bits=16)[0].contour
    assert abs(radii(contour).mean() - 40.2) <= DISC_BIAS_PX
    assert contour.contrast == pytest.approx(abs(outside - inside) * np.sqrt(3), rel=0.02)


def test_disc_does_not_shift_with_contrast_in_noise():
    means = []
    for outside, inside in ((0.9, 0.05), (0.85, 0.2), (0.8, 0.4)):
        look = {"inside": inside, "outside": outside, "noise_codes": 1.5, "seed": 3}
        means.append(radii(traced([circle_px(CENTRE, 60)], SHAPE, blur_px=1.0, **look)[0].contour).mean())
    assert np.ptp(means) <= CONTRAST_SHIFT_PX


# --- straight sides ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("blur", [0.6, 1.0, 1.2, 2.0])
@pytest.mark.parametrize("angle", [0, 7, 26.57, 45, 80])
def test_straight_sides_have_no_bias(angle, blur):
    box = box_px(CENTRE, (104.3, 96.8), angle)
    contour = traced([box], SHAPE, blur_px=blur, bits=16)[0].contour
    for start, end in zip(box, np.roll(box, -1, axis=0), strict=True):
        length = np.linalg.norm(end - start)
        along = (end - start) / length
        t, d = (contour.points_px - start) @ along, (contour.points_px - start) @ (-along[1], along[0])
        on = (t > 18) & (t < length - 18) & (np.abs(d) < 3)
        assert on.sum() > 50
        assert abs(d[on].mean()) <= EDGE_BIAS_PX


# --- what a contour says of itself -------------------------------------------------------------------------------


def test_direction_spacing_blur_and_records():
    plate, hole = circle_px(CENTRE, 70), circle_px(CENTRE, 20)
    outer, inner = (found.contour for found in traced([plate, hole], SHAPE, blur_px=0.9, bits=16))
    assert signed_area(outer.points_px) < 0  # y down: counter-clockwise in a y-up frame
    assert signed_area(inner.points_px) > 0
    for contour, radius in ((outer, 70), (inner, 20)):
        steps = np.linalg.norm(np.roll(contour.points_px, -1, axis=0) - contour.points_px, axis=1)
        assert steps.mean() == pytest.approx(1.0, abs=0.03)
        assert steps.max() < 1.02
        assert len(contour.points_px) == pytest.approx(2 * np.pi * radius, rel=0.02)
        assert contour.blur_px == pytest.approx(np.sqrt(0.9**2 + PX_VARIANCE), abs=0.04)
        assert contour.sd_px.shape == (len(contour.points_px),)
        assert not contour.points_px.flags.writeable
    assert traced([plate, hole], SHAPE)[0].findings == ()


@pytest.mark.parametrize("noise", [1.5, 3.0])
def test_stated_deviation_is_that_of_the_points(noise):
    actual, stated = [], []
    for seed in range(3):
        contour = traced([circle_px(CENTRE, 60)], SHAPE, blur_px=0.8, noise_codes=noise, seed=seed, inside=0.3)[
            0
        ].contour
        actual.append(((radii(contour) - 60) ** 2).mean())
        stated.append((contour.sd_px**2).mean())
    ratio = np.sqrt(np.mean(stated) / np.mean(actual))
    assert 0.6 < ratio < 1.6


def test_smooth_outline_of_many_curvatures_stays_on_the_edge():
    # a fob of straight sides and radii 12 to 40 px: RMS within 3 um at 600 dpi (0.07 px)
    shape = rounded([(-62, -55), (58, -50), (66, 20), (10, 66), (-50, 58)], [40, 18, 30, 12, 25]).placed(CENTRE, 0)
    contour = traced([shape.polygon(1e-4)], SHAPE, blur_px=0.8, noise_codes=1.5)[0].contour
    error = shape.signed_distance(contour.points_px)
    assert contour.corners == ()
    assert abs(error.mean()) <= 0.01
    assert np.sqrt((error**2).mean()) <= 0.03
    assert np.abs(error).max() <= 0.15


def test_a_thin_slot_keeps_its_width():
    # 1.2 mm at 600 dpi is 28 px; here 12 px wide, so that both sides are within one another's reach
    slot = rectangle(90, 12, 6).placed(CENTRE, 20)
    plate = box_px(CENTRE, (140, 110), 20)
    hole = traced([plate, slot.polygon(1e-4)], SHAPE, blur_px=0.8, bits=16)[1].contour
    assert hole.is_hole
    assert abs(slot.signed_distance(hole.points_px).mean()) <= DISC_BIAS_PX


def test_grey_and_colour_pictures_of_the_same_light_give_the_same_points():
    ring = [circle_px(CENTRE, 50)]
    colour = traced(ring, SHAPE, bits=8)[0].contour
    grey = traced(ring, SHAPE, bits=8, channels=1)[0].contour
    assert grey.points_px == pytest.approx(colour.points_px, abs=1e-5)


# --- what is refused or flagged ----------------------------------------------------------------------------------


def test_specks_are_too_short_to_trace():
    assert traced([circle_px(CENTRE, 2.5)], SHAPE) == [None]


def test_without_an_edge_there_is_no_contour():
    ring = [circle_px(CENTRE, 30)]
    rng = np.random.default_rng(1)
    noise = as_picture(rng.integers(118, 122, (*SHAPE, 3)).astype(np.uint8))
    found = traced(ring, SHAPE, picture=noise)[0]
    assert found is None or "edge-unclear" in [f.code for f in found.findings]


def test_an_edge_without_contrast_over_a_stretch_is_flagged_and_bridged():
    ring = [circle_px(CENTRE, 60)]
    canvas = np.full((*SHAPE, 3), 0.85, np.float32)
    paint(canvas, blurred_coverage([box_px(np.add(CENTRE, (60, 0)), (50, 40))], SHAPE, 2.0), (0.1,) * 3)
    paint(canvas, blurred_coverage(ring, SHAPE, 0.8), (0.1,) * 3)
    found = traced(ring, SHAPE, picture=as_picture(codes_of(canvas, noise_codes=1)))[0]
    (finding,) = [f for f in found.findings if f.code == "edge-unclear"]
    assert finding.value > finding.limit == 0.05
    assert finding.attention
    assert finding.place_px[0] > CENTRE[0] + 30
    far = found.contour.points_px[:, 0] < CENTRE[0]
    assert np.abs(radii(found.contour)[far] - 60).max() < 0.1


def shaded(depth, width):
    """Disc with a soft shade round it."""
    canvas = np.full((*SHAPE, 3), 0.85, np.float32)
    paint_shade = blurred_coverage([circle_px(np.add(CENTRE, (5, 4)), 52)], SHAPE, width)
    paint(canvas, type(paint_shade)(paint_shade.row, paint_shade.column, depth * paint_shade.values), (0.0,) * 3)
    paint(canvas, blurred_coverage([circle_px(CENTRE, 50)], SHAPE, 0.8), (0.1,) * 3)
    return as_picture(codes_of(canvas, noise_codes=1))


def test_a_contact_shadow_is_flagged_and_hardly_moves_the_edge():
    ring = [circle_px(CENTRE, 50)]
    found = traced(ring, SHAPE, picture=shaded(0.3, 12))[0]
    assert found.contour.shade > 0.003  # of the contrast a px
    assert abs(radii(found.contour).mean() - 50) <= 0.020  # 0.8 um at 600 dpi, for 30 % of the light lost
    plain = traced(ring, SHAPE, picture=drawn(ring, SHAPE, outside=0.85, inside=0.1, noise_codes=1))[0]
    assert plain.findings == ()
    assert plain.contour.shade < 0.0005


def test_the_mask_need_not_be_exact():
    # the border chain 1 px off either way: the edge found is the same
    true = circle_px(CENTRE, 50)
    picture = drawn([true], SHAPE, bits=16)
    for off in (-1.0, 0.0, 1.0):
        mask = mask_of([circle_px(CENTRE, 50 + off)], SHAPE)
        contour = traced([true], SHAPE, mask=mask, picture=picture)[0].contour
        assert abs(radii(contour).mean() - 50) <= DISC_BIAS_PX


def test_a_mask_that_wavers_within_a_soft_edge_does_not_lead_it_astray():
    blur, waves, count = 3.0, 3.0, 60
    shape, centre, radius = (220, 230), np.array([113.4, 108.7]), 80.0
    a = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    wavering = radius + waves * np.sin(count * a) * np.sign(np.sin(7 * a))
    mask = mask_of([centre + wavering[:, None] * np.stack([np.cos(a), np.sin(a)], axis=1)], shape)
    true = [circle_px(centre, radius)]
    (found,) = traced(true, shape, mask=mask, picture=drawn(true, shape, blur_px=blur, noise_codes=1))
    assert found.lost == 0.0
    assert found.findings == ()
    assert np.abs(radii(found.contour, centre) - radius).max() < 0.1
