"""Templates: print areas are the items of the cut drawing, artwork lands on them, guides stay off paper."""

import io
import math
import re

import cairosvg
import numpy as np
import pikepdf
import pymupdf
import pypdfium2
import pytest
import pyvips
import resvg_py
import shapely
from PIL import Image
from typer.testing import CliRunner

from digitize.cli.commands import app
from digitize.document.document import document_bytes
from digitize.document.plate import plate_bytes
from digitize.plate.artwork import art_place
from digitize.seal import mark_in
from digitize.write.artwork.read import read_art
from digitize.write.plate.files import plate_files
from digitize.write.plate.template import template_files
from tests import made
from tests.plates import disc, kind, tag
from tests.test_plate_files import plate_of
from tests.test_write_dxf import loops as dxf_loops
from tests.test_write_dxf import read_back
from tests.test_write_pdf import drawn as pdf_drawn
from tests.test_write_svg import parsed, points_on

BED = (230.0, 200.0)
PX_PER_MM = 8
RED, BLUE = (255, 0, 0), (0, 0, 255)
# 66 x 46 mm, 3 mm over the tag all round: blue, a red square of 8 mm 8 mm right of and below its upper left corner
SVG_ART = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="66mm" height="46mm" viewBox="0 0 660 460">'
    '<rect width="660" height="460" fill="#00f"/><rect id="m" x="80" y="80" width="80" height="80" fill="#f00"/></svg>'
)
RED_FROM_MIDDLE = (-33 + 12, 23 - 12)


def tags(**asked):
    return plate_of(kind(tag()), **{"bed_mm": BED, "rows": 3, "columns": 2, "turn_every_second": True, **asked})


def template_of(plate, **asked):
    only = asked.pop("only", range(1, len(plate.places) + 1))
    return template_files(plate, mark_in(plate_bytes(plate)), only=only, **asked)


def iou(a, b):
    return shapely.area(shapely.intersection(a, b)) / shapely.area(shapely.union(a, b))


def areas(loops):
    """Outer loops with the loops in them taken out, from left to right and top to bottom."""
    shapes = sorted((shapely.Polygon(loop) for loop in loops), key=lambda one: -one.area)
    outer = [one for one in shapes if one.area > 100]
    return [one.difference(shapely.union_all([s for s in shapes if s.area < 100 and one.contains(s)])) for one in outer]


def matched(a, b):
    """Least intersection over union of each with its nearest."""
    tree = shapely.STRtree([one.centroid for one in b])
    return min(iou(one, b[int(tree.nearest(one.centroid))]) for one in a)


@pytest.mark.parametrize(("zero", "turn"), [("top-left", 10.0), ("bottom-right", 0.0)])
def test_print_areas_are_the_items_of_the_cut_drawing(zero, turn):
    """In every format by itself, and from format to format; read back by ezdxf, svgelements and PDFium."""
    plate = tags(zero=zero, turn_deg=turn)
    cut, template = plate_files(plate, "0" * 16), template_of(plate).files
    in_dxf = areas(dxf_loops(read_back(cut["cut.dxf"]))["OUTLINE"])
    assert len(in_dxf) == 6
    assert matched(in_dxf, areas(dxf_loops(read_back(template["template.dxf"]))["PRINT"])) > 1 - 1e-6

    size, found = pdf_drawn(template["template.pdf"])
    assert size == pytest.approx(BED, abs=1e-3)
    corner = np.array([0.0 if zero.endswith("left") else BED[0], 0.0 if zero.startswith("bottom") else BED[1]])
    in_template = areas([loop - corner for loop in found["PRINT"]])
    size, found = pdf_drawn(cut["cut.pdf"])
    page = np.array([0.0 if zero.endswith("left") else size[0], 0.0 if zero.startswith("bottom") else size[1]])
    assert matched(areas([loop - page for loop in found["OUTLINE"]]), in_template) > 1 - 1e-6
    # an arc of the DXF and its Béziers lie up to 0.1 um apart: 2 in a million of this area
    assert matched(in_dxf, in_template) > 1 - 2e-6

    in_svg = areas([loop + np.array([0.0, BED[1]]) - corner for loop in svg_print_areas(template["template.svg"])])
    assert matched(in_dxf, in_svg) > 1 - 1e-6


