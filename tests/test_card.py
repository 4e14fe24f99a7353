"""Cards: geometry, the files that hold it, and the ready files in calibration/.

Truth: ISO 216:2007 (A4 is 210 x 297 mm), Letter 8.5 x 11 inch of 25.4 mm exactly, ISO 32000-1 (a PDF unit is
1/72 inch), cv2.aruco's own marker pictures, and the files as read by pikepdf, pypdfium2, svgelements and ezdxf.
"""

from __future__ import annotations

import os
import subprocess
import sys
from io import BytesIO, StringIO
from pathlib import Path

import ezdxf
import numpy as np
import pikepdf
import pypdfium2
import pytest
import svgelements

from digitize.card.kinds import CardLayout, card_layout, layout_for_codes, take_readings
from digitize.card.marker import BITS, marker_black, marker_loops
from digitize.card.parts import square_corners
from digitize.card.text import text_width
from digitize.errors import ScaleError, UsageError
from digitize.seal import is_sealed
from digitize.write.card.files import card_files

CALIBRATION = Path(__file__).parent.parent / "calibration"
PAPER_MM = {"a4": (210.0, 297.0), "letter": (8.5 * 25.4, 11 * 25.4)}  # ISO 216; 1 inch = 25.4 mm exactly
CARDS = [(kind, paper) for kind in ("single", "mat") for paper in ("a4", "letter")]
POINT_MM = 25.4 / 72


@pytest.fixture(params=CARDS, ids="-".join)
def layout(request: pytest.FixtureRequest) -> CardLayout:
    return card_layout(*request.param)


def one_file(layout: CardLayout, kind: str) -> bytes:
    (data,) = card_files(layout, [kind]).values()
    return data


def ink(layout: CardLayout, dpi: float) -> np.ndarray:
    """(H, W) grey picture of the PDF."""
    page = pypdfium2.PdfDocument(one_file(layout, "pdf"))[0]
    return page.render(scale=dpi / 72, grayscale=True).to_numpy().squeeze()


# --- geometry -----------------------------------------------------------------------------------------


def test_sheet_is_the_paper(layout: CardLayout) -> None:
    assert (layout.width_mm, layout.height_mm) == pytest.approx(PAPER_MM[layout.paper], abs=1e-9)


def test_ring_sides() -> None:
    ring = card_layout("single", "a4").rings[0]
    assert (ring.outer_mm, ring.inner_mm, ring.side_mm) == (54.0, 46.0, 50.0)
    for ring in card_layout("mat", "letter").rings:
        assert (ring.outer_mm, ring.inner_mm, ring.side_mm) == (32.4, 27.6, 30.0)


def test_corners_run_from_top_left_clockwise_as_seen(layout: CardLayout) -> None:
    for ring in layout.rings:
        for corners, side in ((ring.outer_corners_mm, ring.outer_mm), (ring.inner_corners_mm, ring.inner_mm)):
            signs = np.sign(corners - np.array(ring.centre_mm))
            assert signs.tolist() == [[-1, 1], [1, 1], [1, -1], [-1, -1]]
            assert np.ptp(corners, axis=0) == pytest.approx([side, side], abs=1e-9)


def test_bars_are_100_mm_in_both_directions(layout: CardLayout) -> None:
    assert [bar.axis for bar in layout.bars] == ["x", "y"]
    spans = [np.subtract(bar.end_mm, bar.start_mm) for bar in layout.bars]
    assert np.array(spans) == pytest.approx(np.array([[100.0, 0.0], [0.0, 100.0]]), abs=1e-9)


def boxes(layout: CardLayout) -> np.ndarray:
    return np.vstack([layout.marks_mm, layout.sheet_marks_mm])


def test_everything_lies_8_mm_inside_the_paper(layout: CardLayout) -> None:
    marks = boxes(layout)
    assert marks[:, :2].min() >= 8.0
    assert (marks[:, 2] <= layout.width_mm - 8.0).all()
    assert (marks[:, 3] <= layout.height_mm - 8.0).all()


