"""Faults in plates, their drawings and the artwork laid on them."""

from __future__ import annotations

from .kind import Fault

PLATE, FILES, TEMPLATE = "tests/test_plate.py", "tests/test_plate_files.py", "tests/test_template.py"

FAULTS = (
    Fault(
        "plate-web-by-half",
        "digitize/plate/shape.py",
        "_rounded(region, web_mm / 2, exact)",
        "_rounded(region, web_mm / 4, exact)",
        (f"{PLATE}::test_webs_are_as_asked_and_never_less",),
    ),
    Fault(
        "plate-chords-let-pockets-come-nearer",
        "digitize/plate/shape.py",
        "by + (2 * exact.mm + _CHORD_MM if exact.outside else -2 * exact.mm)",
        "by - 2 * exact.mm",
        (f"{PLATE}::test_68_discs_where_straight_rows_hold_64", f"{PLATE}::test_webs_are_as_asked_and_never_less"),
    ),
    Fault(
        "plate-slides-only-level-with-the-first-corner",
        "digitize/plate/slide.py",
        "np.concatenate([first[:, 1], moved[:, 1], [low, high]])",
        "np.array([low, high])",
        (f"{PLATE}::test_slide_is_where_the_last_contact_is",),
    ),
    Fault(
        "plate-rows-look-at-one-neighbour-only",
        "digitize/plate/rows.py",
        "along * np.arange(-_FARTHEST, _FARTHEST + 1)",
        "along * np.arange(0, 1)",
        (f"{PLATE}::test_pockets_never_overlap_and_stay_inside", f"{PLATE}::test_68_discs_where_straight_rows_hold_64"),
    ),
    Fault(
        "plate-turned-back-forgotten",
        "digitize/plate/rows.py",
        "turns = (way.turn_deg, (way.turn_deg + 180.0) % 360.0)",
        "turns = (way.turn_deg, way.turn_deg)",
        (f"{PLATE}::test_every_second_pocket_turned",),
    ),
    Fault(
        "plate-as-many-is-only-straight",
        "digitize/plate/rows.py",
        "for number in order[:_LAID]:",
        "for number in order[:0]:",
        (f"{PLATE}::test_68_discs_where_straight_rows_hold_64",),
    ),
    Fault(
        "plate-margin-counted-from-the-wrong-corner",
        "digitize/plate/layout.py",
        'y = low_y + margin - bottom if plate.zero.startswith("bottom") else',
        'y = low_y + margin - bottom if plate.zero.startswith("top") else',
        (f"{PLATE}::test_places_are_sums_of_margin_size_and_gap",),
    ),
    Fault(
        "plate-items-not-set-upright",
        "digitize/plate/shape.py",
        ".turn) if upright else 0.0",
        ".turn) if not upright else 0.0",
        (f"{PLATE}::test_an_item_that_lay_askew_is_laid_upright",),
    ),
    Fault(
        "plate-place-is-the-items-corner",
        "digitize/plate/plate.py",
        "kind.middle_mm @ turn",
        "0 * kind.middle_mm @ turn",
        (f"{FILES}::test_dxf_has_its_origin_in_the_zero_corner",),
    ),
    Fault(
        "plate-over-the-edge-passes",
        "digitize/plate/check.py",
        "if over[side] > _ROUNDING_MM:",
        "if over[side] > 1.0:",
        (f"{PLATE}::test_what_overlaps_or_reaches_over_the_edge_is_refused",),
    ),
    Fault(
        "plate-overlaps-pass",
        "digitize/plate/check.py",
        "if web.mm <= 0.0]",
        "if web.mm < 0.0]",
        (f"{PLATE}::test_what_overlaps_or_reaches_over_the_edge_is_refused",),
    ),
    Fault(
        "plate-thickness-not-asked",
        "digitize/plate/asked.py",
        "max(WEB_MM, self.thickness_mm or 0.0)",
        "WEB_MM",
        (f"{PLATE}::test_webs_are_held_against_the_thickness",),
    ),
    Fault(
        "plate-table-of-another-picture-passes",
        "digitize/plate/lay.py",
        "if source and not kind.source_sha256.startswith(source):",
        "if source and not kind.source_sha256:",
        (f"{FILES}::test_a_table_laid_for_another_picture_is_refused",),
    ),
    Fault(
        "plate-holes-cut-without-compensation",
        "digitize/write/plate/compose.py",
        "(hole.diameter_mm - sweep_mm) / 2",
        "hole.diameter_mm / 2",
        (f"{FILES}::test_cut_in_order_holes_then_pegs_then_pockets_then_the_edge",),
    ),
    Fault(
        "plate-pockets-cut-before-their-pegs",
        "digitize/write/plate/compose.py",
        "key=lambda curve: abs(curve_area(curve))",
        "key=lambda curve: -abs(curve_area(curve))",
        (f"{FILES}::test_cut_in_order_holes_then_pegs_then_pockets_then_the_edge",),
    ),
    Fault(
        "plate-strip-on-the-side-of-zero",
        "digitize/write/plate/frame.py",
        'top = bed.bottom if zero.startswith("top") else bed.top + tall',
        'top = bed.bottom if zero.startswith("bottom") else bed.top + tall',
        (f"{FILES}::test_three_formats_share_corner_and_frame_to_the_micrometre",),
    ),
    Fault(
        "plate-kind-of-a-place-not-checked",
        "digitize/document/plate.py",
        "if place.kind not in names:",
        "if not place.kind:",
        (f"{FILES}::test_a_damaged_document_is_refused",),
    ),
    Fault(
        "template-artwork-turned-the-other-way",
        "digitize/write/artwork/place.py",
        "rotate({plain_number(-turn, 9)})",
        "rotate({plain_number(turn, 9)})",
        (f"{TEMPLATE}::test_artwork_lands_at_every_place_and_turn",),
    ),
    Fault(
        "template-artwork-mirrored-in-pdf",
        "digitize/write/artwork/place.py",
        "(cos, sin, -sin, cos, x, y)",
        "(cos, sin, sin, -cos, x, y)",
        (f"{TEMPLATE}::test_artwork_lands_at_every_place_and_turn",),
    ),
    Fault(
        "template-holes-printed-over",
        "digitize/write/artwork/place.py",
        'clip-rule="evenodd" ',
        'clip-rule="nonzero" ',
        (f"{TEMPLATE}::test_artwork_lands_at_every_place_and_turn",),
    ),
    Fault(
        "template-guides-print",
        "digitize/write/pdf.py",
        "Print=Dictionary(PrintState=Name.OFF),",
        "Print=Dictionary(PrintState=Name.ON),",
        (f"{TEMPLATE}::test_guides_are_on_screen_and_not_on_paper",),
    ),
    Fault(
        "template-fetches-other-files",
        "digitize/write/artwork/of_svg.py",
        "    if away:",
        "    if len(away) > 1:",
        (f"{TEMPLATE}::test_artwork_that_cannot_be_used_is_refused_and_nothing_written",),
    ),
)