def svg_print_areas(data):
    drawing = parsed(data)
    factor = BED[0] / drawing.width  # svgelements takes a millimetre for 0.0393701 inches, half a millionth more
    shapes = [shape for group in drawing if group.values.get("id") == "PRINT" for shape in group]
    return [points_on(one) * (factor, -factor) for one in shapes if type(one).__name__ in ("Path", "Circle")]


def test_a_print_area_of_its_own_is_taken_as_it_is():
    """The tag with a bleed of 1 mm: 62 x 42 mm, corners of 7."""
    plate = plate_of(kind(made.tag()), bed_mm=BED, rows=1, columns=1)
    (loop,) = dxf_loops(read_back(template_of(plate).files["template.dxf"]))["PRINT"]
    assert np.ptp(loop, axis=0) == pytest.approx((62, 42), abs=1e-6)


# --- artwork ---------------------------------------------------------------------------------------------------------


def png_art():
    image = Image.new("RGB", (660, 460), BLUE)
    image.paste(RED, (80, 80, 160, 160))
    stream = io.BytesIO()
    image.save(stream, "PNG", dpi=(254, 254))
    return stream.getvalue()


def pdf_art():
    pdf = pikepdf.new()
    pdf.add_blank_page(page_size=(66 / 25.4 * 72, 46 / 25.4 * 72))
    mm = 72 / 25.4
    words = f"{mm} 0 0 {mm} 0 0 cm 0 0 1 rg 0 0 66 46 re f 1 0 0 rg 8 30 8 8 re f"
    pdf.pages[0].Contents = pdf.make_stream(words.encode())
    stream = io.BytesIO()
    pdf.save(stream)
    return stream.getvalue()


ART = {"art.svg": SVG_ART.encode(), "art.png": png_art(), "art.pdf": pdf_art()}


def by_pdfium(data):
    document = pypdfium2.PdfDocument(data)
    picture = document[0].render(scale=PX_PER_MM * 25.4 / 72).to_numpy()[:, :, 2::-1]
    document.close()
    return picture


def by_mupdf(data):
    with pymupdf.open(stream=data, filetype="pdf") as document:
        pixmap = document[0].get_pixmap(dpi=round(PX_PER_MM * 25.4), alpha=False)
        return np.frombuffer(pixmap.samples, np.uint8).reshape(pixmap.height, pixmap.width, 3)


def by_librsvg(data):
    return pyvips.Image.svgload_buffer(data, scale=PX_PER_MM * 25.4 / 72).flatten(background=255).numpy()[:, :, :3]


def by_resvg(data):
    return on_white(bytes(resvg_py.svg_to_bytes(svg_string=in_pixels(data), skip_system_fonts=True)))


def by_cairo(data):
    return on_white(cairosvg.svg2png(bytestring=in_pixels(data).encode()))


def in_pixels(data):
    """The same SVG, its size in pixels."""
    size = (f'{key}="{mm * PX_PER_MM:g}"' for key, mm in zip(("width", "height"), BED, strict=True))
    return data.decode().replace(f'width="{BED[0]:g}mm" height="{BED[1]:g}mm"', " ".join(size), 1)


def on_white(png):
    picture = Image.open(io.BytesIO(png)).convert("RGBA")
    return np.asarray(Image.alpha_composite(Image.new("RGBA", picture.size, "white"), picture))[:, :, :3]


def rendered(name, data):
    """Pixels of a template, by PDFium or by librsvg."""
    return (by_pdfium if name.endswith("pdf") else by_librsvg)(data)


def colour_at(picture, x_mm, y_mm):
    """Colour on the bed, mm, y up."""
    row, column = int((BED[1] - y_mm) * PX_PER_MM), int(x_mm * PX_PER_MM)
    return tuple(int(v) for v in picture[row, column])


def near(colour, expected):
    return max(abs(a - b) for a, b in zip(colour, expected, strict=True)) <= 12