@pytest.mark.parametrize("side", [30.0, 42.5, 60.0, 70.0])
@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_singles_of_other_sides_stay_on_the_paper_and_apart(paper: str, side: float) -> None:
    layout = card_layout("single", paper, square_mm=side)  # type: ignore[arg-type]
    test_everything_lies_8_mm_inside_the_paper(layout)
    test_texts_do_not_run_into_anything(layout)
    test_white_round_rings(layout)
    assert layout.rings[0].side_mm == pytest.approx(side, abs=1e-9)


def overlap(a: tuple[float, ...], b: tuple[float, ...]) -> bool:
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


def test_texts_do_not_run_into_anything(layout: CardLayout) -> None:
    texts = [(t.text, t.box_mm) for t in layout.texts]
    fills = [(f.role, f.box_mm) for f in layout.fills]
    for i, (name, box) in enumerate(texts):
        core = (box[0], box[1] + 0.2 * (box[3] - box[1]), box[2], box[3])  # below it only descenders
        for other, other_box in texts[:i] + fills:
            assert not overlap(core, other_box), (name, other)


def test_white_round_rings(layout: CardLayout) -> None:
    white = 8.0 if layout.kind == "single" else 0.7  # on a mat only the label of a bar comes so near
    marks = [f.box_mm for f in layout.fills if f.role not in ("ring", "code")] + [t.box_mm for t in layout.texts]
    for ring in layout.rings:
        (x, y), reach = ring.centre_mm, ring.outer_mm / 2 + white
        for box in marks:
            assert not overlap(box, (x - reach, y - reach, x + reach, y + reach)), box
        # inside: the code keeps clear of the inner edge
        assert (ring.inner_mm - ring.marker_mm) / 2 >= 4.0


def test_cut_line_leaves_white_round_the_ring() -> None:
    layout = card_layout("single", "letter")
    (x0, y0, x1, y1), corners = layout.card_box_mm, layout.rings[0].outer_corners_mm
    assert corners[:, 0].min() - x0 >= 8
    assert x1 - corners[:, 0].max() >= 8
    assert y1 - corners[:, 1].max() >= 8
    assert corners[:, 1].min() - y0 >= 8
    for box in layout.sheet_marks_mm:  # nothing is cut through
        assert not overlap(tuple(box), (x0, y0, x1, y1)), box
    inside = layout.marks_mm
    assert (inside[:, 0] > x0).all()
    assert (inside[:, 3] < y1).all()


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_mat_leaves_its_middle_open(paper: str) -> None:
    layout = card_layout("mat", paper)  # type: ignore[arg-type]
    assert layout.open_box_mm is not None
    x0, y0, x1, y1 = layout.open_box_mm
    assert x1 - x0 >= 110
    assert y1 - y0 >= 150
    corner_marks = [fill.box_mm for fill in layout.fills if overlap(fill.box_mm, (x0, y0, x1, y1))]
    assert not any(overlap(text.box_mm, (x0, y0, x1, y1)) for text in layout.texts)
    assert len(corner_marks) == 8  # on its border, at most 5 mm long
    assert all(max(box[2] - box[0], box[3] - box[1]) < 5.01 for box in corner_marks)
    assert all(min(box[2] - box[0], box[3] - box[1]) < 0.21 for box in corner_marks)
    centres = np.array([ring.centre_mm for ring in layout.rings])
    assert (centres.min(axis=0) < (x0, y0)).all()  # rings on all four sides of it
    assert (centres.max(axis=0) > (x1, y1)).all()


# --- codes --------------------------------------------------------------------------------------------


def test_bits_are_opencvs() -> None:
    import cv2

    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    for code in BITS:
        assert np.array_equal(marker_black(code), cv2.aruco.generateImageMarker(dictionary, code, 6) == 0), code


def test_codes_of_cards_are_distinct_and_known() -> None:
    cards = [card_layout(*card) for card in CARDS] + [card_layout("single", "a4", square_mm=40)]
    codes = [code for card in cards for code in card.codes]
    assert len(codes) == len(set(codes)) == len(BITS)
    assert set(codes) == set(BITS)


