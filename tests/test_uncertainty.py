"""The budget against JCGM 100 (GUM): root sum of squares, expanded by k = 2, worked by hand."""

from dataclasses import replace

import numpy as np
import pytest

from digitize.records import Contour, Contribution, ReferenceEdge
from digitize.trust.table import budget_table
from digitize.trust.uncertainty import all_round_mm, arm_mm, combine, edge_contributions, length_k2_mm, tone_curve
from tests.made import UNCERTAINTY, circle_ring, tag


def contour(sd, blur=0.8, is_hole=False, **more):
    count = 40
    return Contour(np.zeros((count, 2)), np.full(count, sd), (), is_hole, blur, 0.7, **more)


def lines_of(*contours, pixel, reference=None):
    """Lines by name of an item of 40 x 20 mm."""
    found = edge_contributions(contours, pixel, extents_mm=(40.0, 20.0), reference=reference)
    return {line.name: line for line in found}


def test_no_contribution_gives_no_uncertainty():
    nothing = combine((), 50.0)
    assert (nothing.profile_k2_mm, nothing.length_offset_k2_mm, nothing.length_per_metre_k2_mm) == (0, 0, 0)


def test_contributions_add_as_root_sum_of_squares_with_k_2():
    # GUM, 5.1.2 equation (10) for uncorrelated inputs, 6.2.1 for k: u = sqrt(3^2 + 4^2) = 5 um, U = 10 um.
    combined = combine((Contribution("a", profile_mm=0.003), Contribution("b", profile_mm=0.004)), 50.0)
    assert combined.profile_k2_mm == pytest.approx(0.010)
    assert combined.length_offset_k2_mm == 0
    lengths = combine((Contribution("a", length_mm=0.005), Contribution("b", length_mm=0.012)), 50.0)
    assert lengths.length_offset_k2_mm == pytest.approx(0.026)
    assert lengths.profile_k2_mm == 0


def test_a_scale_error_moves_the_outline_by_its_arm_and_lengths_by_all_of_it():
    scale = combine((Contribution("card", length_per_mm=4e-4), Contribution("paper", length_per_mm=3e-4)), 30.0)
    assert scale.length_per_metre_k2_mm == pytest.approx(1.0)  # 2 x 5e-4 x 1000 mm
    assert scale.profile_k2_mm == pytest.approx(2 * 5e-4 * 30)
    larger = combine((Contribution("card", length_per_mm=5e-4),), 60.0)
    assert larger.profile_k2_mm == pytest.approx(2 * scale.profile_k2_mm)


def test_the_budget_is_kept_as_it_was_given():
    budget = (Contribution("card", length_per_mm=4e-4, note="measured"), Contribution("edge", profile_mm=0.001))
    assert combine(budget, 10.0).budget == budget


def test_edge_noise_is_the_rms_over_all_contours_in_millimetres():
    # half the points with 0.03 px, half with 0.04: RMS sqrt((9 + 16) / 2) / 100 = 0.035355 px
    found = lines_of(contour(0.03), contour(0.04, is_hole=True), pixel=25.4 / 600)
    noise, level = found["edge noise"], found["edge level"]
    expected = np.sqrt((0.03**2 + 0.04**2) / 2) * 25.4 / 600
    assert noise.name == "edge noise"
    assert noise.profile_mm == pytest.approx(expected)
    assert noise.length_mm == pytest.approx(np.sqrt(2) * expected)  # two independent ends
    # a hundredth of a pixel, 0.42 um at 600 dpi: what renders of known edges are off at worst (tests/bench/accuracy.py)
    assert level.profile_mm == pytest.approx(0.000423, rel=0.01)
    assert level.length_mm == pytest.approx(0.000847, rel=0.01)  # both ends alike: they add


def test_a_blurred_edge_is_less_sure():
    sharp = lines_of(contour(0.01, blur=0.7), pixel=0.1)["edge level"]
    soft = lines_of(contour(0.01, blur=0.7), contour(0.01, blur=3.0), pixel=0.1)["edge level"]
    assert soft.profile_mm == pytest.approx(3 * sharp.profile_mm)


def test_whole_codes_leave_a_deviation_of_a_step_over_the_root_of_12():
    """JCGM 100, F.2.2.1. Between 0.1 and 0.7 of full light the middle is 0.4, of which a code of sRGB is 0.00525.

    That is 0.00875 of the contrast; a step blurred by 1 px falls by 1 / sqrt(2 pi) of it a px: 0.0219, or 0.0063.
    """
    line = lines_of(contour(0.01, blur=1.0, light=(0.1, 0.7)), pixel=0.1)["resolution"]
    assert line.profile_mm == pytest.approx(0.00063, rel=0.02)
    assert line.length_mm == pytest.approx(0.00090, rel=0.02)


def test_what_moves_item_and_reference_alike_is_taken_together():
    """JCGM 100, 5.2.2. All edges 0.1 px of 0.1 mm outward: a square of 40 mm seems 0.02 mm larger, as does the item.

    The item's 40 mm come out true, its 20 mm too large by 0.02 - 0.01: 0.005 mm a side.
    """
    square = ReferenceEdge(40.0, (0.03, 0.85), 0.9, 0.3)
    off = all_round_mm(0.1, 0.1, square, (40.0, 20.0), 0.1)
    assert off == pytest.approx(np.sqrt((0.0**2 + 0.005**2) / 2))
    assert all_round_mm(0.1, 0.0, square, (40.0, 20.0), 0.1) == pytest.approx(0.01)
    alike = replace(square, side_mm=20.0)
    assert all_round_mm(0.1, 0.1, alike, (20.0, 20.0), 0.1) == pytest.approx(0.0)


