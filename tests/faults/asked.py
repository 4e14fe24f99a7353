"""Faults in what a hand asks for as an item, and in mending what got no outline."""

from __future__ import annotations

from .kind import Fault

TESTS = "tests/test_asked.py"
PAGE = ("tests/test_review_page_mend.py",)

FAULTS = (
    Fault(
        "asked-not-told-what-it-was",
        "digitize/silhouette/asked.py",
        """        finding_of("by-hand-item", place_px=place, attention=False, why=_WORDS[why]),
""",
        "",
        (f"{TESTS}::test_a_thing_under_the_size_of_dust_is_taken_and_measured_as_any_other",),
    ),
    Fault(
        "asked-stain-for-the-thing-on-it",
        "digitize/silhouette/candidates.py",
        "_WHOLE_STEP, _NOT_ALL = 0.6, 0.25",
        "_WHOLE_STEP, _NOT_ALL = 0.0, 0.25",
        (f"{TESTS}::test_of_what_is_nested_the_thing_with_an_edge_is_meant",),
    ),
    Fault(
        "asked-soft-as-sure-as-sharp",
        "digitize/recipe/trace.py",
        "max(known, _WITHIN_BLUR * blurred)",
        "known",
        (f"{TESTS}::test_a_soft_patch_is_taken_to_its_half_level_and_said_to_be_none_too_sure",),
    ),
    Fault(
        "asked-strip-with-the-thing-in-it",
        "digitize/silhouette/asked.py",
        "    alone[at] = bump\n    return alone",
        "    return own",
        (f"{TESTS}::test_of_a_thing_in_a_strip_along_the_border_the_thing_alone_is_taken",),
    ),
    Fault(
        "asked-cut-in-silence",
        "digitize/silhouette/asked.py",
        """        *cut,
""",
        "",
        (f"{TESTS}::test_what_the_border_cuts_is_taken_as_far_as_it_is_seen_and_said",),
    ),
    Fault(
        "asked-beside-the-only-item-asked-for",
        "digitize/silhouette/find.py",
        "kept if ask.item_at_px is None else _pointed_at(kept, ask.item_at_px)[:1]",
        "kept",
        (f"{TESTS}::test_a_taken_item_is_mended_dropped_and_pointed_at_like_any_other",),
    ),
    Fault(
        "failed-without-its-line",
        "digitize/recipe/unmeasured.py",
        "rings_px=tuple(contour.points_px for contour in contours),",
        "rings_px=(),",
        (f"{TESTS}::test_a_failed_item_shows_its_line_and_where_it_could_not_be_measured",),
    ),
    Fault(
        "mended-is-as-lost-as-before",
        "digitize/recipe/unmeasured.py",
        "return np.asarray(held & ~drawn_by_hand(contour))",
        "return np.asarray(np.ones_like(held))",
        (f"{TESTS}::test_bridged_where_it_could_not_be_measured_it_is_sound",),
    ),
    Fault(
        "mended-in-part-is-sound",
        "digitize/recipe/unmeasured.py",
        "return seen[0].lost  # no",
        "return 0.0  # no",
        (f"{TESTS}::test_one_that_is_mended_in_part_has_still_failed_with_what_is_left",),
    ),
    Fault(
        "drawn-as-it-was-clicked",
        "digitize/edge/drawn.py",
        "0.0 if is_free else -np.inf",
        "-np.inf",
        (f"{TESTS}::test_a_border_drawn_as_a_whole_screen_shows_it_finds_the_edge_too",),
    ),
    Fault(
        "drawn-guess-in-silence",
        "digitize/recipe/by_hand.py",
        "_LOST_OF_DRAWN if follows else 1.0",
        "1.0",
        (f"{TESTS}::test_where_there_is_no_edge_it_is_straight_and_said_and_less_sure",),
    ),
    Fault(
        "drawn-guess-as-sure-as-an-edge",
        "digitize/recipe/by_hand.py",
        "forms = [_OTHER_FORM * off_curved_on(contours[0], places) for places in around.guessed_px]",
        "forms: list[float] = []",
        (f"{TESTS}::test_where_there_is_no_edge_it_is_straight_and_said_and_less_sure",),
    ),
    Fault(
        "drawn-beside-what-was-seen",
        "digitize/silhouette/asked.py",
        "if not any(region is other for other in same)]",
        "]",
        (f"{TESTS}::test_a_border_takes_the_place_of_what_was_seen_there_its_holes_aside",),
    ),
    Fault(
        "drawn-without-its-holes",
        "digitize/silhouette/asked.py",
        "mask &= ~own & 1",
        "pass",
        (f"{TESTS}::test_a_border_takes_the_place_of_what_was_seen_there_its_holes_aside",),
    ),
    Fault(
        "hole-called-an-item-already",
        "digitize/recipe/owners.py",
        " and not _in_hole(regions[later], step):",
        ":",
        (f"{TESTS}::test_in_an_items_hole_there_is_nothing_to_take_and_it_is_not_called_an_item",),
    ),
    Fault(
        "drawn-over-by-what-was-done-before",
        "digitize/recipe/owners.py",
        "if since.get(n, -1) < number and",
        "if",
        (f"{TESTS}::test_steps_before_a_border_are_overtaken_and_those_after_it_count",),
    ),
    Fault(
        "page-nothing-to-mend-without-an-outline",
        "digitize/review/work.py",
        "shown_unmade(found) if isinstance(found, OutlineError) else None",
        "None",
        PAGE,
    ),
)
