"""Faults in what is written: drawings, solids, pages, files."""

from __future__ import annotations

from .kind import Fault

DXF = "tests/test_write_dxf.py"
STORED, OF_STORED = "digitize/write/dxf_stored.py", "tests/test_dxf_stored.py"
SVG = "tests/test_write_svg.py"
PDF = "tests/test_write_pdf.py"
SHEET = "tests/test_write_sheet.py"
PREVIEW = "tests/test_write_preview.py"
SOLID = "tests/test_solid.py"
FILES = "tests/test_files.py"
LOOK = "tests/test_look.py"
FONT = "tests/test_font.py"
JAWS = "tests/test_jaws.py"
PROOF = "tests/test_write_proof.py"

FAULTS = (
    Fault(
        "strip-marked-at-one-place-alone",
        "digitize/write/preview/marks.py",
        "for x0, y0, x1, y1 in one.along_px]",
        "for x0, y0, x1, y1 in one.along_px[:0]]",
        ("tests/test_write_preview.py",),
    ),
    Fault(
        "strip-of-two-sides-on-one",
        "digitize/silhouette/left_out.py",
        "if bottom > high - _TOUCHES and",
        "if not found and bottom > high - _TOUCHES and",
        ("tests/test_left_out.py",),
    ),
    Fault(
        "check-picture-mirrored-said-last",
        "digitize/write/preview/words.py",
        "parts.insert(1, ",
        "parts.insert(9, ",
        ("tests/test_mirrored.py",),
    ),
    Fault(
        "pdf-identifier-without-what-is-said-of-it",
        "digitize/write/pdf_file.py",
        "for key in sorted(about))",
        "for key in sorted(about)[1:])",
        ("tests/test_write_pdf.py::test_a_file_is_what_pikepdf_writes_of_the_same_objects",),
    ),
    Fault(
        "every-stain-boxed",
        "digitize/write/preview/overview.py",
        "_PERHAPS_ITEM, _SURELY_LARGE_MM2 = 0.02, 100.0",
        "_PERHAPS_ITEM, _SURELY_LARGE_MM2 = 0.0, 100.0",
        ("tests/test_write_preview.py::test_what_was_left_out_is_boxed_in_grey_and_numbered",),
    ),
    Fault(
        "dxf-unit-inches", STORED, '"unit": 1 if in_inches else 4', '"unit": 4 if in_inches else 1', (DXF, OF_STORED)
    ),
    Fault("dxf-bulge-rounded", STORED, "round(p.bulge, 10)", "round(p.bulge, 3)", (DXF,)),
    Fault("dxf-stored-handles-alike", STORED, "{first + k:X}", "{first:X}", (OF_STORED,)),
    Fault("dxf-stored-lead-closed", STORED, "{int(isinstance(curve, Path))}", "1", (OF_STORED,)),
    Fault("dxf-stored-hidden-layer-shown", STORED, "if layer.shown else -layer.aci", "", (OF_STORED,)),
    Fault(
        "dxf-lead-closed",
        "digitize/write/dxf.py",
        'format="xyb", close=isinstance(curve, Path), dxfattribs=look)\n\n\ndef _heavy',
        'format="xyb", close=True, dxfattribs=look)\n\n\ndef _heavy',
        (OF_STORED,),
    ),
    Fault("dxf-control-codes-in-names", STORED, '.replace("^", "\'")', "", (DXF,)),
    Fault(
        "svg-arc-sweep", "digitize/write/svg.py", "{0 if run.bulge > 0 else 1}", "{1 if run.bulge > 0 else 0}", (SVG,)
    ),
    Fault(
        "svg-like-corners-drawn-unlike",
        "digitize/write/svg.py",
        "LARGEST_ARC = 1.75",
        "LARGEST_ARC = 1.5707963267948966",
        ("tests/test_drawn.py",),
    ),
    Fault("svg-y-up", "digitize/write/svg.py", "_n(page.top - point[1])", "_n(point[1] - page.bottom)", (SVG,)),
    Fault(
        "svg-width-without-margin",
        "digitize/write/svg.py",
        'width="{_n(page.width)}mm"',
        'width="{_n(page.width - 10)}mm"',
        (SVG,),
    ),
    Fault(
        "pdf-point-of-72-27",
        "digitize/write/pdf.py",
        "POINTS_PER_MM = 72 / 25.4",
        "POINTS_PER_MM = 72.27 / 25.4",
        (PDF,),
    ),
    Fault(
        "pdf-print-dialogue-scales",
        "digitize/write/pdf.py",
        '"/PrintScaling": Name("/None")',
        '"/PrintScaling": Name("/AppDefault")',
        (PDF,),
    ),
    Fault(
        "pdf-beziers-too-coarse",
        "digitize/write/pdf.py",
        "LARGEST_BEZIER_MM = 1e-4",
        "LARGEST_BEZIER_MM = 1e-1",
        (PDF,),
    ),
    Fault(
        "pdf-lead-closed",
        "digitize/write/pdf.py",
        '(" S" if isinstance(curve, OpenPath) else " h S")',
        '" h S"',
        (PDF, "tests/test_cutting_files.py"),
    ),
    Fault(
        "one-drawing-for-all-looks",
        "digitize/write/sheet.py",
        "if (look, in_inches) not in self.composed:",
        "if not self.composed:",
        (SHEET,),
    ),
    Fault(
        "chords-far-from-arcs",
        "digitize/write/paths.py",
        "math.sqrt(8 * within_mm / radius)",
        "math.sqrt(16 * within_mm / radius)",
        (SHEET,),
    ),
    Fault(
        "rings-beside-a-view-left-out",
        "digitize/write/preview/marks.py",
        "near = (low < (width + MARGIN, height + MARGIN)) & (high > -MARGIN)",
        "near = (low < (width, height)) & (high > 0)",
        (PREVIEW,),
    ),
    Fault("bar-of-99-mm", "digitize/write/sheet.py", "BAR_MM = 100.0", "BAR_MM = 99.0", (SHEET, SVG, DXF)),
    Fault(
        "lead-after-its-path",
        "digitize/write/sheet.py",
        "len(mine) == 1 else [*mine, curve]",
        "len(mine) == 1 else [curve, *mine]",
        (SHEET, "tests/test_cutting_files.py"),
    ),
    Fault(
        "item-moved-within-the-sheet",
        "digitize/write/sheet.py",
        "by = (item.sheet_mm[0] - zero[0], item.sheet_mm[1] - zero[1])",
        "by = (item.sheet_mm[0] - zero[0], 0.0)",
        (SHEET, SVG, DXF),
    ),
    Fault("box-without-bows", "digitize/write/paths.py", "if ahead < angle:", "if ahead < 0:", (SHEET,)),
    Fault(
        "bezier-control-points",
        "digitize/write/paths.py",
        "4.0 / 3.0 * bulge",
        "1.3 * bulge",
        (PDF, SHEET),
    ),
    Fault(
        "view-half-a-pixel-off",
        "digitize/write/preview/view.py",
        "- self.corner_px) / self.step - 0.5",
        "- self.corner_px) / self.step",
        (PREVIEW,),
    ),
    Fault(
        "plan-on-the-card",
        "digitize/write/preview/plan.py",
        "planes.at_height(planes.top_mm), rings[0]",
        "planes.at_height(0.0), rings[0]",
        ("tests/test_preview_plan.py",),
    ),
    Fault(
        "remark-before-what-needs-a-look",
        "digitize/write/preview/places.py",
        "pointed.sort(key=lambda pair: _order(pair[0]))",
        "pointed.sort(key=lambda pair: _order(pair[0]), reverse=True)",
        (PREVIEW,),
    ),
    Fault(
        "solid-open",
        "digitize/write/solid/mesh.py",
        "if not is_closed(mesh) or mesh.volume_mm3 <= 0:",
        "if False:",
        (SOLID,),
    ),
    Fault(
        "file-of-others-replaced", "digitize/files.py", "if force or written_by_digitize(target):", "if True:", (FILES,)
    ),
    Fault(
        "picture-replaced-by-force",
        "digitize/files.py",
        "if keep and stat.S_ISREG(mode) and",
        "if keep and not force and stat.S_ISREG(mode) and",
        (FILES,),
    ),
    Fault(
        "files-written-in-place",
        "digitize/files.py",
        'beside = folder / f".digitize-{os.getpid()}-{number}.part"',
        "beside = target",
        (FILES,),
    ),
    Fault(
        "edited-file-taken-for-own",
        "digitize/files.py",
        "return is_sealed(path.read_bytes())",
        "return len(path.read_bytes()) > 0",
        (FILES,),
    ),
    Fault(
        "longest-side-s-uncertainty-not-shown",
        "digitize/write/words.py",
        "±{length_k2_mm(item):.3f}",
        "±{item.uncertainty.profile_k2_mm:.3f}",
        (SHEET,),
    ),
    Fault("dxf-not-in-inches", "digitize/write/dxf.py", "1 / MM_PER_INCH", "1.0", (LOOK,)),
    Fault(
        "dxf-arc-the-long-way-round",
        STORED,
        "(one.start, one.end) if one.bulge > 0",
        "(one.start, one.end) if one.bulge < 0",
        (LOOK,),
    ),
    Fault(
        "origin-at-the-box-s-other-side", "digitize/write/sheet.py", "low[0] + across *", "low[0] - across *", (LOOK,)
    ),
    Fault(
        "hairline-wider-than-a-thousandth-inch",
        "digitize/write/look.py",
        "HAIRLINE_MM = 0.025 ",
        "HAIRLINE_MM = 0.05 ",
        (LOOK,),
    ),
    Fault("wall-switched-on", "digitize/write/sheet.py", "shown=False", "shown=True", ("tests/test_wall.py",)),
    Fault(
        "circle-run-against-its-lead",
        "digitize/write/paths.py",
        "if isinstance(curve, Circle) and _comes_on_clockwise(lead):",
        "if False:",
        ("tests/test_cutting_files.py",),
    ),
    Fault("filled-holes-too", "digitize/write/svg.py", 'fill-rule="evenodd"', 'fill-rule="nonzero"', (LOOK,)),
    Fault(
        "pdf-filled-holes-too", "digitize/write/pdf.py", "closed_path(curves)} f*", "closed_path(curves)} f", (LOOK,)
    ),
    Fault("font-parts-left-out", "digitize/write/font.py", "left += _parts(", "_parts(", (FONT,)),
    Fault("font-of-the-letter-before", "digitize/write/font.py", "+ code - int(", "+ code - 1 - int(", (FONT, PDF)),
    Fault(
        "name-over-the-hole",
        "digitize/write/inside.py",
        "whole = shapely.Polygon(shell, within)",
        "whole = shapely.Polygon(shell)",
        (SHEET,),
    ),
    Fault("calipers-read-the-most", "digitize/measure/jaws.py", "float(across.min())", "float(across.max())", (JAWS,)),
    Fault(
        "calipers-length-across-the-jaws",
        "digitize/measure/jaws.py",
        "np.array([direction])",
        "np.array([direction + 1.5])",
        (JAWS,),
    ),
    Fault(
        "turned-item-not-turned-back",
        "digitize/records/item.py",
        "turning(-math.radians",
        "turning(math.radians",
        (JAWS,),
    ),
    Fault("upright-the-other-way", "digitize/recipe/upright.py", "((round(q) - q)", "((q - round(q))", (JAWS,)),
    Fault(
        "upright-on-one-another", "digitize/recipe/upright.py", "apart.min() < CLOSE_MM", "apart.min() < -1e9", (JAWS,)
    ),
    Fault(
        "proof-upright-bar-short",
        "digitize/write/sheet.py",
        "[(layer, a[::-1], b[::-1]) for layer, a, b in bar(bottom, x)]",
        "[(layer, a[::-1], b[::-1]) for layer, a, b in bar(bottom, x)[:-1]]",
        (PROOF,),
    ),
    Fault(
        "proof-sheets-beside-one-another",
        "digitize/write/proof/tiles.py",
        "step_x, step_y = wide - OVERLAP_MM,",
        "step_x, step_y = wide,",
        (PROOF,),
    ),
    Fault(
        "proof-marks-off",
        "digitize/write/proof/pages.py",
        "lines += _cross(x + by[0], y + by[1])",
        "lines += _cross(x + by[0] * 1.0005, y + by[1])",
        (PROOF,),
    ),
    Fault(
        "proof-drawn-over-the-edge",
        "digitize/write/pdf.py",
        "re W n",
        "re n",
        (PROOF,),
    ),
    Fault(
        "proof-arrow-not-exchanged",
        "digitize/write/proof/words.py",
        "(90.0, -1.0 if mirrored else 1.0,",
        "(90.0, 1.0,",
        (PROOF,),
    ),
    Fault(
        "proof-side-from-the-face-alone",
        "digitize/write/proof/words.py",
        'result.mirrored != (result.imaged == "back")',
        'result.imaged == "back"',
        (PROOF,),
    ),
    Fault(
        "proof-is-a-path-to-cut",
        "digitize/write/proof/pages.py",
        "pages_pdf(title, pages, cut=False)",
        "pages_pdf(title, pages, cut=True)",
        (PROOF,),
    ),
    Fault(
        "proof-sheets-always-upright",
        "digitize/write/proof/tiles.py",
        "for sheet in (upright, lying)]",
        "for sheet in (upright, upright)]",
        (PROOF,),
    ),
    Fault(
        "proof-budget-in-mm-a-mm",
        "digitize/write/proof/words.py",
        "{one.per_metre_mm:.3f}",
        "{one.per_metre_mm / 1000:.3f}",
        (PROOF,),
    ),
)
