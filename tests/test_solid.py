"""Solids against areas by formula and by shapely, read back by trimesh; the files' own marks and their bytes."""

from __future__ import annotations

import io
import math
import struct
import subprocess
import sys
import xml.etree.ElementTree as ET
import zipfile
from dataclasses import replace
from pathlib import Path

import lib3mf
import numpy as np
import pytest
import shapely
import trimesh
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from digitize.errors import UsageError, WriteError
from digitize.files import write_files
from digitize.records import Allowance, Circle, Pocket
from digitize.run import Output
from digitize.seal import is_sealed
from digitize.write.solid.asked import Solid, check_solid_package
from digitize.write.solid.files import solid_files
from digitize.write.solid.make import make_solid
from digitize.write.solid.mesh import Mesh, is_closed, settled
from digitize.write.solid.plug import plug_parts
from tests import made
from tests import strategies as s

THREEMF = "{http://schemas.microsoft.com/3dmanufacturing/core/2015/02}"


def rounded_area(width, height, radius):
    return width * height - (4 - math.pi) * radius**2


def read_back(files, *, kind):
    (data,) = [data for name, data in files.items() if name.endswith(kind)]
    mesh = trimesh.load(io.BytesIO(data), file_type=kind, force="mesh")
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    return mesh


def plate(item, solid):
    return solid_files(made.result(item), [item], solid, stem="x")


def region_at(mesh, height):
    """A cross-section, by trimesh and shapely."""
    ends = trimesh.intersections.mesh_plane(mesh, [0, 0, 1], [0, 0, height])[:, :, :2].reshape(-1, 2)
    near = cKDTree(ends).sparse_distance_matrix(cKDTree(ends), 1e-7, output_type="coo_matrix")
    _, same = connected_components(near, directed=False)  # each corner is met by two triangles, nearly at one place
    first = np.unique(same, return_index=True)[1]
    return shapely.build_area(shapely.MultiLineString(ends[first[same]].reshape(-1, 2, 2).tolist()))


def area_at(mesh, height):
    return float(region_at(mesh, height).area)


# the plate


@pytest.mark.parametrize("kind", ["stl", "3mf"])
@pytest.mark.parametrize(("thickness", "depth", "deep"), [(6.0, None, 5.0), (6.0, 2.5, 2.5), (3.0, 3.0, 3.0)])
def test_plate_lacks_the_pockets_area_times_its_depth(kind, thickness, depth, deep):
    """The tag's pocket: 60 x 40 mm with corners of 6, clearance 0.2; its path runs half the kerf inside its wall."""
    mesh = read_back(plate(made.tag(), Solid(thickness, depth)), kind=kind)
    rim = max(5.0, thickness)
    outside = (60.4 + 2 * rim) * (40.4 + 2 * rim)
    pocket = rounded_area(60.4, 40.4, 6.2)
    assert mesh.volume == pytest.approx(outside * thickness - pocket * deep, abs=0.003 * 200 * deep)
    assert mesh.bounds[0] == pytest.approx([0, 0, 0], abs=1e-6)
    assert mesh.bounds[1] == pytest.approx([60.4 + 2 * rim, 40.4 + 2 * rim, thickness], abs=0.003)
    assert area_at(mesh, thickness - deep / 2) == pytest.approx(outside - pocket, abs=0.003 * 200)
    if deep < thickness:
        assert area_at(mesh, (thickness - deep) / 2) == pytest.approx(outside, abs=0.003 * 200)


def test_wall_stands_where_the_cutter_ends_and_pegs_stay():
    """A cutter of 3 mm on a circle of 18.75: wall at 20.25. A peg's path at 6.25 leaves a peg of 4.75."""
    chain = (Allowance("clearance", 0.25), Allowance("cutter", -1.5))
    pocket = Pocket(
        (Circle((25, 10), 6.25), Circle((25, 10), 18.75)),
        chain,
        clearance_mm=0.25,
        kerf_mm=0,
        cutter_mm=3,
        way="router",
    )
    with pytest.raises(UsageError, match="would fall out"):
        plate(replace(made.fob(), pocket=pocket), Solid(6, 6))
    mesh = read_back(plate(replace(made.fob(), pocket=pocket), Solid(6, 4)), kind="stl")
    assert area_at(mesh, 4) == pytest.approx(52.5**2 - math.pi * (20.25**2 - 4.75**2), abs=0.5)
    assert area_at(mesh, 1) == pytest.approx(52.5**2, abs=0.3)