@pytest.mark.parametrize(
    ("art", "reader"),
    [
        ("art.svg", by_librsvg),
        ("art.svg", by_resvg),
        ("art.svg", by_cairo),
        ("art.png", by_librsvg),
        ("art.png", by_resvg),
        ("art.png", by_pdfium),
        ("art.png", by_mupdf),
        ("art.pdf", by_pdfium),
        ("art.pdf", by_mupdf),
    ],
)
def test_artwork_lands_at_every_place_and_turn(art, reader, tmp_path):
    plate = tags(turn_deg=10.0)
    (tmp_path / "plate.json").write_bytes(plate_bytes(plate))
    (tmp_path / art).write_bytes(ART[art])
    done = run(tmp_path / "plate.json", "--artwork", tmp_path / art, "--only", "1-5", "--no-guides", "--to", tmp_path)
    assert done.exit_code == 0, done.output
    ending = "pdf" if reader in (by_pdfium, by_mupdf) else "svg"
    picture = reader((tmp_path / f"plate.template.{ending}").read_bytes())
    for number, place in enumerate(plate.places, 1):
        turn = math.radians(place.turn_deg)

        def at(dx, dy, turn=turn, place=place):
            x = place.x_mm + math.cos(turn) * dx - math.sin(turn) * dy
            return colour_at(picture, x, place.y_mm + math.sin(turn) * dx + math.cos(turn) * dy)

        if number == 6:
            assert near(at(0, 0), (255, 255, 255))
            continue
        assert near(at(*RED_FROM_MIDDLE), RED)
        for side in ((4.6, 0), (-4.6, 0), (0, 4.6), (0, -4.6)):  # just outside the square
            assert near(at(RED_FROM_MIDDLE[0] + side[0], RED_FROM_MIDDLE[1] + side[1]), BLUE)
        assert near(at(29.5, 0), BLUE)
        assert near(at(30.5, 0), (255, 255, 255))  # the item ends at 30, the artwork at 33
        assert near(at(8 - 30, 0), (255, 255, 255))  # its hole of 5 mm, 8 mm from its end
        assert near(at(8 - 30 + 3, 0), BLUE)


def test_vector_stays_vector_and_colours_stay():
    plate = tags()
    made_of = {name: template_of(plate, arts={"tag-1": read_art(name, data)}) for name, data in ART.items()}
    svg = made_of["art.svg"].files["template.svg"].decode()
    assert svg.count("<symbol") == 1
    assert len(re.findall(r"<use [^>]*#digitize-artwork-1", svg)) == 6
    assert 'fill="#f00"' in svg
    assert "<image" not in svg
    assert set(made_of["art.svg"].left_out) == {"dxf", "pdf"}
    with (
        pikepdf.open(io.BytesIO(made_of["art.pdf"].files["template.pdf"])) as pdf,
        pikepdf.open(io.BytesIO(ART["art.pdf"])) as source,
    ):
        form = pdf.pages[0].Resources.XObject.Art1
        assert form.Subtype == "/Form"
        assert form.read_bytes().split() == source.pages[0].Contents.read_bytes().split()
        drawn = [op for op in pikepdf.parse_content_stream(pdf.pages[0]) if str(op.operator) == "Do"]
        assert len(drawn) == 6
        assert pdf.check_pdf_syntax() == []


def test_a_jpeg_is_stored_as_it_is():
    stream = io.BytesIO()
    Image.open(io.BytesIO(ART["art.png"])).convert("CMYK").save(stream, "JPEG", dpi=(254, 254))
    files = template_of(tags(), arts={"tag-1": read_art("art.jpg", stream.getvalue())}).files
    with pikepdf.open(io.BytesIO(files["template.pdf"])) as pdf:
        image = pdf.pages[0].Resources.XObject.Art1
        assert image.read_raw_bytes() == stream.getvalue()
        assert image.ColorSpace == "/DeviceCMYK"
    red, green, blue = colour_at(rendered("t.pdf", files["template.pdf"]), 40.2 + 10, 200 - 30.2)
    assert blue > max(red, green) + 60  # the complement, a yellow, if its inks were taken the other way round