def test_the_level_at_the_reference_s_edges_is_in_the_scale():
    """A hundredth of a pixel of 0.1 mm at either end of 40 mm, both alike: 0.002 mm in 40."""
    found = lines_of(contour(0.01), pixel=0.1, reference=ReferenceEdge(40.0, (0.03, 0.85), 0.8, 0.0))
    assert found["corner fit"].length_per_mm == pytest.approx(0.002 / 40)
    assert "corner fit" not in lines_of(contour(0.01), pixel=0.1)


def test_a_picture_that_was_sharpened_says_so_in_its_budget():
    edge = contour(0.01, blur=0.9, light=(0.5, 0.85))
    square = ReferenceEdge(40.0, (0.03, 0.85), 0.9, 0.4)
    found = lines_of(edge, pixel=0.1, reference=square)["blur"]
    # 0.4 x 0.2 px of the black square and 0.4 x 0.045 px of the pale item (profiles, as in `test_coverage`)
    per_side = [abs(-0.018 + 0.08 * extent / 40) * 0.1 for extent in (40, 20)]
    assert found.profile_mm == pytest.approx(np.hypot(*per_side) / np.sqrt(2), rel=0.25)
    assert found.length_mm == pytest.approx(2 * found.profile_mm)
    assert "blur" not in lines_of(edge, pixel=0.1, reference=replace(square, sharpened=0.0))


def test_a_tone_curve_that_is_not_stated_may_be_off_by_a_part_of_its_power():
    edge = contour(0.01, blur=0.9, light=(0.3, 0.85))
    alone = tone_curve(edge, 0.1, (40.0, 20.0), None, more_mm=0.0)
    # a power of 1.8 for 2.2 moves such an edge by 0.064 px (profiles, as in `test_coverage`), 0.13 by 0.02; the
    # formula, of one blurred step, has a tenth less
    assert alone.profile_mm == pytest.approx(0.0018, rel=0.15)
    assert tone_curve(edge, 0.1, (40.0, 20.0), None, more_mm=0.05).profile_mm == pytest.approx(0.05, rel=0.01)
    square = ReferenceEdge(40.0, (0.3, 0.85), 0.9, 0.0)
    beside = tone_curve(edge, 0.1, (40.0, 40.0), square, more_mm=0.0)
    assert beside.profile_mm == pytest.approx(0.0, abs=1e-9)  # as large as the reference, and of its light


def test_a_length_as_long_as_the_longer_side_has_both_parts():
    """0.024 mm that every length has, and 0.3 mm a metre over 60 mm: sqrt(0.024^2 + 0.018^2) = 0.030 mm."""
    assert (UNCERTAINTY.length_offset_k2_mm, UNCERTAINTY.length_per_metre_k2_mm) == (0.024, 0.3)
    item = tag()
    assert (item.width_mm, item.height_mm) == (60, 40)
    assert length_k2_mm(item) == pytest.approx(0.030)
    assert length_k2_mm(replace(item, width_mm=40.0, height_mm=60.0)) == pytest.approx(0.030)


def test_the_arm_of_a_shape_is_worked_by_hand():
    """A circle grows by its radius; of 60 x 40 mm 80 mm of edge move by 30 and 120 by 20: sqrt(600) on the whole."""
    assert arm_mm((circle_ring(5, 7, 12.5),)) == pytest.approx(12.5, rel=1e-3)
    sides = np.array([(0, 0), (60, 0), (60, 40), (0, 40), (0, 0)], float)
    count = 100 * np.array([6, 4, 6, 4])
    box = np.concatenate(
        [
            a + np.linspace(0, 1, n, endpoint=False)[:, None] * (b - a)
            for a, b, n in zip(sides, sides[1:], count, strict=False)
        ]
    )
    assert arm_mm((box,)) == pytest.approx(np.sqrt(600), rel=1e-2)


def test_the_table_of_the_budget_is_worked_by_hand():
    """A card of 0.00015 a mm gives 0.009 to 60 mm, an edge of 0.004 gives 0.012; a disc of 60 mm has an arm of 30."""
    disc = circle_ring(30, 30, 30)
    round_one = replace(tag(), exterior_mm=disc, holes_mm=(), width_mm=60.0, height_mm=60.0)
    budget = (Contribution("card", length_per_mm=0.00015), Contribution("edge", 0.004, 0.012, acts="all round"))
    table = budget_table(replace(round_one, uncertainty=combine(budget, 30.0)))
    assert (table.extent_mm, [row.acts for row in table.rows]) == (60.0, [None, "all round"])
    card, edge = table.rows
    assert (card.name, edge.name) == ("card", "edge")  # the largest first
    assert (card.outline_mm, edge.outline_mm) == (pytest.approx(0.0045, rel=1e-3), pytest.approx(0.004))
    assert (card.length_mm, edge.length_mm) == (pytest.approx(0.009), pytest.approx(0.012))
    assert (card.offset_mm, card.per_metre_mm) == (0.0, pytest.approx(0.15))
    assert (edge.offset_mm, edge.per_metre_mm) == (pytest.approx(0.012), 0.0)
    shares = pytest.approx(2025 / 3625, rel=2e-3), pytest.approx(1600 / 3625, rel=2e-3)  # 45^2 and 40^2
    assert (card.share, edge.share) == shares
    assert table.length_k2_mm == pytest.approx(0.030)  # 2 x sqrt(0.009^2 + 0.012^2)


def test_a_name_that_stands_twice_counts_once():
    twice = replace(
        tag().uncertainty, budget=(Contribution("edge", 0.003, note="a"), Contribution("edge", 0.004, note="b"))
    )
    (row,) = budget_table(replace(tag(), uncertainty=twice)).rows
    assert (row.outline_mm, row.share, row.note) == (pytest.approx(0.005), pytest.approx(1.0), "a; b")