def test_pockets_of_several_items_lie_as_in_the_picture():
    second = replace(made.tag(name="tag-2"), sheet_mm=(100.0, 30.0))
    files = solid_files(made.result(made.tag(), second), [made.tag(), second], Solid(6), stem="x")
    mesh = read_back(files, kind="3mf")
    zero = make_solid(made.result(made.tag(), second), [made.tag(), second], Solid(6)).zero_mm
    assert zero == pytest.approx((6.2, 6.2), abs=0.003)
    above, below = region_at(mesh, 3), region_at(mesh, 0.5)
    for x, y, whole in ((30, 20, False), (130, 50, False), (80, 25, True)):
        place = shapely.Point(zero[0] + x, zero[1] + y)
        assert above.contains(place) is whole
        assert below.contains(place)


# the plug


def plug_mesh(top, *, block, height, draft):
    import manifold3d

    whole = manifold3d.Manifold.batch_boolean(
        plug_parts(top, block_mm=block, height_mm=height, draft_mm=draft), manifold3d.OpType.Add
    ).to_mesh64()
    mesh = settled(np.asarray(whole.vert_properties)[:, :3] + 100, np.asarray(whole.tri_verts, dtype=np.int64))
    return trimesh.Trimesh(mesh.corners_mm, mesh.triangles, process=False)


@pytest.mark.parametrize("kind", ["sharp", "round"])
def test_plug_has_the_volume_of_steiner(kind):
    """A convex face grown by t has the area A + P t + pi t^2 (Steiner), so a plug of height h and draft d at its foot

    holds A h + P d h / 2 + pi d^2 h / 3.
    """
    top = shapely.box(0, 0, 40, 25)
    if kind == "round":
        top = shapely.buffer(shapely.box(5, 5, 35, 20), 5, quad_segs=64)
    draft, height, block = 10 * math.tan(math.radians(5)), 10.0, 3.0
    foot = shapely.buffer(top, draft, quad_segs=64)
    mesh = plug_mesh(top, block=block, height=height, draft=draft)
    assert mesh.is_watertight
    plug = top.area * height + top.length * draft * height / 2 + math.pi * draft**2 * height / 3
    assert mesh.volume == pytest.approx(plug + foot.area * block, rel=2e-4)
    for share in (0.25, 0.5, 0.9):
        expected = shapely.buffer(top, draft * (1 - share), quad_segs=64).area
        assert area_at(mesh, 100 + block + share * height) == pytest.approx(expected, rel=3e-4)


@pytest.mark.parametrize("outline", [s.star(5, 30, 13), s.scallops(12, 30, 3.0), s.wave(8, 20, 6.0)], ids=str)
def test_plug_with_inner_corners_and_a_hole_follows_the_offset(outline):
    """Cross-sections against shapely's offset of the upper face also where sides vanish on the way down."""
    top = shapely.simplify(shapely.Polygon(outline.sampled(spacing=0.05, corners=True)[0]), 0.001)
    for face in (top, top.difference(top.centroid.buffer(5))):
        draft, height = 12 * math.tan(math.radians(5)), 12.0
        mesh = plug_mesh(face, block=2.0, height=height, draft=draft)
        assert mesh.is_watertight
        for share in (0.0, 0.3, 0.7):
            wanted = shapely.buffer(face, draft * (1 - share), quad_segs=64)
            found = area_at(mesh, 102 + share * height + 0.001)
            assert found == pytest.approx(wanted.area, abs=0.005 * wanted.length)
        assert len(mesh.faces) < 30_000  # as many programs open at once


def test_way_former_gives_a_plug_from_the_command_line(tmp_path):
    """From a rendered disc of 20 mm: plug top 20 + 2 x 0.75, draft 5 degrees over 10 mm, shrink 0.6 %."""
    from typer.testing import CliRunner

    from digitize.cli.commands import app
    from tests.truth.flatbed import Scene, save_png
    from tests.truth.shapes import Shape
    from tests.truth.shapes import circle as true_circle

    scene = Scene(50, 26, dpi_x=300, background=0.86, blur_px=0.8, noise_codes=1.5)
    scene.add_square(12, (9, 13), 5)
    scene.add_item(Shape(true_circle(20)), (34, 13), 0, 0.1)
    save_png(tmp_path / "disc.png", scene.render())
    asked = ["outline", str(tmp_path / "disc.png"), "--square", "12", "--cut", "former", "--solid", "4"]
    for _ in range(2):  # again over its own files
        run = CliRunner().invoke(app, [*asked, "--format", "json", "--to", str(tmp_path)])
        assert run.exit_code == 0, run.output
    scale, draft = 1 / (1 - 0.006), 10 * math.tan(math.radians(5))
    upper, lower, height = 10.75 * scale, (10.75 + draft) * scale, 10 * scale
    cone = math.pi * height / 3 * (upper**2 + upper * lower + lower**2)
    for kind in ("stl", "3mf"):
        mesh = read_back({"disc." + kind: (tmp_path / f"disc.{kind}").read_bytes()}, kind=kind)
        assert mesh.volume == pytest.approx(cone + math.pi * lower**2 * 4, rel=2e-3)
        assert mesh.bounds[1][2] == pytest.approx(4 + height, abs=1e-3)
    (tmp_path / "disc.stl").write_bytes((tmp_path / "disc.stl").read_bytes() + b" ")
    run = CliRunner().invoke(app, [*asked, "--format", "json", "--to", str(tmp_path)])
    assert run.exit_code == 3