def test_codes_differ_turned_and_in_a_mirror() -> None:
    def distance(a: np.ndarray, b: np.ndarray, quarters: range) -> int:
        return min(int((np.rot90(a, k) != b).sum()) for k in quarters)

    black = {code: marker_black(code) for code in BITS}
    for code, cells in black.items():
        assert distance(cells, cells, range(1, 4)) >= 4  # which way up is never in doubt
        for other, others in black.items():
            assert code == other or distance(cells, others, range(4)) >= 4
            assert distance(cells[:, ::-1], others, range(4)) >= 2


def test_code_outlines_are_few_simple_loops_of_the_black_area() -> None:
    from shapely.geometry import Polygon

    for code in BITS:
        loops = [Polygon(loop) for loop in marker_loops(code, centre_mm=(7.0, -3.0), side_mm=6.0)]
        assert all(loop.is_valid for loop in loops)
        black = marker_black(code)
        for row, col in np.ndindex(6, 6):  # even-odd at each cell's middle
            point = Polygon(
                [(4 + col + d[0], 0 - row + d[1]) for d in ((0.4, -0.4), (0.6, -0.4), (0.6, -0.6))]
            ).centroid
            assert sum(loop.contains(point) for loop in loops) % 2 == black[row, col], (code, row, col)
        signed = sum(loop.exterior.is_ccw * 2 * loop.area - loop.area for loop in loops)
        assert signed == pytest.approx(black.sum())  # outer loops counter-clockwise, holes clockwise


# --- looking up, readings, errors ---------------------------------------------------------------------


def test_every_code_finds_its_card() -> None:
    for kind, paper in CARDS:
        layout = card_layout(kind, paper)  # type: ignore[arg-type]
        for code in layout.codes:
            assert layout_for_codes([code]) == layout
        assert layout_for_codes(layout.codes) == layout


def test_own_side_needs_to_be_said() -> None:
    ring = card_layout("single", "letter", square_mm=40).rings[0]
    with pytest.raises(ScaleError, match="--square"):
        layout_for_codes([ring.code])
    found = layout_for_codes([ring.code], square_mm=40).rings[0]
    assert (found.code, found.outer_mm, found.inner_mm) == (ring.code, 43.2, 36.8)


@pytest.mark.parametrize("codes", [[], [49], [0, 4]])
def test_codes_of_no_card_or_of_two(codes: list[int]) -> None:
    with pytest.raises(ScaleError):
        layout_for_codes(codes)


@pytest.mark.parametrize(
    ("kind", "paper", "side"),
    [
        ("single", "a5", None),
        ("poster", "a4", None),
        ("mat", "a4", 50.0),
        ("single", "a4", 10.0),
        ("single", "a4", 71.0),
    ],
)
def test_cards_that_do_not_exist(kind: str, paper: str, side: float | None) -> None:
    with pytest.raises(UsageError):
        card_layout(kind, paper, square_mm=side)  # type: ignore[arg-type]


def test_readings_are_matched_with_what_was_measured() -> None:
    single, mat = card_layout("single", "a4"), card_layout("mat", "a4")
    x, y = take_readings(single, (53.8, 99.9))
    assert (x.of, y.of) == ("ring", "bar")
    assert (x.scale, y.scale) == pytest.approx((53.8 / 54, 0.999))
    assert [r.of for r in take_readings(mat, (32.3, 94.07))] == ["ring", "bar"]
    with pytest.raises(UsageError, match="70 mm"):
        take_readings(single, (70.0, 54.0))
    with pytest.raises(UsageError, match=r"53\.8 mm"):
        take_readings(mat, (53.8, 53.8))


# --- files --------------------------------------------------------------------------------------------


