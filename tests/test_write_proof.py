"""The proof, read back by PDFium and MuPDF: bars, drawing, sheets laid together by their marks, words."""

import functools
import io
import math
from dataclasses import replace

import numpy as np
import pikepdf
import pymupdf
import pypdfium2
import pytest
import shapely

from digitize.records import Circle, Pocket
from digitize.seal import is_sealed
from digitize.write.paths import Box
from digitize.write.proof.pages import proof_bytes
from digitize.write.proof.tiles import tiling
from tests import made
from tests.near import distances
from tests.readers import COLOURS, POINT_MM
from tests.test_write_pdf import drawn as by_pdfium
from tests.written import pdf_bytes

GREY = "#6f6f6f"
A4, LETTER = (210, 297), (215.9, 279.4)  # ISO 216; 8.5 x 11 inch
DIGEST = "5e" * 32
GREAT = 430.0, 300.0, 40.0  # width, height, corner radius


def great():
    """A plate that no sheet holds, with a hole near one corner."""
    wide, high, radius = GREAT
    ring = made.rounded_ring(wide, high, radius)
    cut = Pocket((made.rounded(wide + 0.22, high + 0.22, radius + 0.11, at=(-0.11, -0.11)),), (), 0.2, 0.18)
    item = replace(
        made.tag(),
        exterior_mm=ring,
        path=made.rounded(wide, high, radius),
        holes_mm=(made.circle_ring(380, 270, 5, clockwise=True),),
        hole_paths=(Circle((380.0, 270.0), 5.0),),
        width_mm=wide,
        height_mm=high,
        pocket=cut,
        print_area=(),
    )
    return made.result(item)


@functools.cache
def proof(which="small", paper="a4"):
    result = {"small": made.result, "great": great}[which]()
    return proof_bytes(result, name="row-7", paper=paper)


def strokes(page, colour):
    """What MuPDF sees drawn in a colour on a page: paths as dense points in mm, y up."""
    rgb = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    found = []
    for one in page.get_drawings():
        if one["color"] is not None and np.allclose(one["color"], rgb, atol=2e-3):
            points = np.array([p for part in one["items"] for p in dense(part)])
            found.append(np.array([0, page.rect.height * POINT_MM]) + points * POINT_MM * (1, -1))
    return found


def dense(part):
    kind, *points = part
    if kind == "re":
        raise AssertionError("no rectangle is drawn as such")
    p = np.array([(at.x, at.y) for at in points])
    if kind == "l":
        return p
    t = np.linspace(0, 1, 30)[:, None]
    return (1 - t) ** 3 * p[0] + 3 * t * (1 - t) ** 2 * p[1] + 3 * t**2 * (1 - t) * p[2] + t**3 * p[3]


def is_tick(line, across):
    span = np.ptp(line, axis=0)
    return span[across] == pytest.approx(5, abs=1e-3) and span[1 - across] < 1e-6


def words_of(data):
    with pymupdf.open(stream=data) as document:
        return [" ".join(page.get_text().split()) for page in document]


@pytest.mark.parametrize(("which", "paper"), [("small", "a4"), ("small", "letter"), ("great", "a4")])
def test_every_page_has_two_bars_of_100_mm(which, paper):
    data = proof(which, paper)
    with pymupdf.open(stream=data) as document:
        for page in document:
            spans = np.array([np.ptp(line, axis=0) for line in strokes(page, COLOURS["CHECK"])])
            assert spans.max(axis=0) == pytest.approx([100, 100], abs=1e-3)
            long = spans[spans.max(axis=1) > 50]
            assert sorted(long.argmax(axis=1)) == [0, 1]
            assert long.min(axis=1) == pytest.approx([0, 0], abs=1e-6)
            for across, along in ((1, 0), (0, 1)):  # the ticks at a bar's ends, between which it is measured
                ticks = [line[0, along] for line in strokes(page, COLOURS["CHECK"]) if is_tick(line, across)]
                assert sorted(ticks)[1] - sorted(ticks)[0] == pytest.approx(100, abs=1e-3)
    _, seen = by_pdfium(data)
    assert max(np.ptp(line[:, 0]) for line in seen["CHECK"]) == pytest.approx(100, abs=1e-3)
    assert max(np.ptp(line[:, 1]) for line in seen["CHECK"]) == pytest.approx(100, abs=1e-3)


@pytest.mark.parametrize(("paper", "size"), [("a4", A4), ("letter", LETTER)])
def test_the_outline_is_at_true_size_on_the_paper_asked_for(paper, size):
    page, found = by_pdfium(proof("small", paper))
    assert page == pytest.approx(size, abs=1e-3)
    corner = np.min([loop.min(axis=0) for loop in found["OUTLINE"]], axis=0)
    made.assert_shapes({name: [loop - corner for loop in found[name]] for name in made.DRAWN})


