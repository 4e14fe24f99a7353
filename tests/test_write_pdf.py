import ctypes
import io
from dataclasses import replace

import numpy as np
import pikepdf
import pypdfium2
import pypdfium2.raw as pdfium
import pytest

from digitize.errors import WriteError
from digitize.records import Circle, Path
from digitize.seal import is_sealed
from digitize.write import pdf as pdf_module
from digitize.write.paths import Piece
from digitize.write.sheet import LAYERS, compose
from tests import made
from tests.written import pdf_bytes

MARGIN = 10.0
POINT_MM = 25.4 / 72  # ISO 32000: user space unit, 1/72 inch


def bezier(p, count=60):
    t = np.linspace(0, 1, count)[:, None]
    return (1 - t) ** 3 * p[0] + 3 * t * (1 - t) ** 2 * p[1] + 3 * t**2 * (1 - t) * p[2] + t**3 * p[3]


def segments(path_object):
    """Return the points of a path as PDFium holds them, in the page's points, curves evaluated."""
    matrix = np.array([[path_object.get_matrix().get()[k] for k in row] for row in ((0, 1), (2, 3), (4, 5))])
    points, pending = [], []
    for number in range(pdfium.FPDFPath_CountSegments(path_object)):
        segment = pdfium.FPDFPath_GetPathSegment(path_object, number)
        x, y = ctypes.c_float(), ctypes.c_float()
        pdfium.FPDFPathSegment_GetPoint(segment, x, y)
        place = np.array([x.value, y.value])
        if pdfium.FPDFPathSegment_GetType(segment) == pdfium.FPDF_SEGMENT_BEZIERTO:
            pending.append(place)
            if len(pending) == 3:
                points += list(bezier([points[-1], *pending]))
                pending = []
        else:
            points.append(place)
    return np.array(points) @ matrix[:2] + matrix[2]


def colour_of(path_object):
    values = [ctypes.c_uint() for _ in range(4)]
    assert pdfium.FPDFPageObj_GetStrokeColor(path_object, *values)
    return tuple(v.value for v in values[:3])


def drawn(data):
    """Return page size and the closed curves of each layer, in mm, by PDFium; layers told by their colour."""
    document = pypdfium2.PdfDocument(data)
    page = document[0]
    names = {layer.rgb: layer.name for layer in LAYERS.values()}
    found = {}
    for path_object in page.get_objects(filter=[pdfium.FPDF_PAGEOBJ_PATH]):
        points = segments(path_object) * POINT_MM
        found.setdefault(names[colour_of(path_object)], []).append(points)
    size = tuple(v * POINT_MM for v in page.get_size())
    document.close()
    return size, found


def on_sheet(found, *, lowest):
    """Move page coordinates to the sheet, whose left edge is x = -1 (the print area) and whose bottom is `lowest`."""
    shift = np.array([-1 - MARGIN, lowest - MARGIN])
    return {name: [loop + shift for loop in loops] for name, loops in found.items() if name in made.DRAWN}


def test_read_back_geometry_agrees_to_1_um():
    (_, height), found = drawn(pdf_bytes(made.result()))
    made.assert_shapes(on_sheet(found, lowest=41 + 2 * MARGIN - height))  # the top is the print area's, 41 mm


def test_page_is_the_drawing_with_its_margin_in_points():
    with pikepdf.open(io.BytesIO(pdf_bytes(made.result()))) as pdf:
        left, bottom, right, top = (float(v) for v in pdf.pages[0].MediaBox)
        assert (left, bottom) == (0, 0)
        assert "/UserUnit" not in pdf.pages[0].obj
        words = pdf.pages[0].Contents.read_bytes().split()
    # 1 mm = 2.834646 pt.
    assert [float(v) for v in words[:4]] == pytest.approx([2.834646, 0, 0, 2.834646], abs=1e-6)
    # From the print area's left edge at -1 to the fob's right edge at 125, and 10 mm on either side.
    assert right / 2.834645669 == pytest.approx(126 + 2 * MARGIN, abs=1e-5)
    assert top > 100


def test_check_bar_is_100_mm_on_the_page():
    _, found = drawn(pdf_bytes(made.result()))
    assert max(np.ptp(loop[:, 0]) for loop in found["CHECK"]) == pytest.approx(100, abs=1e-4)


def test_layers_are_optional_content_and_all_on():
    with pikepdf.open(io.BytesIO(pdf_bytes(made.result()))) as pdf:
        names = [str(group.Name) for group in pdf.Root.OCProperties.OCGs]
        assert names == ["OUTLINE", "POCKET", "PRINT", "CHECK", "TEXT"]
        assert len(pdf.Root.OCProperties.D.ON) == 5
        marks = [str(operands[1]) for operands, operator in pikepdf.parse_content_stream(pdf.pages[0])
                 if str(operator) == "BDC"]  # fmt: skip
        assert marks == ["/" + name for name in names]
        assert pdf.Root.ViewerPreferences.PrintScaling == "/None"
        assert str(pdf.docinfo.Title) == "Outline of lantern row 7.png"
        assert {"/CreationDate", "/ModDate"}.isdisjoint(pdf.docinfo.keys())
        assert pdf.check_pdf_syntax() == []


def test_a_layer_that_is_switched_off_is_not_drawn():
    data = pdf_bytes(made.result())
    with pikepdf.open(io.BytesIO(data)) as pdf:
        pdf.Root.OCProperties.D.ON = pikepdf.Array([])
        pdf.Root.OCProperties.D.OFF = pikepdf.Array(list(pdf.Root.OCProperties.OCGs))
        stream = io.BytesIO()
        pdf.save(stream)
    darkest = []
    for version in (data, stream.getvalue()):
        document = pypdfium2.PdfDocument(version)
        darkest.append(int(document[0].render(scale=1).to_numpy().min()))
        document.close()
    assert darkest[0] < 200
    assert darkest[1] == 255