def pdf_rectangles(data: bytes) -> np.ndarray:
    """(N, 4) boxes in mm of all filled paths of the page, by pikepdf's own parser and the page's matrix."""
    pdf = pikepdf.open(BytesIO(data))
    page = pdf.pages[0]
    scale, found, points = 1.0, [], []
    for operands, operator in pikepdf.parse_content_stream(page):
        name = str(operator)
        if name == "cm":
            scale = float(operands[0]) * POINT_MM
        elif name in ("m", "l"):
            points.append([float(v) * scale for v in operands])
        elif name == "f*":
            found.append([*np.min(points, axis=0), *np.max(points, axis=0)])
            points = []
    return np.array(found)


def svg_rectangles(data: bytes, height_mm: float) -> np.ndarray:
    """(N, 4) boxes in mm, y up, of all paths, by svgelements at 25.4 pixels an inch."""
    found = []
    for element in svgelements.SVG.parse(StringIO(data.decode()), ppi=25.4).elements():
        if isinstance(element, svgelements.Path):
            x0, y0, x1, y1 = element.bbox()
            found.append([x0, height_mm - y1, x1, height_mm - y0])
    return np.array(found)


def bar_lengths(rectangles: np.ndarray) -> list[float]:
    """Distance of same edges of the end ticks of the X and the Y bar: thin boxes 100 mm apart, of equal length."""
    lengths = []
    for along, across in ((0, 1), (1, 0)):
        width = rectangles[:, along + 2] - rectangles[:, along]
        height = rectangles[:, across + 2] - rectangles[:, across]
        spines = rectangles[(width > 99) & (width < 101) & (height < 0.5)]
        assert len(spines) == 1
        ticks = rectangles[(width < 0.5) & (height > 2.5) & (height < 5.5)]
        at_ends = [
            tick[along]
            for tick in ticks
            if tick[across] <= spines[0, across + 2] and tick[across + 2] >= spines[0, across]
            if min(abs(tick[along] - spines[0, along]), abs(tick[along] - spines[0, along + 2])) < 0.5
        ]
        assert len(at_ends) == 2
        lengths.append(max(at_ends) - min(at_ends))
    return lengths


def ring_sides(rectangles: np.ndarray, side: float) -> int:
    """Number of square boxes of that side."""
    size = rectangles[:, 2:] - rectangles[:, :2]
    return int((np.abs(size - side) < 1e-4).all(axis=1).sum())


def test_pdf_page_is_the_paper(layout: CardLayout) -> None:
    page = pypdfium2.PdfDocument(one_file(layout, "pdf"))[0]
    assert np.array(page.get_size()) * POINT_MM == pytest.approx(PAPER_MM[layout.paper], abs=1e-4)
    pdf = pikepdf.open(BytesIO(one_file(layout, "pdf")))
    for box in (pdf.pages[0].mediabox, pdf.pages[0].cropbox, pdf.pages[0].trimbox):
        assert np.array([float(v) for v in box]) * POINT_MM == pytest.approx([0, 0, *PAPER_MM[layout.paper]], abs=1e-4)


def test_pdf_holds_the_geometry(layout: CardLayout) -> None:
    rectangles = pdf_rectangles(one_file(layout, "pdf"))
    assert bar_lengths(rectangles) == pytest.approx([100.0, 100.0], abs=1e-4)
    assert ring_sides(rectangles, layout.rings[0].outer_mm) == len(layout.rings)
    assert rectangles == pytest.approx(np.array([fill.box_mm for fill in layout.fills]), abs=1e-4)


def test_pdf_asks_the_reader_not_to_scale(layout: CardLayout) -> None:
    pdf = pikepdf.open(BytesIO(one_file(layout, "pdf")))
    assert pdf.Root.ViewerPreferences.PrintScaling == "/None"  # ISO 32000-1, table 150


def test_svg_holds_the_geometry(layout: CardLayout) -> None:
    data = one_file(layout, "svg")
    svg = svgelements.SVG.parse(StringIO(data.decode()), ppi=25.4)
    assert (svg.width, svg.height) == pytest.approx(PAPER_MM[layout.paper], abs=5e-4)  # it holds 1 mm as 0.0393701 inch
    rectangles = svg_rectangles(data, layout.height_mm)
    assert bar_lengths(rectangles) == pytest.approx([100.0, 100.0], abs=5e-4)
    assert ring_sides(rectangles, layout.rings[0].outer_mm) == len(layout.rings)
    assert rectangles == pytest.approx(np.array([fill.box_mm for fill in layout.fills]), abs=5e-4)


