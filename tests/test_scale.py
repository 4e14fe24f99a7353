"""Flatbed scales from synthetic corners (exact affine maps), limits, budget, and the signatures of wrong densities."""

import re

import numpy as np
import pytest

from digitize.errors import ScaleError
from digitize.records import Density
from digitize.reference.scale import (
    FlatbedScale,
    _of_two_readings,
    compare_with_density,
    scale_from_density,
    scale_from_points,
    square_places,
)

SIDE = 50.0


def scanner(dpi_x=600.0, dpi_y=600.0, skew_deg=0.0):
    """mm (y up) to px (y down) as the tests' scanner has it: x and y density, the y axis leaning by the skew."""
    x, y = dpi_x / 25.4, dpi_y / 25.4
    matrix = np.array([[x, x * np.tan(np.radians(skew_deg))], [0, -y]])
    return lambda mm: np.asarray(mm, float) @ matrix.T + (812.3, 2290.7)


def square_mm(turn_deg, side=(SIDE, SIDE)):
    """Corners as printed: top-left, top-right, bottom-right, bottom-left, turned; sheet mm."""
    w, h = side
    local = np.array([(0, h), (w, h), (w, 0), (0, 0)], float)
    a = np.radians(turn_deg)
    return (local - (w / 2, h / 2)) @ np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]]) + (70, 40)


def estimate(to_px, turn_deg, *, seen=(SIDE, SIDE), stated=None, sd=0.01, measured=True):
    """Scale from the corners of a square of sides `seen`, said to be `stated`."""
    corners = to_px(square_mm(turn_deg, seen))
    px, mm = square_places(corners, seen if stated is None else stated)
    return scale_from_points(
        px,
        mm,
        side_mm=SIDE,
        point_sd_px=sd,
        caliper_sd_mm=0.02,
        reference="test square",
        measured=measured,
        shown_corners_px=px,
    )


def shape_kept(scale, to_px, side=(37.0, 21.0)):
    """Distances between places, measured through the scale, against the truth; mm."""
    rng = np.random.default_rng(1)
    places = rng.uniform(0, 200, (12, 2)) * (side[0] / 37, side[1] / 21)
    seen = scale.to_mm(to_px(places))
    true = np.linalg.norm(places[:, None] - places[None], axis=2)
    return np.abs(np.linalg.norm(seen[:, None] - seen[None], axis=2) - true).max(), seen, places


@pytest.mark.parametrize("turn", [0, 1, 17, 44.9, 45.1, 90, 133, 180, 201, 270, 314, 359])
@pytest.mark.parametrize(("dpi_x", "dpi_y", "skew"), [(600, 600, 0), (603, 597, 0), (597, 603, 0.3), (300, 302.9, -1)])
def test_both_scales_and_skew_are_recovered_at_any_rotation(turn, dpi_x, dpi_y, skew):
    to_px = scanner(dpi_x, dpi_y, skew)
    found = estimate(to_px, turn)
    assert found.scale.kind == "flatbed"
    assert found.facts.residual_mm == pytest.approx(0, abs=1e-9)
    error, seen, places = shape_kept(found.scale, to_px)
    assert error < 1e-9
    # y up and never mirrored: triangles keep their sense of rotation
    a, b = seen[1:3] - seen[0], places[1:3] - places[0]
    assert np.linalg.det(a) == pytest.approx(np.linalg.det(b), rel=1e-9)
    # the rows of the picture run along x
    assert found.scale.to_mm(np.array([[0, 5], [900, 5]], float))[:, 1] == pytest.approx(
        found.scale.to_mm(np.array([[0.0, 5.0]]))[0, 1]
    )
    assert found.scale.mm_per_px[0] == pytest.approx(25.4 / dpi_x, rel=1e-9)
    assert abs(found.scale.skew_deg) == pytest.approx(abs(skew), abs=1e-6)


@pytest.mark.parametrize("turn", [0, 30, 200])
def test_a_rectangle_of_stated_sides_works_as_well(turn):
    to_px = scanner(602, 598, 0.2)
    found = estimate(to_px, turn, seen=(49.8, 49.1))
    assert shape_kept(found.scale, to_px)[0] < 1e-9


def test_mapping_and_its_inverse_cancel():
    scale = estimate(scanner(603, 597, 0.3), 12).scale
    points = np.random.default_rng(3).uniform(-50, 5000, (40, 2))
    assert scale.to_px(scale.to_mm(points)) == pytest.approx(points, abs=1e-9)
    assert isinstance(scale, FlatbedScale)


def test_several_squares_are_fitted_together():
    to_px = scanner(601, 599, 0.1)
    mm = np.concatenate([square_mm(0) + shift for shift in ((0, 0), (150, 0), (0, 220), (150, 220))])
    px = to_px(mm) + np.random.default_rng(5).normal(0, 0.05, mm.shape)
    found = scale_from_points(
        px,
        mm,
        side_mm=30.0,
        point_sd_px=0.05,
        caliper_sd_mm=0.02,
        reference="mat",
        measured=True,
        shown_corners_px=px[:4],
    )
    assert found.scale.mm_per_px == pytest.approx((25.4 / 601, 25.4 / 599), rel=2e-5)
    # RMS distance of 16 places with 0.05 px noise in x and y, after an affine fit (6 of 32 degrees of freedom gone)
    assert found.facts.residual_mm == pytest.approx(0.05 * np.sqrt(2 * 26 / 32) * 25.4 / 600, rel=0.3)