def test_words_on_the_page():
    document = pypdfium2.PdfDocument(pdf_bytes(made.result(source_name="Schlüssel (7) \\ 鍵 Ключ ก.png")))
    page = document[0]
    text_page = page.get_textpage()
    words = " ".join(text_page.get_text_bounded().split())
    for part in (
        "Outline of Schlüssel (7) \\ 鍵 Ключ [U+0E01].png",
        "Measure before cutting: this bar must be 100.0 mm",
        "never PVC or vinyl",
        "60.00 x 40.00 mm ±0.030 (k = 2)",
        "path +0.110 mm",
    ):
        assert part in words
    width, _ = page.get_size()
    for number in range(text_page.count_rects()):
        assert text_page.get_rect(number)[2] <= width
    text_page.close()
    document.close()


@pytest.mark.parametrize("radius", [0.1, 6, 25, 300, 2000])
@pytest.mark.parametrize("bulge", [0.01, made.QUARTER, 1.0, 2.5, -0.7])
def test_beziers_stay_within_a_ten_thousandth_of_a_millimetre(radius, bulge):
    angle = 4 * np.arctan(bulge)
    ends = [(radius, 0.0), (radius * np.cos(angle), radius * np.sin(angle))]
    whole = Piece(*ends, bulge)
    assert whole.centre == pytest.approx((0, 0), abs=1e-9 * radius)
    start, turned = whole.start, 0.0
    for first, second, end in whole.beziers(within_mm=1e-4):
        points = bezier([np.array(p) for p in (start, first, second, end)], count=200)
        start = end
        assert np.abs(np.hypot(*points.T) - radius).max() <= 1.0e-4
        around = np.unwrap(np.arctan2(points[:, 1], points[:, 0]))
        turned += around[-1] - around[0]
    assert turned == pytest.approx(angle, abs=1e-9)


def test_a_large_circle_is_true():
    item = replace(made.fob(), path=Circle((400.0, 400.0), 400.0), width_mm=800.0, height_mm=800.0)
    (_, height), found = drawn(pdf_bytes(made.result(item)))
    (loop,) = found["OUTLINE"]
    off = np.abs(np.hypot(*(loop - (410, height - 410)).T) - 400)
    assert off.max() <= 0.001


def test_a_page_beyond_what_readers_accept_is_refused():
    item = replace(made.fob(), path=Path(made.ring([(0, 0), (6000, 0), (0, 100)]), made.ring([0, 0, 0])))
    with pytest.raises(WriteError, match=r"at most 5080 mm.*--separate"):
        pdf_bytes(made.result(item))


def test_the_mark_holds():
    data = pdf_bytes(made.result())
    assert is_sealed(data)
    assert not is_sealed(data.replace(b"MediaBox", b"mediaBox"))


def steps_of(data):
    with pikepdf.open(io.BytesIO(data)) as pdf:
        return {
            str(group.Name): {key: str(value) for key, value in group.GTS_Metadata.items()}
            for group in pdf.Root.OCProperties.OCGs
            if "/GTS_Metadata" in group
        }


def test_layers_that_are_no_artwork_say_so():
    # Key names and values: PDF Association, Arlington PDF model, GTS_ProcStepsGroup (ISO 19593-1, tables 2 and 3):
    # the group is a name and required; Structural needs a type, Legend has none. CIP4 XJDF, OCGControl: the keys stand
    # in the dictionary GTS_Metadata of the optional content group.
    cutting = {"/GTS_ProcStepsGroup": "/Structural", "/GTS_ProcStepsType": "/Cutting"}
    legend = {"/GTS_ProcStepsGroup": "/Legend"}
    assert steps_of(pdf_bytes(made.result())) == {"POCKET": cutting, "TEXT": legend}
    assert steps_of(pdf_bytes(made.result(made.fob()))) == {"TEXT": legend}


@pytest.mark.parametrize(("way", "cut"), [("laser", True), ("knife", True), ("former", False), ("print3d", False)])
def test_a_former_s_foot_is_no_path_to_cut(way, cut):
    item = made.tag()
    data = pdf_bytes(made.result(replace(item, pocket=replace(item.pocket, way=way))))
    assert ("POCKET" in steps_of(data)) is cut


@pytest.mark.parametrize("name", ["fob.png", "Schlüssel (1) \\ é", "ελ 漢字", ""])
@pytest.mark.parametrize("printed", [True, False])
def test_a_file_is_what_pikepdf_writes_of_the_same_objects(name, printed, monkeypatch):
    monkeypatch.setattr(pdf_module, "seal", lambda data: data)
    sheet = compose(made.result(made.fob()))
    pages = [pdf_module.Page(sheet, sheet.box.grown(5)), pdf_module.Page(sheet, sheet.box.grown(7.3))]
    ours, plain, again = pdf_module.pages_pdf(name, pages, cut=True, printed=printed), io.BytesIO(), io.BytesIO()
    options = {"deterministic_id": True, "object_stream_mode": pikepdf.ObjectStreamMode.disable}
    with pikepdf.open(io.BytesIO(ours)) as pdf:
        assert str(pdf.docinfo["/Title"]) == name
        pdf.save(plain, compress_streams=False, stream_decode_level=pikepdf.StreamDecodeLevel.generalized, **options)
    with pikepdf.open(plain) as pdf:
        del pdf.trailer["/ID"]
        pdf.save(again, **options)
    assert again.getvalue() == ours