def test_it_is_ours_and_the_page_to_place_stays_alone():
    assert is_sealed(proof())
    with pikepdf.open(io.BytesIO(proof("great"))) as pdf:
        assert pdf.check_pdf_syntax() == []
        assert pdf.Root.ViewerPreferences.PrintScaling == "/None"
        marked = [str(group.Name) for group in pdf.Root.OCProperties.OCGs if "/GTS_Metadata" in group]
        assert "POCKET" not in marked  # no path to cut for a program that looks for one
    with pikepdf.open(io.BytesIO(pdf_bytes(great()))) as pdf:
        assert len(pdf.pages) == 1


# --- sheets ----------------------------------------------------------------------------------------------------


@functools.cache
def sheets():
    """Of each sheet of the great drawing: its edge, its marks by name, what of the outline is drawn on it; mm."""
    found = []
    with pymupdf.open(stream=proof("great")) as document:
        for page in document:
            edge = strokes(page, GREY)
            frame = [line for line in edge if np.ptp(line, axis=0).max() > 150]
            if len(frame) < 4:
                continue
            corners = np.concatenate(frame)
            window = shapely.box(*corners.min(axis=0), *corners.max(axis=0))
            loops = [shapely.LineString([*loop, loop[0]]) for loop in strokes(page, COLOURS["OUTLINE"])]
            found.append((window, marks(page), shapely.intersection(shapely.MultiLineString(loops), window)))
    return found


def marks(page):
    """The middles of crosses, by the word that stands at each one's upper right."""
    arms = [
        line for line in strokes(page, COLOURS["CHECK"]) if np.ptp(line, axis=0).max() == pytest.approx(8, abs=1e-3)
    ]
    middles = {tuple(np.round(line.mean(axis=0), 3)) for line in arms}
    found = {}
    for x0, _, _, y1, word, *_ in page.get_text("words"):
        if word[0] == "m" and word[1:].isdigit():
            at = np.array([x0 * POINT_MM, page.rect.height * POINT_MM - y1 * POINT_MM])
            found[word] = np.array(min(middles, key=lambda one: math.dist(one, at)))
    return found


def laid_together():
    """The sheets' parts of the outline, moved until marks of one name lie on each other; how far they miss by."""
    left = list(sheets())
    _, known, lines = left.pop(0)
    places, parts, misses = dict(known), [lines], []
    while left:
        number = next(n for n, (_, own, _) in enumerate(left) if len(own.keys() & places.keys()) >= 2)
        _, own, lines = left.pop(number)
        by = [places[name] - at for name, at in own.items() if name in places]
        misses.append(np.ptp(by, axis=0).max())
        shift = np.mean(by, axis=0)
        parts.append(shapely.transform(lines, lambda points, by=shift: points + by))
        places |= {name: at + shift for name, at in own.items()}
    return parts, max(misses)


def test_sheets_laid_together_by_their_marks_give_the_outline():
    parts, miss = laid_together()
    assert len(parts) == 4
    assert miss <= 2e-3
    whole = shapely.union_all(parts)
    corner = np.array(whole.bounds[:2])
    wide, high, radius = GREAT
    assert np.subtract(whole.bounds[2:], corner) == pytest.approx((wide, high), abs=2e-3)
    truth = [made.Truth(wide / 2, high / 2, wide / 2, high / 2, radius), made.Truth(380, 270, 5, 5, 5)]
    points = shapely.get_coordinates(shapely.segmentize(whole, 1.0)) - corner
    assert np.min([np.abs(one.distance(points)) for one in truth], axis=0).max() <= 3e-3
    ring = np.vstack([made.rounded_ring(wide, high, radius), made.circle_ring(380, 270, 5)])
    assert distances(ring + corner, whole).max() <= 3e-3  # no place is on none of them


def test_neighbouring_sheets_share_a_strip_and_nothing_is_drawn_beyond_a_sheets_edge():
    parts, _ = laid_together()
    shared = [a.intersection(b.buffer(1e-3)).length for n, a in enumerate(parts) for b in parts[:n]]
    assert sorted(round(length, 1) for length in shared)[-4:] == pytest.approx([12, 12, 12, 12], abs=0.1)
    document = pypdfium2.PdfDocument(proof("great"))
    for number, (window, _, _) in enumerate(sheets(), len(document) - 4):
        pixels = document[number].render(scale=1).to_numpy().astype(int)
        blue = pixels[..., 0] - pixels[..., 2] > 120  # BGR: OUTLINE's colour
        y, x = np.nonzero(blue)
        height = pixels.shape[0]
        assert len(x) > 100
        left, bottom, right, top = (side / POINT_MM for side in window.bounds)
        assert left - 2 <= x.min()
        assert x.max() <= right + 2
        assert height - top - 2 <= y.min()
        assert y.max() <= height - bottom + 2


