"""What keeps a plate in its place: corner piece, key, heights and packing, centre marks; measured in the files."""

import itertools
import json
from dataclasses import replace

import jsonschema
import numpy as np
import pytest
import shapely
import trimesh
from shapely import affinity
from typer.testing import CliRunner

from digitize.cli.commands import app
from digitize.cli.plate import _thick
from digitize.document.document import document_bytes
from digitize.document.plate import plate_bytes, plate_schema_text, read_plate
from digitize.errors import DocumentError
from digitize.plate.check import checked
from digitize.plate.heights import faces, height_findings, proudest
from digitize.plate.plate import ZEROS, Heights
from tests import made
from tests.plates import kind, shaped, tag
from tests.test_plate_files import files_of, plate_of
from tests.test_write_dxf import loops as dxf_loops
from tests.test_write_dxf import read_back

L = [(0, 0), (30, 0), (30, 10), (10, 10), (10, 40), (0, 40)]


def keyed(zero="top-left", **asked):
    return plate_of(
        rows=1, columns=1, zero=zero, plate_mm=(200.0, 150.0), corner_piece_mm=(60.0, 15.0), key_mm=8.0, **asked
    )


def cut_parts(plate):
    """Plate and corner piece as they come off the machine: half of the kerf of 0.18 mm inside their paths."""
    files = files_of(plate, ("dxf",))
    edge = max(dxf_loops(read_back(files["cut.dxf"]))["POCKET"], key=lambda loop: np.ptp(loop[:, 0]))
    (corner,) = dxf_loops(read_back(files["corner.dxf"]))["POCKET"]
    return [shapely.Polygon(loop).buffer(-0.09, join_style="mitre") for loop in (edge, corner)]


@pytest.mark.parametrize("zero", ZEROS)
def test_the_plate_goes_home_in_one_of_eight_ways(zero):
    """Turned by quarters and turned over, its corner pushed into the corner piece, it stands on the tongue."""
    plate, corner = cut_parts(keyed(zero))
    assert tuple(np.ptp(np.array(plate.bounds).reshape(2, 2), axis=0)) == pytest.approx((200, 150), abs=1e-6)
    right, up = zero.endswith("left"), zero.startswith("bottom")
    home = []
    for turns, over in itertools.product(range(4), (False, True)):
        one = affinity.scale(plate, -1, 1) if over else plate
        one = affinity.rotate(one, 90 * turns, origin=(0, 0))
        left, bottom, high, top = one.bounds
        one = affinity.translate(one, -left if right else -high, -bottom if up else -top)
        if shapely.area(one.intersection(corner)) < 1e-6:
            home.append((turns, over))
    assert home == [(0, False)]
    # it touches both axes; 0.2 mm of room on each side of the tongue of 8 mm, 0.5 beyond its 4
    assert plate.distance(corner) < 1e-6
    tongue = corner.intersection(shapely.box(*plate.bounds).buffer(-1e-4))  # edges that touch are none of it
    assert sorted(np.ptp(np.array(tongue.bounds).reshape(2, 2), axis=0)) == pytest.approx([4, 8], abs=1e-3)
    box = shapely.box(*plate.bounds)
    notch = box.difference(plate)
    assert sorted(np.ptp(np.array(notch.bounds).reshape(2, 2), axis=0)) == pytest.approx([4.5, 8.4], abs=1e-3)
    assert notch.centroid.distance(tongue.centroid) == pytest.approx(0.25, abs=1e-3)


def test_the_inner_corner_is_free():
    _, corner = cut_parts(keyed())
    assert corner.distance(shapely.Point(0, 0)) == pytest.approx(2.0, abs=0.01)
    assert corner.bounds == pytest.approx((-15, -60, 60, 15), abs=1e-6)