# refusals


def test_what_cannot_be_meant_is_refused():
    for given in ((0.1, None), (201, None), (6, 6.1), (6, 0.05), (0.8, None), (float("nan"), None)):
        with pytest.raises(UsageError, match=r"--solid|--depth"):
            Solid(*given)
    with pytest.raises(UsageError, match=r"--depth .* --solid T"):
        Output.of({"depth": 2})
    with pytest.raises(UsageError, match="say --clearance, or --cut"):
        plate(made.fob(), Solid(6))


def test_a_missing_package_is_a_sentence_that_names_the_extra(monkeypatch):
    import importlib.util

    monkeypatch.setattr(importlib.util, "find_spec", lambda name: None)
    with pytest.raises(UsageError, match=r"pip install 'digitize\[solid\]'"):
        check_solid_package()
    with pytest.raises(UsageError, match=r"digitize\[solid\]"):
        Output.of({"solid": 6})


def test_help_does_not_import_the_mesh_library():
    code = "import sys, digitize.cli.commands, digitize.options; print('manifold3d' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True).stdout.strip() == "False"


CUBE = trimesh.creation.box()


def test_open_or_turned_surfaces_are_noticed():
    corners, faces = np.asarray(CUBE.vertices) + 0.5, np.asarray(CUBE.faces)
    assert settled(corners, faces).volume_mm3 == pytest.approx(1)
    with pytest.raises(WriteError):
        settled(corners, faces[1:])
    turned = faces.copy()
    turned[3] = turned[3][::-1]
    with pytest.raises(WriteError):
        settled(corners, turned)
    with pytest.raises(WriteError):
        settled(corners, faces[:, ::-1])  # inside out
    assert not is_closed(Mesh(corners, faces[:0]))


def test_order_does_not_hang_on_how_it_was_made():
    corners, faces = np.asarray(CUBE.vertices) + 0.5, np.asarray(CUBE.faces)
    order = np.random.default_rng(4).permutation(8)
    other = settled(corners[order], np.roll(np.argsort(order)[faces], 1, axis=1)[::-1])
    one = settled(corners, faces)
    assert np.array_equal(one.corners_mm, other.corners_mm)
    assert np.array_equal(one.triangles, other.triangles)


# the files