def read_dxf(data: bytes) -> ezdxf.document.Drawing:
    return ezdxf.read(StringIO(data.decode()))


def test_dxf_holds_the_geometry(layout: CardLayout) -> None:
    document = read_dxf(one_file(layout, "dxf"))
    assert not document.audit().has_issues
    assert (document.header["$INSUNITS"], document.header["$MEASUREMENT"]) == (4, 1)
    space = document.modelspace()
    lengths = sorted(
        (tuple(line.dxf.end - line.dxf.start)[:2] for line in space.query('LINE[layer=="CHECK"]')),
        key=max,
        reverse=True,
    )
    assert np.array(sorted(lengths[:2])) == pytest.approx(np.array([[0, 100], [100, 0]]), abs=1e-9)
    squares = {layout.rings[0].outer_mm: 0, layout.rings[0].inner_mm: 0, layout.rings[0].marker_mm: 0}
    for polyline in space.query('LWPOLYLINE[layer=="PRINT"]'):
        assert polyline.closed
        width, height = np.ptp(np.array(polyline.get_points("xy")), axis=0)
        for side in squares:
            squares[side] += bool(abs(width - side) < 1e-6 and abs(height - side) < 1e-6)
    assert list(squares.values()) == [len(layout.rings)] * 3
    (outline,) = space.query('LWPOLYLINE[layer=="OUTLINE"]')
    x0, y0, x1, y1 = layout.card_box_mm
    assert np.ptp(np.array(outline.get_points("xy")), axis=0) == pytest.approx([x1 - x0, y1 - y0])
    words = {text.dxf.text for text in space.query("TEXT")}
    assert words >= {"X  100 mm, tick to tick", "Y  100 mm, tick to tick"}
    if layout.kind == "single":
        assert not any("Print at 100" in line for line in words)
    assert {entity.dxf.layer for entity in space} == {"OUTLINE", "PRINT", "CHECK", "NOTE"}


def test_marks_cover_all_ink(layout: CardLayout) -> None:
    dpi = 150
    picture = ink(layout, dpi)
    k = dpi / 25.4
    rows, cols = np.nonzero(picture < 200)
    x, y = (cols + 0.5) / k, layout.height_mm - (rows + 0.5) / k
    bare = np.ones(len(x), bool)
    for x0, y0, x1, y1 in boxes(layout):
        bare &= ~((x >= x0) & (x <= x1) & (y >= y0) & (y <= y1))
    assert len(x) > 10000
    assert bare.sum() == 0, list(zip(x[bare][:5], y[bare][:5], strict=True))


def test_every_mark_holds_ink(layout: CardLayout) -> None:
    k = 150 / 25.4
    picture = ink(layout, 150)
    for x0, y0, x1, y1 in boxes(layout):
        rows = slice(int((layout.height_mm - y1) * k), int((layout.height_mm - y0) * k) + 1)
        assert picture[rows, int(x0 * k) : int(x1 * k) + 1].min() < 200


def test_printed_ring_has_no_hairlines() -> None:
    layout = card_layout("single", "a4")
    picture = ink(layout, 217)  # cells do not fall on pixels
    k, ring = 217 / 25.4, layout.rings[0]
    cell = ring.marker_mm / 6
    x0, y1 = square_corners(ring.centre_mm, ring.marker_mm)[0]
    for row, col in np.argwhere(marker_black(ring.code)):
        # from this cell's middle to its right-hand black neighbour's: black all the way
        if col < 5 and marker_black(ring.code)[row, col + 1]:
            y = int((layout.height_mm - (y1 - (row + 0.5) * cell)) * k)
            x = int((x0 + (col + 0.5) * cell) * k)
            assert picture[y, x : int(x + cell * k)].max() == 0