def test_a_pocket_keeps_clear_of_the_notch():
    """At 34 to 46 mm along, 4.5 deep: a pocket 6 mm from the edge leaves it 1.5."""
    (thin,) = checked(replace(keyed(margin_mm=6.0), web_mm=2.0))
    assert (thin.code, round(thin.value, 2)) == ("plate-web-thin", 1.5)
    assert "The key's notch" in thin.message


def test_the_solid_has_the_notch(tmp_path):
    path = tmp_path / "tag.json"
    path.write_bytes(document_bytes(made.result(tag())))
    words = ["--plate", "200x150", "--corner-piece", "60x15", "--key", "8", "--rows", "1", "--columns", "1"]
    done = run(path, "--bed", "305x458", *words, "--solid", 6, "--depth", 4, "--to", tmp_path)
    assert done.exit_code == 0, done.output
    opening = 60.4 * 40.4 - (4 - np.pi) * 6.2**2
    volume = trimesh.load(tmp_path / "plate.stl").volume
    assert volume == pytest.approx(200 * 150 * 6 - 4 * opening - 8.4 * 4.5 * 6, rel=2e-5)


# --- heights ---------------------------------------------------------------------------------------------------------


def with_heights(**heights):
    plate = plate_of(kind(tag()), kind(tag(name="tag-2")), rows=1, columns=1, thickness_mm=6.0)
    return replace(plate, heights=Heights((("tag-1", 3.2), ("tag-2", 5.0)), **heights))


def test_packing_brings_all_faces_to_the_highest():
    """Through pockets on a base of 3: 6.2 and 8.0, the plate's top at 9. On floors of 4 mm: 10.2 and 12.0."""
    plate = with_heights(base_mm=3.0)
    assert [(one.height_mm, one.packing_mm) for one in faces(plate, plate.heights)] == [(6.2, 1.8), (8.0, 0.0)]
    assert proudest(plate, plate.heights) == ("the upper side of the plate", 9.0)
    plate = with_heights(base_mm=3.0, depth_mm=2.0)
    assert [(one.height_mm, one.packing_mm) for one in faces(plate, plate.heights)] == [(10.2, 1.8), (12.0, 0.0)]
    assert proudest(plate, plate.heights) == ("the faces of the items", 12.0)
    (uneven,) = height_findings(plate)
    assert (uneven.code, uneven.value) == ("faces-uneven", 1.8)


def test_differences_from_a_fifth_of_a_millimetre_are_said():
    plate = with_heights()
    for more, codes in ((0.19, []), (0.2, ["faces-uneven"])):
        heights = Heights((("tag-1", 3.0), ("tag-2", 3.0 + more)))
        assert [one.code for one in height_findings(replace(plate, heights=heights))] == codes


def test_the_head_is_held_against_what_stands_proudest():
    for head, codes in ((13.0, []), (12.9, ["head-strike"]), (11.0, ["head-strike"])):
        found = height_findings(with_heights(base_mm=3.0, depth_mm=2.0, head_mm=head))
        assert [one.code for one in found if one.code != "faces-uneven"] == codes


# --- centre marks ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("centre", "at"),
    [
        ("box", (15, 20)),
        ("centroid", ((300 * 15 + 300 * 5) / 600, (300 * 5 + 300 * 25) / 600)),  # two boxes of 30 x 10
        ("circle", (15, 20)),  # (30, 0) and (0, 40) are its ends: 50 mm, and nothing lies outside
    ],
)
def test_centres_are_where_they_are_called(centre, at):
    plate = plate_of(
        kind(shaped(L), upright=False), rows=1, columns=1, as_laid=True, zero="bottom-left", centres=centre
    )
    lines = [
        line
        for line in read_back(files_of(plate, ("dxf",))["draft.dxf"]).modelspace().query("LINE")
        if line.dxf.start.distance(line.dxf.end) == pytest.approx(6.0) and line.dxf.layer == "CHECK"
    ]
    middle = np.mean([(line.dxf.start + line.dxf.end) / 2 for line in lines], axis=0)[:2]
    assert middle == pytest.approx(np.array(at) + 10.0, abs=0.02)  # the margin; the ring's middles lie on its chords
    assert len(lines) == 2


