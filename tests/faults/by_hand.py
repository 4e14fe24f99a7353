"""Faults in what a hand corrects."""

from __future__ import annotations

from .kind import Fault

TESTS = "tests/test_by_hand.py"
JOINS = ("tests/test_join_split.py",)

FAULTS = (
    Fault(
        "hand-takes-the-longer-way-round",
        "digitize/edge/spliced.py",
        "if 2 * forward <= float(lengths.sum()) else",
        "if 2 * forward > float(lengths.sum()) else",
        (f"{TESTS}::test_a_straight_bridge_is_the_chord",),
    ),
    Fault(
        "hand-bridge-turned-places-not-turned",
        "digitize/edge/spliced.py",
        "places[1:-1][::-1] if stretch.is_turned else places[1:-1]",
        "places[1:-1]",
        (f"{TESTS}::test_places_between_keep_their_order_whichever_end_is_set_first",),
    ),
    Fault(
        "hand-curve-from-the-chord",
        "digitize/edge/drawn.py",
        "slope = polynomial(steps.astype(np.float64), beside, 2)[1]",
        "slope = polynomial(steps.astype(np.float64), beside, 1)[1]",
        (f"{TESTS}::test_a_bite_of_glare_is_filled_curved_on_from_both_sides",),
    ),
    Fault(
        "hand-follows-the-stronger-edge",
        "digitize/edge/drawn.py",
        "np.minimum(rise / _PLAIN, 1.0) - _AWAY",
        "rise / _PLAIN - 0.0 * _AWAY",
        (f"{TESTS}::test_a_shadow_is_cut_off_along_the_items_own_edge_whichever_end_is_set_first",),
    ),
    Fault(
        "hand-edge-guessed-in-silence",
        "digitize/recipe/by_hand.py",
        "if tally.lost <= tally.limit:",
        "if tally.lost <= 2:",
        (f"{TESTS}::test_along_an_edge_that_is_not_there_it_is_said",),
    ),
    Fault(
        "hand-not-in-the-figure",
        "digitize/recipe/trace.py",
        "for line in seen.bordered.budget]), *by_hand.budget)",
        "for line in seen.bordered.budget]),)",
        (f"{TESTS}::test_what_a_hand_set_has_a_line_of_its_own_in_the_budget_and_covers_what_it_is_off",),
    ),
    Fault(
        "hand-pull-as-sure-however-far",
        "digitize/recipe/by_hand.py",
        "math.hypot(SET_PX, _PULLED * far)",
        "SET_PX",
        (f"{TESTS}::test_a_farther_pull_is_less_sure",),
    ),
    Fault(
        "hand-lines-of-a-mirrored-item-as-they-were",
        "digitize/recipe/by_hand.py",
        "contour.by_hand[::-1] if is_turned else contour.by_hand",
        "contour.by_hand",
        (f"{TESTS}::test_the_stretches_lie_on_the_ring_however_it_is_turned",),
    ),
    Fault(
        "hand-steps-of-another-picture",
        "digitize/recipe/owners.py",
        "if corrections.picture and corrections.picture != picture.sha256:",
        "if corrections.picture is None:",
        (f"{TESTS}::test_steps_of_another_picture_are_refused",),
    ),
    Fault(
        "hand-chosen-stretch-stays-in-doubt",
        "digitize/recipe/other.py",
        "left = replace(two, doubtful=two.doubtful & ~chosen)",
        "left = two",
        (f"{TESTS}::test_where_all_of_it_is_chosen_nothing_is_open",),
    ),
    Fault("joined-holes-of-one-only", "digitize/recipe/pieces.py", ", *other.contours[1:])", ")", JOINS),
    Fault(
        "joined-as-sure-as-measured",
        "digitize/recipe/pieces.py",
        "bridge_sd_px(step, outline, pair, line)",
        "0.0",
        JOINS,
    ),
    Fault(
        "split-never-along-the-edge",
        "digitize/recipe/pieces.py",
        'straight(through) if step.along == "straight"',
        "straight(through) if True",
        JOINS,
    ),
    Fault(
        "split-light-the-wrong-way",
        "digitize/recipe/pieces.py",
        "np.median(out, axis=0) - np.median(within, axis=0)",
        "np.median(within, axis=0) - np.median(out, axis=0)",
        JOINS,
    ),
    Fault(
        "split-holes-anywhere",
        "digitize/recipe/pieces.py",
        "shares[inside.index(True)].append(hole)",
        "shares[0].append(hole)",
        JOINS,
    ),
    Fault(
        "split-as-it-comes",
        "digitize/recipe/outline.py",
        "found = [found[k] for k in reading_order(",
        "found = [found[-1 - k] for k in reading_order(",
        JOINS,
    ),
)