def test_facts_are_those_of_the_reference():
    found = estimate(scanner(600, 594, 0.2), 5)
    assert found.facts.kind == "flatbed"
    assert found.facts.mm_per_px == pytest.approx((25.4 / 600, 25.4 / 594))
    assert found.facts.reference == "test square"
    assert found.facts.measured
    assert abs(found.facts.skew_deg) == pytest.approx(0.2, abs=1e-6)
    assert found.facts.corners_px.shape == (4, 2)
    assert not found.findings


# --- limits ------------------------------------------------------------------------------------------------------


def test_axes_1_percent_apart_are_a_scanner_and_4_percent_apart_are_not():
    estimate(scanner(600, 600 * 1.01), 3)
    estimate(scanner(600, 600 / 1.03), 3)
    with pytest.raises(ScaleError, match=r"sides differ by 4\.0 % \(limit 3\.5 %\).*--square 49\.8x48\.9"):
        estimate(scanner(600, 600 * 1.04), 0)
    with pytest.raises(ScaleError, match="is not square in the picture"):
        estimate(scanner(), 20, seen=(50, 48), stated=(50, 50))


def test_skew_beyond_a_scanner_is_refused():
    estimate(scanner(skew_deg=1.4), 0)
    with pytest.raises(ScaleError, match=r"its angle by 2\.0 degrees \(limit 1\.5\)"):
        estimate(scanner(skew_deg=2.0), 0)


def test_a_square_seen_at_an_angle_is_refused():
    corners = scanner()(square_mm(10))
    middle = corners.mean(axis=0)
    tilted = (corners - middle) / (1 + 4e-5 * (corners - middle) @ (0.6, 0.8))[:, None] + middle
    px, mm = square_places(tilted, (SIDE, SIDE))
    with pytest.raises(ScaleError, match=r"opposite sides that differ by .* %.*seen at an angle") as caught:
        scale_from_points(
            px,
            mm,
            side_mm=SIDE,
            point_sd_px=0.01,
            caliper_sd_mm=0.02,
            reference="test square",
            measured=True,
            shown_corners_px=px,
        )
    assert caught.value.exit_code == 4


def test_the_percentage_of_a_trapezoid_is_what_its_sides_say():
    # top side 2 % longer than the bottom one, all else alike
    mm = np.array([(-25.25, 25), (25.25, 25), (24.75, -25), (-24.75, -25)])
    px, places = square_places(scanner()(mm), (SIDE, SIDE))
    with pytest.raises(ScaleError, match="opposite sides") as caught:
        scale_from_points(
            px,
            places,
            side_mm=SIDE,
            point_sd_px=0.01,
            caliper_sd_mm=0.02,
            reference="test square",
            measured=True,
            shown_corners_px=px,
        )
    said = float(re.search(r"differ by ([\d.]+) %", str(caught.value)).group(1))
    assert said == pytest.approx(2.0, abs=0.1)


def test_a_card_that_lies_askew_owes_less_to_either_reading():
    """JCGM 100, 5.1.2: along the rows a square turned by 45 degrees gives half of either reading, sqrt(1/4 + 1/4)."""
    assert _of_two_readings(np.eye(2)) == pytest.approx(1.0)
    assert _of_two_readings(np.array([(1.0, 1.0), (-1.0, 1.0)])) == pytest.approx(np.sqrt(0.5))


# --- budget ------------------------------------------------------------------------------------------------------


def test_an_unmeasured_card_costs_uncertainty():
    by_name = {c.name: c for c in estimate(scanner(), 0, measured=True).budget}
    # calipers of 0.01 mm resolution may be off by 0.02 to 0.03 mm (DIN 862, from memory)
    assert by_name["card reading"].length_per_mm == pytest.approx(0.02 / SIDE)
    loose = {c.name: c for c in estimate(scanner(), 0, measured=False).budget}
    # paper alone moves 0.1 to 0.4 % with humidity
    assert loose["unmeasured print"].length_per_mm == pytest.approx(0.003)


def test_a_square_out_of_shape_costs_uncertainty():
    """One corner 0.06 mm out along x: a parallelogram takes up all of it but +-0.015 mm at every corner."""
    to_px = scanner()
    places = square_mm(0)
    px, mm = square_places(to_px(places + np.array([(0, 0), (0, 0), (0.06, 0), (0, 0)])), (SIDE, SIDE))
    found = scale_from_points(
        px, mm, side_mm=SIDE, point_sd_px=0.01, caliper_sd_mm=0.02, reference="test", measured=True, shown_corners_px=px
    )
    assert found.facts.residual_mm == pytest.approx(0.015, rel=0.01)
    by_name = {c.name: c for c in found.budget}
    assert by_name["card flatness"].length_per_mm == pytest.approx(0.015 / SIDE, rel=0.01)
    assert by_name["corner fit"].length_per_mm == pytest.approx(np.sqrt(2) * 0.01 * (25.4 / 600) / SIDE, rel=1e-3)