# --- document and command --------------------------------------------------------------------------------------------


def run(*words):
    return CliRunner().invoke(app, ["plate", *map(str, words)])


def test_all_of_it_is_in_the_document():
    plate = replace(
        keyed(centres="circle", leads="apart", thickness_mm=6.0),
        heights=Heights((("tag-1", 3.2),), 2.0, 3.0, 15.0),
    )
    data = plate_bytes(plate)
    jsonschema.Draft202012Validator(json.loads(plate_schema_text())).validate(json.loads(data))
    back = read_plate(data)
    assert (back.corner, back.heights, back.centres, back.leads) == (
        plate.corner,
        plate.heights,
        "circle",
        "apart",
    )
    assert plate_bytes(back) == data
    wrong = json.loads(data)
    wrong["heights"]["items_mm"] = [["badge", 3.0]]
    with pytest.raises(DocumentError, match="does not name each"):
        read_plate(json.dumps(wrong).encode())


def test_webs_are_held_against_the_sheet_even_where_thinner_ones_were_asked_for():
    thin = checked(plate_of(rows=1, columns=2, gap_mm=None, web_mm=2.0, thickness_mm=3.0))
    assert [(one.code, one.limit) for one in thin] == [("plate-web-thin", 3.0)]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--key", "8"], "--corner-piece 60x15"),
        (["--corner-piece", "60x15", "--key", "30"], "a third of the arm"),
        (["--corner-piece", "60x15", "--key", "8", "--plate", "82x100"], "turned over"),
        (["--head", "20"], "--item-thickness 3.2"),
        (["--item-thickness", "badge=3"], "There are tag-1"),
        (["--item-thickness", "thick"], "expected mm"),
        (["--item-thickness", "3.2", "--item-thickness", "3"], "3.2 mm was said before"),
        (["--item-thickness", "tag-1=9", "--item-thickness", "tag-1=3"], "9 mm was said before of tag-1"),
        (["--item-thickness", "3", "--pocket-depth", "2"], "--thickness"),
        (["--item-thickness", "3", "--pocket-depth", "9", "--thickness", "6"], "more than the sheet"),
    ],
)
def test_what_cannot_be_meant_is_refused_and_nothing_written(tmp_path, words, said):
    path = tmp_path / "tag.json"
    path.write_bytes(document_bytes(made.result(tag())))
    done = run(path, "--bed", "305x458", "--rows", 1, "--columns", 1, *words, "--to", tmp_path / "out")
    assert done.exit_code == 2, done.output
    assert said in done.output
    assert not (tmp_path / "out").exists()


def test_how_thick_a_kind_is_comes_before_what_is_said_of_all():
    for words in (["tag-1=9", "3"], ["3", "tag-1=9"]):
        assert _thick(words, ["tag-1", "fob-1"]) == {"tag-1": 9.0, "fob-1": 3.0}


def test_heights_are_said_on_screen_and_on_every_drawing(tmp_path):
    path = tmp_path / "tag.json"
    path.write_bytes(document_bytes(made.result(tag())))
    words = ["--rows", 1, "--columns", 1, "--item-thickness", "3.2", "--thickness", "3", "--head", "8"]
    done = run(path, "--bed", "305x458", *words, "--format", "dxf", "--to", tmp_path)
    assert done.exit_code == 0, done.output
    wanted = "Proudest above the bed: the faces of the items, 3.2 mm, the head at 8 mm 4.8 mm above it."
    assert wanted in done.output
    for which in ("cut", "draft", "template"):
        texts = read_back((tmp_path / f"plate.{which}.dxf").read_bytes()).modelspace().query("TEXT")
        assert wanted in " ".join(text.dxf.text for text in texts)
