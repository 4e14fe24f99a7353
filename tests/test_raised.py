"""Raised edges and unrolled walls, measured in the files; plates again from their documents; the numbered picture."""

import io
import math

import numpy as np
import pypdfium2
import pytest
import shapely
from PIL import Image
from typer.testing import CliRunner

from digitize.cli.commands import app
from digitize.document.document import document_bytes
from digitize.errors import UsageError
from digitize.plate.raised import bands
from digitize.plate.unrolled import Wall
from digitize.seal import is_sealed
from digitize.write.plate.files import unrolled_files
from digitize.write.plate.picture import plate_png
from digitize.write.plate.template import raised_files
from tests import made
from tests.plates import disc, kind, tag
from tests.test_plate_files import plate_of
from tests.test_write_dxf import loops as dxf_loops
from tests.test_write_dxf import read_back
from tests.test_write_pdf import drawn as pdf_drawn


def run(*words):
    return CliRunner().invoke(app, list(map(str, words)))


@pytest.fixture
def document(tmp_path):
    path = tmp_path / "tag.json"
    path.write_bytes(document_bytes(made.result(tag())))
    return path


# --- raised edges ----------------------------------------------------------------------------------------------------


def test_bands_have_their_width_and_gap():
    """Of tags of 60 x 40 mm, corners of 6: from 0.3 to 1.8 mm outside, by offsets of another library."""
    plate = plate_of(rows=1, columns=2, turn_deg=20.0)
    loops = dxf_loops(read_back(raised_files(plate, "", (1, 2), 1.5, 0.3, ("dxf",))["raised.dxf"]))["PRINT"]
    assert len(loops) == 4
    for place, (outer, inner) in zip(plate.places, (loops[:2], loops[2:]), strict=True):
        box = shapely.box(-24, -14, 24, 14)
        item = shapely.affinity.rotate(box, place.turn_deg, origin=(0, 0)).buffer(6.0, quad_segs=256)
        item = shapely.affinity.translate(item, place.x_mm, place.y_mm - 458.0)
        for loop, by in ((outer, 1.8), (inner, 0.3)):
            away = [shapely.Point(at).distance(item) for at in loop[::7]]
            assert min(away) == pytest.approx(by, abs=0.006)
            assert max(away) == pytest.approx(by, abs=0.006)


def test_bands_are_areas_that_print_and_nothing_else_does():
    files = raised_files(plate_of(kind(disc(30.0)), rows=1, columns=1), "", (1,), 2.0, 0.5)
    svg = files["raised.svg"].decode()
    assert svg.count('fill-rule="evenodd"') == 1
    assert "<text" not in svg
    assert "display: none" not in svg
    size, found = pdf_drawn(files["raised.pdf"])
    assert size == pytest.approx((305, 458), abs=1e-3)
    assert set(found) == {"PRINT"}
    assert [np.ptp(loop[:, 0]) for loop in found["PRINT"]] == pytest.approx([35.0], abs=0.002)
    document = pypdfium2.PdfDocument(files["raised.pdf"])
    picture = np.asarray(document[0].render(scale=72 / 25.4).to_pil().convert("RGB")).astype(int)  # 8 px a mm
    document.close()
    row = picture[round(8.035 * (10 + 15)), : round(8.035 * 50)].sum(axis=1) < 600  # through the disc's middle
    edges = np.flatnonzero(np.diff(row)) / 8.035
    assert edges == pytest.approx([7.5, 9.5, 40.5, 42.5], abs=0.2)
    assert b"/PrintState /OFF" not in files["raised.pdf"]


def test_bands_that_meet_or_reach_over_the_bed_are_refused(document, tmp_path):
    plate = plate_of(rows=1, columns=2)
    assert len(bands(plate, (1, 2), wide_mm=2.0, gap_mm=0.5)) == 2  # 5.4 mm between the items
    with pytest.raises(UsageError, match="pockets 1 and 2 run into each other"):
        bands(plate, (1, 2), wide_mm=2.5, gap_mm=0.3)
    with pytest.raises(UsageError, match="pocket 1 reaches over the bed"):
        bands(plate, (1,), wide_mm=11.0, gap_mm=0.3)
    run("plate", document, "--bed", "305x458", "--rows", 1, "--columns", 2, "--to", tmp_path)
    done = run("template", tmp_path / "plate.json", "--raised-edge", 3, "--to", tmp_path / "out")
    assert done.exit_code == 2
    assert not (tmp_path / "out").exists()


# --- unrolled walls --------------------------------------------------------------------------------------------------


def flat(**wall):
    data = unrolled_files(Wall(**wall), "wall", ("dxf",))["unrolled.dxf"]
    return {layer: loops for layer, loops in dxf_loops(read_back(data)).items() if layer in ("PRINT", "OUTLINE")}


def test_a_cylinder_is_a_box_as_long_as_its_round():
    found = flat(diameter_mm=82.0, length_mm=97.0, overlap_mm=6.0, sheet_mm=0.2)
    (wall,), (sheet,) = found["PRINT"], found["OUTLINE"]
    assert tuple(np.ptp(wall, axis=0)) == pytest.approx((math.pi * 82.2, 97.0), abs=1e-4)
    assert tuple(np.ptp(sheet, axis=0)) == pytest.approx((math.pi * 82.2 + 6.0, 97.0), abs=1e-4)