def test_stl_is_what_the_format_says():
    """80 bytes of header, a count of 32 bits, and 50 bytes a triangle: normal, three corners, two bytes left 0."""
    data = plate(made.tag(), Solid(6))["x.stl"]
    assert not data.startswith(b"solid")
    assert data[:8] == b"digitize"
    assert b"unit mm" in data[:80]
    (count,) = struct.unpack("<I", data[80:84])
    assert len(data) == 84 + 50 * count
    for k in (0, count // 2, count - 1):
        values = struct.unpack("<12fH", data[84 + 50 * k : 134 + 50 * k])
        normal, (a, b, c) = np.array(values[:3]), np.array(values[3:12]).reshape(3, 3)
        across = np.cross(b - a, c - a)
        assert normal == pytest.approx(across / np.linalg.norm(across), abs=1e-4)
        assert values[12] == 0


def test_3mf_is_a_whole_package_in_mm_with_its_cautions():
    """Parts and names after the 3MF core specification and ECMA-376 part 2 (open packaging)."""
    item = made.tag()
    with zipfile.ZipFile(io.BytesIO(plate(item, Solid(6))["x.3mf"])) as package:
        assert package.testzip() is None
        assert package.namelist()[0] == "[Content_Types].xml"
        assert {entry.date_time for entry in package.infolist()} == {(1980, 1, 1, 0, 0, 0)}
        model = ET.fromstring(package.read("3D/3dmodel.model"))
        relations = ET.fromstring(package.read("_rels/.rels"))
    assert relations[0].get("Target") == "/3D/3dmodel.model"
    assert model.tag == THREEMF + "model"
    assert model.get("unit") == "millimeter"
    words = {one.get("name"): one.text for one in model.findall(THREEMF + "metadata")}
    assert words["Title"] == "Outline of lantern row 7.png"
    for part in ("Plate of 6 mm", "5 mm deep on a floor of 1 mm", "clearance +0.200", "3D printer", "machine's manual"):
        assert part in words["Description"]
    assert words["Application"].startswith("digitize ")


@pytest.mark.parametrize(
    "name", ['lantern\'s row <7> & "8".png', "tab\tbell\x07.png", "Läden-徽章-\U0001f3f7.png", "\ud7ff.png"]
)
def test_3mf_is_read_by_the_reference_library_of_the_format(tmp_path, name):
    """lib3mf, the 3MF consortium's own: no warning either, and the mesh as trimesh has it."""
    item = made.tag()
    result = replace(made.result(item), source_name=name)
    files = solid_files(result, [item], Solid(6), stem="x")
    (tmp_path / "x.3mf").write_bytes(files["x.3mf"])
    model = lib3mf.get_wrapper().CreateModel()
    reader = model.QueryReader("3mf")
    reader.SetStrictModeActive(True)
    reader.ReadFromFile(str(tmp_path / "x.3mf"))
    assert [reader.GetWarning(k) for k in range(reader.GetWarningCount())] == []
    meshes = model.GetMeshObjects()
    assert meshes.MoveNext()
    found = meshes.GetCurrentMeshObject()
    assert found.IsManifoldAndOriented()
    corners = np.array([list(v.Coordinates) for v in found.GetVertices()])
    box = np.ptp(corners, axis=0)
    assert box == pytest.approx(np.ptp(read_back(files, kind="3mf").vertices, axis=0), abs=1e-4)
    assert not meshes.MoveNext()


def test_files_are_known_as_own_until_somebody_changes_them(tmp_path):
    files = plate(made.tag(), Solid(6))
    for name, data in files.items():
        assert is_sealed(data), name
        for place in (len(data) // 2, len(data) - 30):
            assert not is_sealed(data[:place] + bytes([data[place] ^ 1]) + data[place + 1 :])
    write_files(tmp_path, files)
    write_files(tmp_path, plate(made.tag(), Solid(7)))
    (tmp_path / "x.3mf").write_bytes((tmp_path / "x.3mf").read_bytes() + b"!")
    with pytest.raises(WriteError, match="edited since"):
        write_files(tmp_path, files)


@pytest.mark.parametrize("data", [b"PK\x03\x04", b"PK\x03\x04" + b"DIGITIZE_" + b"0" * 16, b"PK\x03\x04" * 40])
def test_damaged_packages_are_no_own_files(data):
    assert not is_sealed(data)
    assert not is_sealed(data + b"PK\x01\x02 DIGITIZE_0123456789ABCDEF")


def test_the_same_solid_gives_the_same_bytes_in_another_process():
    code = (
        "import hashlib; from tests import made; from digitize.write.solid.asked import Solid;"
        "from digitize.write.solid.files import solid_files; i = made.tag();"
        "print([hashlib.sha256(d).hexdigest() for d in solid_files(made.result(i), [i], Solid(6), stem='x').values()])"
    )
    runs = [
        subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=Path(__file__).parents[1])
        for _ in "ab"
    ]
    assert [run.stderr for run in runs] == ["", ""]
    assert runs[0].stdout == runs[1].stdout != ""


def test_separate_writes_a_solid_an_item():
    from digitize.run import Output, vector_files

    second = replace(made.tag(name="tag-2"), sheet_mm=(100.0, 30.0))
    output = Output(folder=Path(), formats=("svg",), separate=True, solid=Solid(6))
    names = sorted(vector_files(made.result(made.tag(), second), output, "both"))
    assert names == ["tag-1.3mf", "tag-1.stl", "tag-1.svg", "tag-2.3mf", "tag-2.stl", "tag-2.svg"]


def test_solid_without_a_pocket_is_refused_before_anything_is_read(tmp_path):
    from digitize.run import outline_file
    from digitize.settings import Settings

    with pytest.raises(UsageError, match="--solid needs pockets"):
        outline_file(tmp_path / "missing.png", Settings(), Output(folder=tmp_path, solid=Solid(6)))


def test_another_solid_is_another_task_for_a_batch():
    from digitize.batch.task import Wanted
    from digitize.settings import Settings

    hashes = {
        Wanted(settings=Settings.of({"clearance": 0}), output=Output(solid=one)).digest()
        for one in (None, Solid(6), Solid(6, 2))
    }
    assert len(hashes) == 3