@pytest.mark.parametrize(
    ("size", "paper", "columns", "rows", "page"),
    [
        ((100, 60), "a4", 1, 1, (210, 297)),
        ((200, 100), "a4", 1, 1, (297, 210)),  # lying takes one sheet, upright two
        ((100, 260), "letter", 1, 2, (215.9, 279.4)),
        ((2000, 20), "a4", 8, 1, (297, 210)),
    ],
)
def test_as_few_sheets_as_hold_it(size, paper, columns, rows, page):
    drawn = Box(5.0, -3.0, 5.0 + size[0], -3.0 + size[1])
    found = tiling(drawn, paper)
    assert (found.columns, found.rows) == (columns, rows)
    assert (found.sheet.width_mm, found.sheet.height_mm) == page
    covered = shapely.union_all([shapely.box(*vars_of(tile.window)) for tile in found.tiles])
    assert covered.covers(shapely.box(*vars_of(drawn)))


def vars_of(box):
    return box.left, box.bottom, box.right, box.top


# --- words -----------------------------------------------------------------------------------------------------


def test_the_words_can_be_read_out_of_the_page():
    (page,) = words_of(proof())
    for words in (
        "Proof of lantern row 7.png",
        "box width 60.000 ±0.030",  # 0.024 and 0.3 a metre over 60 mm, squares added
        "hole 1 5.000 ±0.024",
        "digitize check row-7.json --item tag-1",
        "Cut 0.11 mm outside the item: 0.20 room less half the 0.18 kerf",
        "clearance +0.200 > kerf -0.090 > path +0.110 mm",
        "plain square 50 x 50 mm",
        "0.042333 x 0.042263 mm",  # 25.4 / 600 and 25.4 / 601
        f"SHA-256 {DIGEST}",
        "an edge point is known to ±0.012 mm",
        "PVC or vinyl",
        "Never leave it running alone",
        "It is no file for a machine",
        "the lower edge is 0.03 mm softer than the upper",
    ):
        assert words in page, words


def test_the_budgets_parts_stand_with_their_sizes():
    (page,) = words_of(proof())
    # 0.00015 a mm, of the arm of a plate of 60 x 40, corners of 6, hole of 5 at 8, 20: 24.93 by an integral along it
    assert "card 0.0037 0.0000 0.150 " in page
    assert "edge 0.0040 0.0000 0.000 " in page
    assert "together, k = 2 0.0120 0.0240 0.300 squares add" in page


def arrows(**changes):
    """Which way the arrows of the picture's right and up point on the drawing: their marks' extent in x, mm."""
    data = proof_bytes(made.result(**changes))
    with pymupdf.open(stream=data) as document:
        page = document[0]
        lines = strokes(page, COLOURS["CHECK"])
        legs = [one for one in lines if np.ptp(one[:, 0]) == pytest.approx(8, abs=1e-3) and np.ptp(one[:, 1]) < 1e-3]
        stems = [one for one in lines if np.ptp(one[:, 1]) == pytest.approx(12, abs=1e-3)]
        legs, stems = (sorted(found, key=lambda one: one[:, 0].min()) for found in (legs, stems))
        text = " ".join(page.get_text().split())
    return [float((leg.mean(axis=0) - stem.mean(axis=0))[0]) for leg, stem in zip(legs, stems, strict=True)], text


@pytest.mark.parametrize(
    ("imaged", "mirrored", "words"),
    [
        ("print", False, "the plate is cut with its front up: nothing is exchanged"),
        (
            "back",
            True,
            "The picture shows the back of the items, the plate is cut with its front up: left and right are",
        ),
        ("print", True, "The plate is cut with its back up: left and right are exchanged"),
        ("back", False, "both exchanges together leave all as in the picture"),
    ],
)
def test_sides_are_said_and_drawn(imaged, mirrored, words):
    (own, of_picture), text = arrows(imaged=imaged, mirrored=mirrored)
    assert own == pytest.approx(4, abs=1e-3)
    assert of_picture == pytest.approx(-4 if mirrored else 4, abs=1e-3)
    assert words in text


def test_many_items_run_on_to_further_pages():
    items = tuple(made.tag(name=f"tag-{n}", sheet_mm=(70.0 * (n % 4), 45.0 * (n // 4))) for n in range(32))
    data = proof_bytes(made.result(*items))
    pages = words_of(data)
    assert "page 1 of" in pages[0]
    assert sum(page.count("box width 60.000") for page in pages) == 30
    assert "and 2 more items" in " ".join(pages)
    with pymupdf.open(stream=data) as document:
        outlines = [strokes(page, COLOURS["OUTLINE"]) for page in document]
        for page in document:
            for x0, y0, x1, y1, *_ in page.get_text("words"):
                assert page.rect.contains(pymupdf.Rect(x0, y0, x1, y1))
    assert not outlines[0]  # a drawing that high has sheets of its own
    assert max(map(len, outlines)) >= 8
