"""The Python interface: the same objects as inside, the same bytes as the command."""

import inspect
import json
import subprocess
import sys

import numpy as np
import pytest
from shapely import Polygon
from shapely.geometry import shape

import digitize
from digitize.document.document import read_document
from digitize.errors import OutlineError, PictureError, ScaleError, UsageError
from digitize.parameters import declared
from digitize.records import Item, Result
from digitize.settings import Reading, Settings

from .batch_scans import results, run, scan


@pytest.fixture(scope="module")
def path(tmp_path_factory):
    path = tmp_path_factory.mktemp("api") / "tag.png"
    path.write_bytes(scan(1))
    return path


@pytest.fixture(scope="module")
def found(path):
    return digitize.outline(path, square_mm=25)


def test_objects_of_the_recipe(found):
    assert isinstance(found.result, Result)
    assert isinstance(found.items[0], Item)
    assert found.items[0].name == "tag-1"
    assert found.needs_person == any(finding.attention for finding in found.findings)


def test_every_parameter_is_a_keyword_with_its_type():
    """The keywords stand in the source, where editors and type checkers read them; here they are held to what is
    declared. `python -m tests.help_pages` writes them."""
    given = inspect.signature(digitize.outline).parameters
    known = {**declared(Settings), **declared(Reading)}
    assert list(given) == ["picture", *known]
    assert {name: given[name].default for name in known} == {name: one.unsaid for name, one in known.items()}
    assert all(given[name].kind is inspect.Parameter.KEYWORD_ONLY for name in known)
    types = {
        name: one.annotation.replace("Pair", "tuple[float, float]").replace("'", '"') for name, one in given.items()
    }
    for name, one in known.items():
        assert types[name] == one.kind.hint + (" | None" if one.unsaid is None else "")


def test_shapely_polygons_have_the_stated_figures(found):
    (polygon,) = found.to_shapely()
    item = found.items[0]
    assert isinstance(polygon, Polygon)
    assert polygon.is_valid
    assert polygon.area == pytest.approx(item.area_mm2, abs=1e-6)
    assert len(polygon.interiors) == len(item.holes_mm) == 1
    left, bottom, right, top = polygon.bounds
    assert (right - left, top - bottom) == pytest.approx((item.width_mm, item.height_mm), abs=1e-9)


def test_frames(tmp_path):
    from .truth.flatbed import Scene, save_png
    from .truth.shapes import Shape, rectangle

    scene = Scene(120, 60, dpi_x=120)
    scene.add_square(25, (20, 30), 4)
    scene.add_item(Shape(rectangle(20, 12)), (60, 20))
    scene.add_item(Shape(rectangle(20, 12)), (95, 40))
    save_png(tmp_path / "two.png", scene.render())
    found = digitize.outline(tmp_path / "two.png", square_mm=25)
    # 4 degrees of turn of the square are no turn of the plane: the scanner's axes are the frame's
    a, b = (np.array(polygon.centroid.coords[0]) for polygon in found.to_shapely())
    apart = sorted([tuple(a), tuple(b)])
    assert np.subtract(apart[1], apart[0]) == pytest.approx((35, 20), abs=0.05)
    assert [polygon.bounds[:2] for polygon in found.to_shapely(frame="item")] == [pytest.approx((0, 0), abs=1e-9)] * 2
    with pytest.raises(ValueError, match="frame"):
        found.to_shapely(frame="plate")


def test_geojson_is_read_by_another_library(found):
    feature = json.loads(json.dumps(found.to_geojson(frame="item")))["features"][0]
    polygon = shape(feature["geometry"])
    assert polygon.equals_exact(found.to_shapely(frame="item")[0], 1e-12)
    assert polygon.exterior.is_ccw  # RFC 7946, 3.1.6: the exterior counter-clockwise
    assert not polygon.interiors[0].is_ccw
    assert feature["geometry"]["coordinates"][0][0] == feature["geometry"]["coordinates"][0][-1]
    assert feature["properties"]["name"] == "tag-1"


def test_document_is_the_one_that_is_written(found, path, tmp_path):
    assert read_document(found.to_document().encode()).items[0].name == "tag-1"
    found.save(tmp_path / "ours")
    assert run("outline", path, "--to", tmp_path / "commands").returncode in (0, 1)
    assert results(tmp_path / "ours") == results(tmp_path / "commands")
    assert (tmp_path / "ours" / "tag.json").read_text("utf-8") == found.to_document()


def test_pairs_and_numbers_are_the_same(path):
    single, double = (digitize.outline(path, square_mm=square) for square in (25, (25.0, 25.0)))
    assert single.to_document() == double.to_document()


def test_errors_are_ours(path, tmp_path):
    with pytest.raises(UsageError, match="--square"):
        digitize.outline(path, square_mm=-3)
    with pytest.raises(ScaleError):
        digitize.outline(path)
    with pytest.raises(PictureError, match="no such file"):
        digitize.outline(tmp_path / "none.png", square_mm=25)
    with pytest.raises(OutlineError):
        digitize.outline(path, square_mm=25, item_at_px=(2, 2))
    with pytest.raises(AttributeError, match="nothing"):
        digitize.nothing  # noqa: B018


def test_import_is_cheap():
    code = "import sys, digitize; digitize.__version__; sys.exit('numpy' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
