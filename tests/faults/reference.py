"""Faults in the reference, the scale and the figure for how far to trust it."""

from __future__ import annotations

from .kind import Fault

SCALE = "tests/test_scale.py"
LIMITS = "tests/test_picture_limits.py"
REFERENCE = "tests/test_reference.py"
PHOTO = "tests/test_camera_photo.py"
TRUST = "tests/test_uncertainty.py"

FAULTS = (
    Fault(
        "caliper-deviation-halved",
        "digitize/trust/readings.py",
        "CALIPER_K2_MM = 0.04 ",
        "CALIPER_K2_MM = 0.02 ",
        ("tests/test_settings.py",),
    ),
    Fault(
        "print-deviation-tenth",
        "digitize/reference/scale.py",
        "PRINTED_SD_PART = 0.003 ",
        "PRINTED_SD_PART = 0.0003 ",
        (SCALE,),
    ),
    Fault(
        "density-deviation-tenth",
        "digitize/reference/scale.py",
        "DPI_ONLY_SD_PART = 0.01 ",
        "DPI_ONLY_SD_PART = 0.001 ",
        (SCALE,),
    ),
    Fault("skew-limit-tenfold", "digitize/reference/scale.py", "MAX_SKEW_DEG = 1.5", "MAX_SKEW_DEG = 15.0", (SCALE,)),
    Fault(
        "trapezoid-limit-tenfold",
        "digitize/reference/scale.py",
        "MAX_TRAPEZOID = 0.0025",
        "MAX_TRAPEZOID = 0.025",
        (SCALE,),
    ),
    Fault(
        "residual-not-in-budget",
        "digitize/reference/scale.py",
        "length_per_mm=residual_mm / extent_mm",
        "length_per_mm=0.0 * residual_mm / extent_mm",
        (SCALE,),
    ),
    Fault(
        "axes-doubt-tenth",
        "digitize/reference/scale.py",
        "length_per_mm=off / 2,",
        "length_per_mm=off / 20,",
        (f"{REFERENCE}::test_a_square_out_of_square_is_said_and_made_unsure_where_no_density_confirms_it",),
    ),
    Fault(
        "density-origin-half-a-pixel",
        "digitize/reference/scale.py",
        "frozen_array([-0.5, height_px - 0.5])",
        "frozen_array([0.0, height_px - 0.5])",
        (SCALE,),
    ),
    Fault(
        "two-level-deviation-tenth",
        "digitize/reference/picture_limits.py",
        "TWO_LEVEL_SD_PX = 0.3",
        "TWO_LEVEL_SD_PX = 0.03",
        (LIMITS,),
    ),
    Fault(
        "coarse-deviation-tenth",
        "digitize/reference/picture_limits.py",
        "COARSE_SD_PX = 0.05",
        "COARSE_SD_PX = 0.005",
        (LIMITS,),
    ),
    Fault(
        "coarse-limit-doubled",
        "digitize/reference/picture_limits.py",
        "LEAST_PX_PER_MM = 3.0",
        "LEAST_PX_PER_MM = 6.0",
        (LIMITS,),
    ),
    Fault(
        "two-levels-never-seen",
        "digitize/reference/picture_limits.py",
        "direct > _DIRECT * (direct + between)",
        "direct > 2 * (direct + between)",
        (LIMITS,),
    ),
    Fault(
        "dpi-axes-swapped",
        "digitize/reference/locate.py",
        "Density(settings.dpi[0] / 25.4, settings.dpi[1] / 25.4",
        "Density(settings.dpi[1] / 25.4, settings.dpi[0] / 25.4",
        (f"{REFERENCE}::test_two_densities_are_taken_as_x_and_y",),
    ),
    Fault(
        "card-mid-line-is-outer-side",
        "digitize/reference/ring_card.py",
        "0.5 * (outer.corners_px + inner.corners_px) for _",
        "outer.corners_px for _",
        (f"{REFERENCE}::test_readings_of_ring_and_bars_mean_the_same",),
    ),
    Fault(
        "ink-spread-ignored",
        "digitize/reference/ring_card.py",
        "float(0.5 * (outer + inner) / outer)",
        "50 / 54",
        (f"{REFERENCE}::test_spread_of_the_ink_changes_nothing_by_bar_nor_by_ring",),
    ),
    Fault(
        "likely-reading-tenfold",
        "digitize/reference/ring_card.py",
        "_LIKELY_READING = 0.02",
        "_LIKELY_READING = 0.2",
        (f"{REFERENCE}::test_readings_far_from_the_drawing_are_believed_and_said",),
    ),
    Fault(
        "side-deviation-tenth",
        "digitize/reference/square_fit.py",
        "sd_px=2.5 * rms",
        "sd_px=0.25 * rms",
        ("tests/test_square.py::test_stated_corner_deviation_covers_the_noise",),
    ),
    Fault(
        "bend-never-seen",
        "digitize/reference/square_fit.py",
        "bend = float(-polynomial(",
        "bend = 0.0 * float(-polynomial(",
        ("tests/test_square.py::test_a_bent_side_is_told_by_its_sagitta",),
    ),
    Fault(
        "covered-corner-taken-as-sharp",
        "digitize/reference/square_fit.py",
        "bool(part > 0.7)",
        "bool(part > -9)",
        ("tests/test_square.py::test_a_covered_corner_is_told_and_the_others_hold",),
    ),
    Fault(
        "tilt-limit-80-degrees",
        "digitize/reference/camera_findings.py",
        "MOST_TILT_DEG = 45.0",
        "MOST_TILT_DEG = 80.0",
        (
            f"{PHOTO}::test_seen_too_obliquely",
            f"{PHOTO}::test_seen_so_obliquely_that_it_looks_like_half_a_square",
        ),
    ),
    Fault(
        "bent-card-limit-tenfold",
        "digitize/reference/camera_findings.py",
        "OUTLINE_TIMES = 3.0",
        "OUTLINE_TIMES = 0.3",
        (
            f"{PHOTO}::test_a_square_that_curls_by_half_a_millimetre_is_looked_at",
            f"{PHOTO}::test_whether_a_card_is_flat_enough_is_told_in_mm",
        ),
    ),
    Fault(
        "soft-limit-doubled",
        "digitize/reference/camera_findings.py",
        "SOFT_BLUR_PX = 2.2",
        "SOFT_BLUR_PX = 4.4",
        (f"{PHOTO}::test_soft_photo_is_measured_and_said",),
    ),
    Fault(
        "square-ratio-never-doubted",
        "digitize/reference/camera_findings.py",
        "SURE_ASPECT = 0.006",
        "SURE_ASPECT = 0.06",
        (f"{PHOTO}::test_card_a_little_smaller_than_said_in_one_direction",),
    ),
    Fault(
        "card-frame-covered-not-said",
        "digitize/reference/camera_findings.py",
        "WHOLE_SIDE = 0.9",
        "WHOLE_SIDE = 0.5",
        (f"{PHOTO}::test_square_covered_a_little",),
    ),
    Fault(
        "budget-linear-sum",
        "digitize/trust/uncertainty.py",
        "2000 * math.hypot(*(c.length_per_mm for c in contributions))",
        "2000 * sum(c.length_per_mm for c in contributions)",
        (TRUST,),
    ),
    Fault(
        "length-of-the-shorter-side",
        "digitize/trust/uncertainty.py",
        "item.uncertainty, max(",
        "item.uncertainty, min(",
        (TRUST,),
    ),
    Fault("edge-level-tenth", "digitize/trust/uncertainty.py", "LEVEL_SD_PX = 0.01 ", "LEVEL_SD_PX = 0.001 ", (TRUST,)),
    Fault(
        "edge-noise-one-end",
        "digitize/trust/uncertainty.py",
        "length_mm=math.sqrt(2) * noise",
        "length_mm=noise",
        (TRUST,),
    ),
)