@pytest.mark.parametrize(("lower", "upper", "length"), [(82.0, 61.5, 97.0), (50.0, 90.0, 30.0), (60.0, 5.0, 40.0)])
def test_a_cone_rolled_up_again_is_the_cone(lower, upper, length):
    """Its area is pi (r1 + r2) s, the lateral area of a frustum; both seams are as long as the wall and meet."""
    (wall,) = flat(diameter_mm=lower, other_mm=upper, length_mm=length)["PRINT"]
    area = math.pi * (lower + upper) / 2 * length
    assert shapely.Polygon(wall).area == pytest.approx(area, rel=2e-5)
    rolled = rolled_up(wall, lower, upper, length)
    ends = [
        rolled[np.abs(rolled[:, 2] - height) < 1e-3]
        for height in (0.0, math.sqrt(length**2 - ((lower - upper) / 2) ** 2))
    ]
    for end, diameter in zip(ends, (lower, upper), strict=True):
        assert np.hypot(end[:, 0], end[:, 1]) == pytest.approx(np.full(len(end), diameter / 2), abs=2e-3)
        angles = np.unwrap(np.sort(np.arctan2(end[:, 1], end[:, 0])))
        assert np.diff(angles).max() < 0.2  # no gap all round


def rolled_up(points, lower, upper, length):
    """Points of the flat wall on the cone: the apex is where both seams cross, found from the drawing alone."""
    apex = (0.0, points[:, 1].min() + length * lower / (lower - upper)) if lower > upper else None
    if apex is None:
        apex = (0.0, points[:, 1].max() - length * upper / (upper - lower))
    away = np.hypot(points[:, 0], points[:, 1] - apex[1])
    turn = np.arctan2(
        points[:, 0], np.abs(points[:, 1] - apex[1]) * np.sign((apex[1] - points[:, 1]) * (lower - upper))
    )
    slope = abs(lower - upper) / 2 / length  # of radius along the wall
    radius = away * slope
    height = np.sqrt(1 - slope**2) * np.abs(away - length * lower / abs(lower - upper))
    angle = turn / slope
    return np.column_stack([radius * np.cos(angle), radius * np.sin(angle), height])


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--diameter", "80"], "--length is missing"),
        (["--length", "80"], "--diameter is missing"),
        (["--diameter", "80", "--other", "20", "--length", "20"], "cannot lead"),
        (["--diameter", "10", "--length", "20", "--overlap", "16"], "half the way round"),
    ],
)
def test_walls_that_cannot_be(tmp_path, words, said):
    done = run("unroll", *words, "--to", tmp_path / "out")
    assert done.exit_code == 2, done.output
    assert said in done.output
    assert not (tmp_path / "out").exists()


# --- again, and the picture ------------------------------------------------------------------------------------------


def test_a_plates_document_reproduces_its_bytes(document, tmp_path):
    words = [
        "--bed",
        "305x458",
        "--plate",
        "200x150",
        "--rows",
        2,
        "--columns",
        2,
        "--label",
        "rev B",
        "--leads",
        "apart",
    ]
    more = [
        "--corner-piece",
        "60x15",
        "--key",
        8,
        "--centres",
        "circle",
        "--item-thickness",
        3,
        "--zero",
        "bottom-right",
    ]
    first = run("plate", document, *words, *more, "--name", "tags", "--to", tmp_path / "one")
    assert first.exit_code == 0, first.output
    again = run("plate", "--again", tmp_path / "one" / "tags.json", "--to", tmp_path / "two")
    assert again.exit_code == 0, again.output
    files = {path.name: path.read_bytes() for path in (tmp_path / "one").iterdir()}
    assert {path.name: path.read_bytes() for path in (tmp_path / "two").iterdir()} == files
    assert {"tags.png", "tags.lay.csv", "tags.corner.dxf"} <= files.keys()


def test_a_changed_document_is_not_made_again(document, tmp_path):
    run("plate", document, "--bed", "305x458", "--rows", 1, "--columns", 1, "--to", tmp_path)
    path = tmp_path / "plate.json"
    path.write_text(path.read_text("utf-8").replace('"name": "plate"', '"name": "other"'), "utf-8")
    done = run("plate", "--again", path, "--to", tmp_path / "out")
    assert done.exit_code == 3, done.output
    assert "was changed" in done.output
    both = run("plate", document, "--again", path, "--to", tmp_path / "out")
    assert both.exit_code == 2
    assert not (tmp_path / "out").exists()


def test_the_picture_shows_every_item_in_its_place():
    """Two discs of 40 mm on a bed of 200 x 100: a fill of its own for each kind, white between, the zero dot green."""
    plate = plate_of(kind(disc(40.0)), kind(disc(40.0, "other")), bed_mm=(200.0, 100.0), rows=1, columns=1)
    data = plate_png(plate, "")
    assert is_sealed(data)
    picture = np.asarray(Image.open(io.BytesIO(data)).convert("RGB")).astype(int)
    fills = []
    for place in plate.places:
        x, y = 40 + 4 * (place.x_mm + 15), 40 + 4 * (100 - place.y_mm)  # beside the number
        fills.append(tuple(picture[round(y), round(x)]))
        assert picture[round(y), round(40 + 4 * (place.x_mm + 21))].min() > 240
    assert fills[0] != fills[1]
    assert max(min(one) for one in fills) < 210
    red, green, _ = picture[41, 41]
    assert green > red + 80