def test_text_widths_are_those_of_a_reference_font() -> None:
    """pypdfium2 lays the page's text out with its own metrics of Helvetica: no line may be wider than we say."""
    layout = card_layout("single", "a4")
    page = pypdfium2.PdfDocument(one_file(layout, "pdf"))[0]
    found = [o.get_bounds() for o in page.get_objects() if o.type == pypdfium2.raw.FPDF_PAGEOBJ_TEXT]
    assert len(found) == len(layout.texts)
    for text, (left, low, right, high) in zip(layout.texts, found, strict=True):
        length = (high - low if text.upwards else right - left) * POINT_MM
        assert length == pytest.approx(text.width_mm, abs=0.35 * text.size_mm), text.text  # side bearings apart
        assert text.width_mm == text_width(text.text, text.size_mm, bold=text.bold)


def test_same_bytes_in_two_processes() -> None:
    program = (
        "import hashlib\n"
        "from digitize.card.kinds import card_layout\nfrom digitize.write.card.files import card_files\n"
        "for kind in ('single', 'mat'):\n"
        "    for name, data in card_files(card_layout(kind, 'a4'), ['pdf', 'svg', 'dxf']).items():\n"
        "        print(name, hashlib.sha256(data).hexdigest())"
    )
    sums = [
        subprocess.run(
            [sys.executable, "-c", program],
            capture_output=True,
            text=True,
            check=True,
            cwd=CALIBRATION.parent,
            env={**os.environ, "PYTHONHASHSEED": seed},
        ).stdout
        for seed in ("1", "4")  # with these, sets of strings come out in different orders
    ]
    assert sums[0] == sums[1]
    assert sums[0].count("\n") == 6


def test_files_are_known_as_our_own(layout: CardLayout) -> None:
    for name, data in card_files(layout, ["pdf", "svg", "dxf"]).items():
        assert is_sealed(data), name
        changed = data.replace(b"100 mm", b"101 mm", 1) if b"100 mm" in data else data[:-2] + b" " + data[-2:]
        assert not is_sealed(changed), name


def test_unknown_format_is_refused() -> None:
    with pytest.raises(UsageError, match="png"):
        card_files(card_layout("single", "a4"), ["pdf", "png"])


# --- the ready files ----------------------------------------------------------------------------------


def dxf_entities(data: bytes) -> list[str]:
    """Everything drawn, as text."""
    entities = []
    for entity in read_dxf(data).modelspace():
        points = entity.get_points("xy") if entity.dxftype() == "LWPOLYLINE" else ""
        drawn = {k: v for k, v in entity.dxfattribs().items() if k not in ("handle", "owner")}
        entities.append(f"{entity.dxftype()} {drawn} {points}")
    return entities


def test_ready_files_are_what_is_made_now(layout: CardLayout) -> None:
    """Geometry of PDF and DXF, since compression and headers belong to libraries; all bytes of SVG."""
    formats = ["pdf", "svg", "dxf"] if layout.kind == "single" else ["pdf", "svg"]
    for name, data in card_files(layout, formats).items():
        ready = (CALIBRATION / name).read_bytes()
        if name.endswith("pdf"):
            now, then = (pikepdf.open(BytesIO(d)) for d in (data, ready))
            assert then.pages[0].Contents.read_bytes() == now.pages[0].Contents.read_bytes(), name
            assert then.pages[0].mediabox == now.pages[0].mediabox
        elif name.endswith("dxf"):
            assert dxf_entities(ready) == dxf_entities(data), name
        else:
            assert ready == data, name


def test_calibration_holds_nothing_else() -> None:
    expected = {f"{stem}-{paper}.{end}" for stem in ("ring-50", "mat") for paper in PAPER_MM for end in ("pdf", "svg")}
    expected |= {f"ring-50-{paper}.dxf" for paper in PAPER_MM}
    present = {path.name for path in CALIBRATION.iterdir() if path.name.startswith(("ring-", "mat-"))}
    assert present == expected