def test_clear_parts_of_a_picture_stay_clear():
    image = Image.new("RGBA", (660, 460), (0, 0, 0, 0))
    image.paste((255, 0, 0, 255), (330, 0, 660, 460))
    stream = io.BytesIO()
    image.save(stream, "PNG", dpi=(254, 254))
    plate = tags(turn_every_second=False)
    files = template_of(plate, arts={"tag-1": read_art("a.png", stream.getvalue())}, guides=False).files
    for name in ("template.pdf", "template.svg"):
        picture = rendered(name, files[name])
        assert near(colour_at(picture, 40.2 + 10, 200 - 30.2), RED)
        assert near(colour_at(picture, 40.2 - 10, 200 - 30.2), (255, 255, 255))


def test_guides_are_on_screen_and_not_on_paper():
    """PDFium applies the usage dictionaries of layers when it is told that it prints."""
    data = template_of(tags()).files["template.pdf"]
    document = pypdfium2.PdfDocument(data)
    shown = document[0].render(scale=2).to_numpy()
    printed = document[0].render(scale=2, optimize_mode="print").to_numpy()
    document.close()
    assert shown.min() < 200
    assert printed.min() == 255
    svg = template_of(tags()).files["template.svg"].decode()
    assert "@media print { .digitize-guide { display: none } }" in svg
    assert svg.count('class="digitize-guide"') == svg.count("<g id=")


def test_artwork_at_its_size_covering_and_inside():
    """The tag is 60 x 40 mm: a square of 30 covers it at 60, lies inside at 40, and bares 15 mm at its own size."""
    one = kind(tag())
    at, (small,) = art_place(one, 30.0, 30.0, "size", artwork="a.svg")
    assert (at.width, at.left, at.bottom) == (30.0, pytest.approx(-15.0), pytest.approx(-15.0))
    assert (small.code, small.value) == ("artwork-small", pytest.approx(15.0, abs=1e-3))
    at, said = art_place(one, 30.0, 30.0, "cover", artwork="a.svg")
    assert (at.width, at.height, said) == (pytest.approx(60.0, abs=1e-3), pytest.approx(60.0, abs=1e-3), ())
    at, said = art_place(one, 30.0, 30.0, "inside", artwork="a.svg")
    assert (at.width, at.height, said) == (pytest.approx(40.0, abs=1e-3), pytest.approx(40.0, abs=1e-3), ())


# --- the command -----------------------------------------------------------------------------------------------------


def run(*words):
    return CliRunner().invoke(app, ["template", *map(str, words)])


@pytest.fixture
def document(tmp_path):
    path = tmp_path / "plate.json"
    path.write_bytes(plate_bytes(plate_of(kind(tag()), kind(disc(30.0)), bed_mm=BED, rows=2, columns=1)))
    return path


def test_artwork_of_its_own_for_each_kind(document, tmp_path):
    for name in ("a.svg", "b.svg"):
        (tmp_path / name).write_text(SVG_ART.replace('id="m"', f'id="{name[0]}"'))
    out = tmp_path / "out"
    words = ["--artwork", f"tag-1={tmp_path / 'a.svg'}", "--artwork", f"disc={tmp_path / 'b.svg'}", "--format", "svg"]
    done = run(document, *words, "--to", out)
    assert done.exit_code == 0, done.output
    assert "strikes the head" in done.output
    text = (out / "plate.template.svg").read_text()
    assert text.count("<symbol") == 2
    assert len(re.findall("<use [^>]*#digitize-artwork-2", text)) == 2


def art(name, data):
    return name, data if isinstance(data, bytes) else data.encode()


def two_pages():
    pdf = pikepdf.new()
    pdf.add_blank_page()
    pdf.add_blank_page()
    stream = io.BytesIO()
    pdf.save(stream)
    return stream.getvalue()


def locked():
    stream = io.BytesIO()
    with pikepdf.open(io.BytesIO(ART["art.pdf"])) as pdf:
        pdf.save(stream, encryption=pikepdf.Encryption(owner="o", user="u"))
    return stream.getvalue()


