"""Faults in where the edge is put."""

from __future__ import annotations

from .kind import Fault

FAULTS = (
    Fault(
        "walls-left-part",
        "digitize/edge/walls.py",
        "_LEFT_PART = 0.3 ",
        "_LEFT_PART = 0.03 ",
        ("tests/test_walls.py::test_feet_of_walls_are_found",),
    ),
    Fault(
        "walls-pale-doubt-tenth",
        "digitize/edge/walls.py",
        "_PALE_PART = 0.6, 0.9",
        "_PALE_PART = 0.06, 0.09",
        ("tests/test_walls.py",),
    ),
    Fault(
        "walls-far-foot-believed", "digitize/edge/walls.py", "_FAR_PX = 1.5", "_FAR_PX = 15.0", ("tests/test_walls.py",)
    ),
    Fault(
        "cleft-turn-limit",
        "digitize/edge/touching.py",
        "_CLEFT_TURN_DEG = 115.0",
        "_CLEFT_TURN_DEG = 80.0",
        ("tests/test_touching.py::test_clefts_and_necks_are_two_items_and_notches_are_not",),
    ),
    Fault(
        "neck-width-doubled",
        "digitize/edge/touching.py",
        "_NECK_WIDTH = ",
        "_NECK_WIDTH = 2 * ",
        ("tests/test_touching.py::test_clefts_and_necks_are_two_items_and_notches_are_not",),
    ),
    Fault(
        "neck-turn-limit-up",
        "digitize/edge/touching.py",
        "_NECK_TURN_DEG = ",
        "_NECK_TURN_DEG = 1.5 * ",
        ("tests/test_touching.py::test_clefts_and_necks_are_two_items_and_notches_are_not",),
    ),
    Fault(
        "cleft-facing-wide",
        "digitize/edge/touching.py",
        "\n_FACING_DEG = 40.0",
        "\n_FACING_DEG = 120.0",
        ("tests/test_touching.py::test_clefts_that_point_past_one_another_are_not",),
    ),
    Fault(
        "touching-least-part",
        "digitize/edge/touching.py",
        "_LEAST_PART = ",
        "_LEAST_PART = 4 * ",
        ("tests/test_touching.py::test_two_items_in_touch_are_said",),
    ),
    Fault(
        "bays-of-unlike-halves",
        "digitize/edge/touching.py",
        "abs(part - 0.5) > 0.08",
        "abs(part - 0.5) > 0.4",
        ("tests/test_touching.py::test_designed_inner_corners_are_not",),
    ),
    Fault(
        "height-planes-swapped",
        "digitize/edge/height.py",
        "shapely.union(a, b) if either else shapely.intersection(a, b)",
        "shapely.intersection(a, b) if either else shapely.union(a, b)",
        ("tests/test_height.py::test_upright_items_come_out_true",),
    ),
    Fault(
        "wrong-plane-kept",
        "digitize/edge/height.py",
        "_WRONG_MM = 0.004",
        "_WRONG_MM = 0.4",
        ("tests/test_height.py::test_upright_items_come_out_true",),
    ),
    Fault(
        "parallax-corners-rounded",
        "digitize/edge/height.py",
        "_CORNER_TURN = np.radians(18.0)",
        "_CORNER_TURN = np.radians(120.0)",
        ("tests/test_height.py::test_upright_items_come_out_true",),
    ),
    Fault(
        "curvature-bias-left",
        "digitize/edge/trace.py",
        "shift = 0.5 * blur**2 * curvature",
        "shift = 0.0 * blur**2 * curvature",
        ("tests/test_edge.py::test_disc_radius_has_no_bias",),
    ),
    Fault(
        "curvature-shift-inward",
        "digitize/edge/trace.py",
        "points = points + _curvature_shift",
        "points = points - _curvature_shift",
        ("tests/test_edge.py::test_disc_radius_has_no_bias",),
    ),
    Fault(
        "shade-slope-never-taken-out",
        "digitize/edge/trace.py",
        "if within.slope.any() or beyond.slope.any():",
        "if False:",
        ("tests/test_edge.py::test_a_contact_shadow_is_flagged_and_hardly_moves_the_edge",),
    ),
    Fault(
        "edge-unclear-limit",
        "digitize/edge/trace.py",
        "if lost > 0.05:",
        "if lost > 0.5:",
        ("tests/test_edge.py::test_without_an_edge_there_is_no_contour",),
    ),
    Fault(
        "corner-of-25-degrees-missed",
        "digitize/edge/corners.py",
        "MIN_TURN_DEG = 25.0",
        "MIN_TURN_DEG = 50.0",
        ("tests/test_corners.py::test_sharp_corners_are_restored",),
    ),
    Fault(
        "round-corner-made-sharp",
        "digitize/edge/corners.py",
        "0.15 * expected + 0.22 + 1.5 * noise",
        "3 * expected + 2.2 + 1.5 * noise",
        ("tests/test_corners.py::test_rounded_corners_are_not_sharpened",),
    ),
    Fault(
        "smoothing-eats-features",
        "digitize/edge/smoothing.py",
        "moved <= 2.5 * noise",
        "moved <= 25 * noise",
        ("tests/test_smoothing.py::test_a_small_feature_keeps_its_shape",),
    ),
    Fault(
        "smoothing-deviation-understated",
        "digitize/edge/smoothing.py",
        "sd = np.where(accepted, gain * noise, sd)",
        "sd = np.where(accepted, gain**2 * noise, sd)",
        ("tests/test_smoothing.py::test_noise_on_a_circle_is_averaged_and_its_radius_kept",),
    ),
    Fault(
        "chords-cut-curves",
        "digitize/edge/smoothing.py",
        "+ t * (1 - t) ** 2 * h * slope[at]",
        "+ 0 * t * (1 - t) ** 2 * h * slope[at]",
        ("tests/test_smoothing.py::test_resampling_gives_even_steps_on_the_curve",),
    ),
)
