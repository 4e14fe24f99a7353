"""How drawings are drawn: lines, areas, text, unit, entities, zero; each read back by a library of others."""

import io
import math
from dataclasses import replace
from xml.etree import ElementTree

import numpy as np
import pikepdf
import pypdfium2
import pytest

from digitize.cli.table import report_lines
from digitize.errors import UsageError
from digitize.records import Calipers, OpenPath
from digitize.run import Output, Report
from digitize.write.look import Look
from digitize.write.sheet import LAYERS, compose
from tests import made
from tests.test_write_dxf import loops, read_back
from tests.written import dxf_bytes, pdf_bytes, svg_bytes

SVG = "{http://www.w3.org/2000/svg}"
INCHES = {"units": "inch"}


def groups(data):
    return {group.get("id"): group for group in ElementTree.fromstring(data).findall(SVG + "g")}


def widths_of_pdf(data):
    """The widths that are set, by layer."""
    found, layer = {}, None
    with pikepdf.open(io.BytesIO(data)) as pdf:
        for operands, operator in pikepdf.parse_content_stream(pdf.pages[0]):
            layer = str(operands[1])[1:] if str(operator) == "BDC" else layer
            if str(operator) == "w":
                found[layer] = float(operands[0])
    return found


@pytest.mark.parametrize(("said", "wide"), [("hairline", 0.025), (0.3, 0.3)])
def test_lines_of_what_is_drawn_have_the_width_said_and_no_others(said, wide):
    output = Output.of({"stroke": said})
    svg = {
        name: float(group.get("stroke-width"))
        for name, group in groups(svg_bytes(made.result(), look=output.look)).items()
    }
    pdf = widths_of_pdf(pdf_bytes(made.result(), look=output.look))
    assert svg == pdf
    for name in svg:
        drawn = name in ("OUTLINE", "POCKET", "PRINT")
        assert svg[name] == pytest.approx(wide if drawn else LAYERS[name].line_mm)
    assert wide < 0.0254 or said != "hairline"  # 0.001 inch


def inked(data, colour):
    """Area of a colour on a page by PDFium, mm2."""
    document = pypdfium2.PdfDocument(data)
    scale = 10 * 25.4 / 72  # px a point: 10 px a mm
    pixels = document[0].render(scale=scale, may_draw_forms=False, rev_byteorder=True).to_numpy()[..., :3]
    document.close()
    return np.count_nonzero(np.abs(pixels.astype(int) - colour).max(axis=2) < 40) / 100


def test_filled_areas_are_as_large_as_the_item_with_its_hole_open():
    item = made.tag(name="", pocket=False)
    data = pdf_bytes(made.result(item), look=Look(filled=True))
    assert inked(data, LAYERS["OUTLINE"].rgb) == pytest.approx(item.area_mm2, rel=2e-3)
    svg = svg_bytes(made.result(item), look=Look(filled=True))
    (path,) = groups(svg)["OUTLINE"].findall(SVG + "path")
    assert (path.get("fill-rule"), path.get("stroke")) == ("evenodd", "none")
    assert path.get("d").count("M") == 2


def test_filled_leads_stay_lines_and_smaller_areas_lie_on_larger_ones():
    item = made.tag()
    lead = OpenPath(made.ring([(-3.0, 5.0), (-0.11, 6.0)]), made.ring([0.2]))
    result = made.result(replace(item, pocket=replace(item.pocket, leads=(lead,))))
    found = groups(svg_bytes(result, look=Look(filled=True)))
    assert list(found)[:3] == ["PRINT", "POCKET", "OUTLINE"]  # 62, 60.22 and 60 mm wide
    assert [path.get("fill") for path in found["POCKET"].findall(SVG + "path")] == [LAYERS["POCKET"].hex, None]
    assert inked(pdf_bytes(result, look=Look(filled=True)), LAYERS["OUTLINE"].rgb) > 0.9 * item.area_mm2


def test_without_notes_no_text_is_drawn_and_the_rest_is_the_same():
    plain, bare = dxf_bytes(made.result()), dxf_bytes(made.result(), look=Look(notes="off"))
    assert len(read_back(plain).modelspace().query("TEXT")) > 10
    assert len(read_back(bare).modelspace().query("TEXT")) == 0
    made.assert_shapes(loops(read_back(bare)))
    svg = svg_bytes(made.result(), look=Look(notes="off"))
    assert "TEXT" not in groups(svg)
    assert b"<text" not in svg
    assert b"never PVC or vinyl" in svg  # the description keeps the cautions
    assert pdf_bytes(made.result(), look=Look(notes="off")) == pdf_bytes(made.result())  # a page is for people


