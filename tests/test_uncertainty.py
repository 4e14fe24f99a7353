"""The budget against JCGM 100 (GUM): root sum of squares, expanded by k = 2, worked by hand."""

from dataclasses import replace

import numpy as np
import pytest

from digitize.records import Contour, Contribution
from digitize.trust.table import budget_table
from digitize.trust.uncertainty import combine, edge_contributions, length_k2_mm
from tests.made import UNCERTAINTY, tag


def contour(sd, blur=0.8, is_hole=False):
    count = 40
    return Contour(np.zeros((count, 2)), np.full(count, sd), (), is_hole, blur, 0.7)


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


def test_a_scale_error_moves_the_outline_by_half_the_extent_and_lengths_by_all_of_it():
    scale = combine((Contribution("card", length_per_mm=4e-4), Contribution("paper", length_per_mm=3e-4)), 60.0)
    assert scale.length_per_metre_k2_mm == pytest.approx(1.0)  # 2 x 5e-4 x 1000 mm
    assert scale.profile_k2_mm == pytest.approx(2 * 5e-4 * 30)
    larger = combine((Contribution("card", length_per_mm=5e-4),), 120.0)
    assert larger.profile_k2_mm == pytest.approx(2 * scale.profile_k2_mm)


def test_the_budget_is_kept_as_it_was_given():
    budget = (Contribution("card", length_per_mm=4e-4, note="measured"), Contribution("edge", profile_mm=0.001))
    assert combine(budget, 10.0).budget == budget


def test_edge_noise_is_the_rms_over_all_contours_in_millimetres():
    # half the points with 0.03 px, half with 0.04: RMS sqrt((9 + 16) / 2) / 100 = 0.035355 px
    noise, level = edge_contributions((contour(0.03), contour(0.04, is_hole=True)), 25.4 / 600)
    expected = np.sqrt((0.03**2 + 0.04**2) / 2) * 25.4 / 600
    assert noise.name == "edge noise"
    assert noise.profile_mm == pytest.approx(expected)
    assert noise.length_mm == pytest.approx(np.sqrt(2) * expected)  # two independent ends
    # a hundredth of a pixel, 0.42 um at 600 dpi: what renders of known edges are off at worst (tests/bench/accuracy.py)
    assert level.profile_mm == pytest.approx(0.000423, rel=0.01)
    assert level.length_mm == pytest.approx(0.000847, rel=0.01)  # both ends alike: they add


def test_a_blurred_edge_is_less_sure():
    _, sharp = edge_contributions((contour(0.01, blur=0.7),), 0.1)
    _, soft = edge_contributions((contour(0.01, blur=0.7), contour(0.01, blur=3.0)), 0.1)
    assert soft.profile_mm == pytest.approx(3 * sharp.profile_mm)


def test_a_length_as_long_as_the_longer_side_has_both_parts():
    """0.024 mm that every length has, and 0.3 mm a metre over 60 mm: sqrt(0.024^2 + 0.018^2) = 0.030 mm."""
    assert (UNCERTAINTY.length_offset_k2_mm, UNCERTAINTY.length_per_metre_k2_mm) == (0.024, 0.3)
    item = tag()
    assert (item.width_mm, item.height_mm) == (60, 40)
    assert length_k2_mm(item) == pytest.approx(0.030)
    assert length_k2_mm(replace(item, width_mm=40.0, height_mm=60.0)) == pytest.approx(0.030)


def test_the_table_of_the_budget_is_worked_by_hand():
    """For 60 mm, k = 1: a card of 0.00015 a mm gives 0.0045 at the rim and 0.009 of a length, an edge 0.004, 0.012."""
    budget = (Contribution("card", length_per_mm=0.00015), Contribution("edge", 0.004, 0.012, acts="all round"))
    table = budget_table(replace(tag(), uncertainty=combine(budget, 60.0)))
    assert (table.extent_mm, [row.acts for row in table.rows]) == (60.0, [None, "all round"])
    card, edge = table.rows
    assert (card.name, edge.name) == ("card", "edge")  # the largest first
    assert (card.outline_mm, edge.outline_mm) == (pytest.approx(0.0045), pytest.approx(0.004))
    assert (card.length_mm, edge.length_mm) == (pytest.approx(0.009), pytest.approx(0.012))
    assert (card.offset_mm, card.per_metre_mm) == (0.0, pytest.approx(0.15))
    assert (edge.offset_mm, edge.per_metre_mm) == (pytest.approx(0.012), 0.0)
    assert (card.share, edge.share) == (pytest.approx(2025 / 3625), pytest.approx(1600 / 3625))  # 45^2 and 40^2
    assert table.length_k2_mm == pytest.approx(0.030)  # 2 x sqrt(0.009^2 + 0.012^2)


def test_a_name_that_stands_twice_counts_once():
    twice = replace(
        tag().uncertainty, budget=(Contribution("edge", 0.003, note="a"), Contribution("edge", 0.004, note="b"))
    )
    (row,) = budget_table(replace(tag(), uncertainty=twice)).rows
    assert (row.outline_mm, row.share, row.note) == (pytest.approx(0.005), pytest.approx(1.0), "a; b")