def hidden_layer():
    stream = io.BytesIO()
    with pikepdf.open(io.BytesIO(ART["art.pdf"])) as pdf:
        layer = pdf.make_indirect(pikepdf.Dictionary(Type=pikepdf.Name.OCG, Name="draft"))
        off = pikepdf.Dictionary(OFF=pikepdf.Array([layer]))
        pdf.Root.OCProperties = pikepdf.Dictionary(OCGs=pikepdf.Array([layer]), D=off)
        pdf.save(stream)
    return stream.getvalue()


def without_density():
    stream = io.BytesIO()
    Image.new("RGB", (60, 40)).save(stream, "PNG")
    return stream.getvalue()


@pytest.mark.parametrize(
    ("name", "data", "said"),
    [
        (*art("a.txt", "hello"), "no artwork that can be placed"),
        (*art("a.png", ART["art.png"][:400]), "cannot be read"),
        (*art("a.pdf", b"%PDF-1.4 nothing"), "cannot be read"),
        (*art("a.pdf", two_pages()), "2 pages"),
        (*art("a.pdf", locked()), "password"),
        (*art("a.pdf", hidden_layer()), "hidden layers"),
        (*art("a.png", without_density()), "--fit cover"),
        (*art("a.svg", SVG_ART[:-6]), "well-formed"),
        (*art("a.svg", SVG_ART.replace("<rect ", "<script>x</script><rect ", 1)), "script"),
        (*art("a.svg", SVG_ART.replace("<rect ", '<rect onclick="x" ', 1)), "script"),
        (*art("a.svg", SVG_ART.replace("<rect ", '<image href="logo.png"/><rect ', 1)), "logo.png"),
        (*art("a.svg", SVG_ART.replace("#00f", "url(other.svg#a)")), "another file"),
        (*art("a.svg", '<!DOCTYPE svg [<!ENTITY a "b">]>' + SVG_ART), "entities"),
        (*art("a.svg", SVG_ART.replace('width="66mm"', 'width="100%"')), "does not tell its width"),
    ],
)
def test_artwork_that_cannot_be_used_is_refused_and_nothing_written(document, tmp_path, name, data, said):
    path, out = tmp_path / name, tmp_path / "out"
    path.write_bytes(data)
    done = run(document, "--artwork", path, "--to", out)
    assert done.exit_code == 2, done.output
    assert said in " ".join(done.output.split())
    assert "Traceback" not in done.output
    assert not out.exists()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--only", "3,9"], "--only 9: the plate has 4 pockets"),
        (["--only", "5-3"], "such as 3,5-8"),
        (["--artwork", "none.svg"], "cannot be read"),
        (["--no-guides"], "say --artwork"),
        (["--fit", "stretch"], "choose from size, cover, inside"),
    ],
)
def test_what_cannot_be_meant_is_refused(document, tmp_path, words, said):
    out = tmp_path / "out"
    done = run(document, *words, "--to", out)
    assert done.exit_code == 2, done.output
    assert said in " ".join(done.output.split())
    assert not out.exists()


def test_a_plate_that_was_edited_is_checked_again(document, tmp_path):
    text = document.read_text()
    x = float(re.search(r'"x_mm": ([\d.]+)', text)[1])
    document.write_text(text.replace(f'"x_mm": {x}', f'"x_mm": {x - 20}', 1))
    done = run(document, "--to", tmp_path / "out")
    assert done.exit_code == 2
    assert "over the left edge" in done.output
    assert not (tmp_path / "out").exists()


def test_an_outline_is_no_plate(tmp_path):
    path = tmp_path / "tag.json"
    path.write_bytes(document_bytes(made.result(tag())))
    done = run(path, "--to", tmp_path / "out")
    assert done.exit_code == 2
    assert "no plate document" in done.output
    assert "plate.json that digitize plate wrote" in " ".join(done.output.split())


def test_svgs_that_would_change_one_another_are_refused(document, tmp_path):
    for name in ("a.svg", "b.svg"):
        (tmp_path / name).write_text(SVG_ART)
    words = ["--artwork", f"tag-1={tmp_path / 'a.svg'}", "--artwork", f"disc={tmp_path / 'b.svg'}"]
    done = run(document, *words, "--to", tmp_path / "out")
    assert done.exit_code == 2
    assert "the id m in common" in " ".join(done.output.split())
