"""Faults in telling items from what is none."""

from __future__ import annotations

from .kind import Fault

FAULTS = (
    Fault(
        "pale-leaf-let-go-with-its-shade",
        "digitize/silhouette/shade.py",
        "_OWN_HUE, _BROAD = 0.2, 7 ",
        "_OWN_HUE, _BROAD = 2.0, 7 ",
        ("tests/test_shade.py",),
    ),
    Fault(
        "shaded-hole-filled-with-the-leaf",
        "digitize/silhouette/shade.py",
        "weights=tinge.ravel()) > _HUE * size",
        "weights=tinge.ravel()) > -_HUE * size",
        ("tests/test_shade.py::test_a_pale_part_of_a_leaf_comes_back_and_its_shade_and_hole_do_not",),
    ),
    Fault(
        "print-cut-in-silence",
        "digitize/silhouette/holes.py",
        "_FLOOR = 0.8 ",
        "_FLOOR = 0.4 ",
        (
            "tests/test_candidates.py::test_a_pale_patch_darker_than_the_lid_is_cut_as_a_hole_and_said_to_be_perhaps_print",
        ),
    ),
    Fault(
        "hole-of-the-lids-colour-taken-for-print",
        "digitize/silhouette/holes.py",
        " and np.ptp(of_lid) > _HUE * float(of_lid.mean())",
        "",
        ("tests/test_candidates.py::test_a_round_patch_of_the_lids_own_colour_in_a_coloured_item_is_said",),
    ),
    Fault(
        "hole-as-light-as-the-item-not-looked-for",
        "digitize/silhouette/holes.py",
        "if hue is not None:",
        "if False:",
        ("tests/test_real.py::test_scans_are_not_wrong_in_silence[375]",),
    ),
    Fault(
        "thing-that-runs-out-taken-for-a-rim",
        "digitize/silhouette/left_out.py",
        " or _may_be_cut(one, dust_mm, size_px, mm_per_px))",
        ")",
        ("tests/test_real.py::test_scans_are_not_wrong_in_silence[327]",),
    ),
    Fault(
        "shaded-hole-said-to-be-print",
        "digitize/silhouette/holes.py",
        "_FLOOR = 0.8 ",
        "_FLOOR = 1.2 ",
        ("tests/test_candidates.py::test_the_lid_in_a_hole_is_not_said_to_be_print",),
    ),
    Fault(
        "colours-least-part-tenth",
        "digitize/silhouette/two_colours.py",
        "_LEAST_PART = 0.08",
        "_LEAST_PART = 0.008",
        ("tests/test_two_colours.py::test_a_hem_is_no_item",),
    ),
    Fault(
        "colours-least-step-fourfold",
        "digitize/silhouette/two_colours.py",
        "_LEAST_STEP = 0.05",
        "_LEAST_STEP = 0.2",
        ("tests/test_two_colours.py::test_a_shade_of_difference_is_none",),
    ),
    Fault(
        "colours-least-step-tenth",
        "digitize/silhouette/two_colours.py",
        "_LEAST_STEP = 0.05",
        "_LEAST_STEP = 0.005",
        ("tests/test_two_colours.py::test_a_shade_of_difference_is_none",),
    ),
    Fault(
        "colours-need-not-be-clear",
        "digitize/silhouette/two_colours.py",
        "_CLEAR = 5.0",
        "_CLEAR = 0.5",
        ("tests/test_two_colours.py::test_grain_as_wide_as_the_step_is_one_item",),
    ),
    Fault(
        "colours-in-crumbs",
        "digitize/silhouette/two_colours.py",
        "_WHOLE = 0.95",
        "_WHOLE = 0.4",
        ("tests/test_two_colours.py::test_what_lies_in_crumbs_is_a_pattern",),
    ),
    Fault(
        "inlay-taken-for-an-item",
        "digitize/silhouette/two_colours.py",
        "_OPEN = 0.3",
        "_OPEN = 0.03",
        ("tests/test_two_colours.py",),
    ),
    Fault(
        "colours-areas-in-pixels",
        "digitize/silhouette/two_colours.py",
        "* (step * pixel_mm) ** 2 for piece",
        "* pixel_mm**2 for piece",
        ("tests/test_two_colours.py::test_the_pieces_areas_are_told_in_square_millimetres",),
    ),
    Fault(
        "shade-as-dark-as-black",
        "digitize/silhouette/shade.py",
        "_DARKEST = 0.3",
        "_DARKEST = 0.0",
        ("tests/test_shade.py",),
    ),
    Fault(
        "hue-of-an-item-not-seen",
        "digitize/silhouette/shade.py",
        "_GREY, _HUE = 0.06, 0.12",
        "_GREY, _HUE = 0.6, 1.2",
        (
            "tests/test_shade.py",
            "tests/test_left_out.py",
        ),
    ),
    Fault(
        "very-many-patches-kept",
        "digitize/silhouette/clutter.py",
        "MOST_ITEMS = 40",
        "MOST_ITEMS = 400",
        ("tests/test_clutter.py",),
    ),
    Fault(
        "blurred-patch-is-an-edge",
        "digitize/silhouette/clutter.py",
        "MOST_EDGE_SD_PX = 0.15",
        "MOST_EDGE_SD_PX = 15.0",
        ("tests/test_clutter.py::test_an_edge_is_known_to_a_part_of_a_pixel",),
    ),
    Fault(
        "small-blanks-not-said",
        "digitize/silhouette/pieces.py",
        '"small" if breadth >=',
        '"small" if breadth < 0 and breadth >=',
        ("tests/test_left_out.py::test_small_blanks_are_counted_and_the_option_named",),
    ),
    Fault(
        "camera-moved-between-photos",
        "digitize/silhouette/difference.py",
        "MOST_MOVED_PX = 1.5",
        "MOST_MOVED_PX = 150.0",
        ("tests/test_camera_photo.py::test_background_photo_from_another_place",),
    ),
)