@pytest.mark.parametrize("version", ["r12", "r2000", "r2010"])
def test_inches(version):
    # $INSUNITS 1 = inches, $MEASUREMENT 0 = imperial: Autodesk DXF Reference, HEADER section. 1 inch is 25.4 mm.
    document = read_back(dxf_bytes(made.result(options=INCHES), version=version))
    if version != "r12":
        assert document.header["$INSUNITS"] == 1
        assert document.header["$MEASUREMENT"] == 0
    found = {layer: [loop * 25.4 for loop in some] for layer, some in loops(document).items()}
    made.assert_shapes(found)
    bar = max(e.dxf.start.distance(e.dxf.end) for e in document.modelspace().query("LINE"))
    assert bar == pytest.approx(100 / 25.4, abs=1e-6)
    words = " ".join(text.dxf.text for text in document.modelspace().query("TEXT"))
    for part in ("Open in inches", "100.0 mm (3.937 in)", "2.3622 x 1.5748 in"):  # 60 x 40 mm
        assert part in words
    assert {round(text.dxf.height * 25.4, 4) for text in document.modelspace().query("TEXT")} == {1.8, 2.5}


def test_inches_stand_beside_mm_on_the_screen():
    item = replace(made.tag(), calipers=Calipers(60.0, 40.0, 0.0, 0.03, 0.02))
    rows = report_lines(Report(made.result(item, options=INCHES), ()))
    (row,) = [row for row in rows if row.split()[:1] == ["tag-1"] and "Cut" not in row]
    assert "60.000 x 40.000  2.3622 x 1.5748  60.000 x 40.000" in row
    assert "in inches" in rows[1]
    assert not [row for row in report_lines(Report(made.result(item), ())) if "inch" in row]


def chained(entities):
    """Closed loops out of lines and arcs that follow one another."""
    found, run = [], []
    for entity in entities:
        part = [entity.dxf.start, entity.dxf.end] if entity.dxftype() == "LINE" else list(entity.flattening(1e-7))
        points = np.array([(p.x, p.y) for p in part])
        if run and np.hypot(*(points[-1] - run[-1])) < np.hypot(*(points[0] - run[-1])):
            points = points[::-1]  # an ARC always runs counter-clockwise
        assert not run or np.hypot(*(points[0] - run[-1])) < 2e-6
        run += list(points)
        if np.hypot(*(run[-1] - run[0])) < 2e-6:
            found.append(np.array(run[:-1]))
            run = []
    assert run == []
    return found


@pytest.mark.parametrize("version", ["r12", "r2010"])
def test_lines_and_arcs_by_themselves(version):
    document = read_back(dxf_bytes(made.result(), version=version, look=Look(dxf_entities="lines-and-arcs")))
    space = document.modelspace()
    assert len(space.query("LWPOLYLINE POLYLINE")) == 0
    found = {layer: chained(space.query(f'LINE ARC[layer=="{layer}"]')) for layer in made.DRAWN}
    for circle in space.query("CIRCLE"):
        points = [(p.x, p.y) for p in circle.flattening(1e-7)][:-1]
        found[circle.dxf.layer].append(np.array(points))
    made.assert_shapes(found)
    assert not document.audit().errors


# the box around tag and fob is 125 x 40 mm: the fob begins at 75, 5 and is 50 x 20 mm
@pytest.mark.parametrize(
    ("origin", "low"),
    [
        ("lower-left", (0, 0)),
        ("lower-right", (-125, 0)),
        ("upper-left", (0, -40)),
        ("upper-right", (-125, -40)),
        ("centre", (-62.5, -20)),
    ],
)
def test_zero_lies_where_it_is_said(origin, low):
    look = Look(origin=origin)
    document = read_back(dxf_bytes(made.result(), look=look))
    outline = np.concatenate(loops(document)["OUTLINE"])
    assert outline.min(axis=0) == pytest.approx(low, abs=1e-6)
    sheet = compose(made.result(), look=look)
    words = "centre of" if origin == "centre" else f"{origin.replace('-', ' ')} corner of"
    assert f"Zero: {words} the items' box" in " ".join(sheet.notes)
    bar = max(sheet.lines, key=lambda line: math.dist(*line[1:]))
    assert bar[1][0] == pytest.approx(low[0])  # below the items as ever
    svg = ElementTree.fromstring(svg_bytes(made.result(), look=look)).find(SVG + "desc").text
    assert f"Zero of the sheet at x = {5 + 1 - low[0]:g}, y = {5 + 41 + low[1]:g} of this page" in svg


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ({"stroke": 9}, "--stroke 9: expected 0.01 to 5 mm"),
        ({"notes": "no"}, "--notes no: choose from on, off"),
        ({"dxf_entities": "splines"}, "--dxf-entities splines: choose from polylines, lines-and-arcs"),
        ({"origin": "top"}, "--origin top: choose from lower-left"),
    ],
)
def test_what_cannot_be_meant_is_refused(said, words):
    with pytest.raises(UsageError, match=words):
        Output.of(said)


def test_every_text_is_seen_in_its_own_font():
    data = pdf_bytes(made.result(made.tag(name="鍵 Ключ ă")))
    with pikepdf.open(io.BytesIO(data)) as pdf:
        fonts = pdf.pages[0].Resources.Font
        for one in fonts.values():
            (inner,) = one.DescendantFonts
            assert "/FontFile2" in inner.FontDescriptor
            assert str(one.BaseFont)[7:8] == "+"
        assert sorted(str(one.BaseFont)[8:] for one in fonts.values()) == ["DejaVuSansCondensed", "DroidSansFallback"]