def test_stated_corner_uncertainty_covers_the_scatter_of_scales():
    rng = np.random.default_rng(8)
    to_px, sd = scanner(), 0.2
    corners = to_px(square_mm(7))
    errors, stated = [], 0.0
    for _ in range(300):
        px, mm = square_places(corners + rng.normal(0, sd, (4, 2)), (SIDE, SIDE))
        found = scale_from_points(
            px,
            mm,
            side_mm=SIDE,
            point_sd_px=sd,
            caliper_sd_mm=0.02,
            reference="test",
            measured=True,
            shown_corners_px=px,
        )
        errors.append(found.scale.mm_per_px[0] / (25.4 / 600) - 1)
        stated = next(c.length_per_mm for c in found.budget if c.name == "corner fit")
    assert np.std(errors) <= stated * 1.1
    assert stated < 2.5 * np.std(errors)


# --- density -----------------------------------------------------------------------------------------------------


def density(x, y=None, source="PNG pHYs"):
    return Density(x / 25.4, (x if y is None else y) / 25.4, source)


def test_scale_from_density_alone_is_marked_as_rough():
    found = scale_from_density(density(600, 300, "--dpi"), 1000)
    assert found.scale.to_mm(np.array([[-0.5, 999.5], [599.5, 699.5]])) == pytest.approx(
        np.array([[0, 0], [25.4, 25.4]])
    )
    assert found.scale.skew_deg == 0
    assert not found.facts.measured
    assert found.facts.reference == "--dpi (600 dpi)"
    assert [c.length_per_mm for c in found.budget] == [0.01]  # axes of flatbeds differ by 1 to 2 %
    (finding,) = found.findings
    assert finding.code == "scale-from-density"
    assert "may be off by 2 %" in finding.message


def flat(dpi_x, dpi_y=None):
    """Scale of a picture that really has this density."""
    return scale_from_density(density(dpi_x, dpi_y), 10).scale


def test_agreement_and_silence_are_no_finding():
    assert compare_with_density(flat(600), None) == ()
    assert compare_with_density(flat(600), density(600)) == ()
    assert compare_with_density(flat(605, 595), density(600)) == ()


# What one dimension of the printed card is, over what was stated, for the well-known accidents: Letter on A4 paper is
# 210 / 215.9 = 0.9727, A4 on Letter 279.4 / 297 = 0.9407; the others are ratios of the densities in the sentence.
@pytest.mark.parametrize(
    ("print_scale", "words"),
    [(210 / 215.9, "fit to page"), (279.4 / 297, "fit to page"), (0.96, "fit to page")],
    ids=["letter on a4", "a4 on letter", "some margin"],
)
def test_a_card_printed_with_fit_to_page_is_named(print_scale, words):
    # The card is smaller than stated, so the picture seems to have fewer pixels a millimetre.
    (finding,) = compare_with_density(flat(600 * print_scale), density(600))
    assert finding.code == "density-disagrees"
    assert words in finding.message
    assert finding.value == pytest.approx(1 / print_scale)
    assert "600.0 x 600.0" in finding.message
    assert "PNG pHYs" in finding.message


@pytest.mark.parametrize(
    ("true_over_claimed", "words"),
    [
        (72 / 96, "72 dpi was probably taken as 96"),
        (96 / 72, "96 dpi was probably taken as 72"),
        (1 / 25.4, "inches were probably taken for millimetres"),
        (25.4, "millimetres were probably taken for inches"),
        (0.5, "halved in size after scanning"),
        (2.0, "doubled in size after scanning"),
        (1.2, "another size than stated"),
        (0.87, "another size than stated"),
    ],
)
def test_likely_causes_are_named(true_over_claimed, words):
    (finding,) = compare_with_density(flat(300 * true_over_claimed), density(300))
    assert words in finding.message
    assert finding.attention


@pytest.mark.parametrize(
    ("true", "claimed"),
    [
        (72, 96),
        (96, 72),
        (90, 96),
        (96, 300),
        (72, 300),
        (300, 96),
        (300, 72),
    ],
)
def test_wrong_densities_are_named_with_both_numbers(true, claimed):
    (finding,) = compare_with_density(flat(true), density(claimed))
    cause = finding.message.split("Likely cause:")[1]
    assert str(true) in cause
    assert str(claimed) in cause


def test_a_difference_in_one_direction_is_named():
    (finding,) = compare_with_density(flat(600, 588), density(600))
    assert "one direction only" in finding.message


def test_the_sign_of_the_difference_is_right():
    # 591 dpi by the reference, 600 by the file: a pixel is larger than claimed by 1.5 %.
    (finding,) = compare_with_density(flat(600 / 1.015), density(600))
    assert "+1.5 %" in finding.message
