import io
import re
import xml.etree.ElementTree as ET
from dataclasses import replace

import numpy as np
import pytest
import svgelements

from digitize.records import Path
from digitize.seal import is_sealed
from tests import made
from tests.written import svg_bytes

SPACE = "{http://www.w3.org/2000/svg}"


def parsed(data):
    return svgelements.SVG.parse(io.BytesIO(data), reify=True, ppi=25.4)  # one unit a millimetre


def zero_of(data):
    words = ET.fromstring(data).find(SPACE + "desc").text
    return [float(v) for v in re.search(r"x = ([\d.]+), y = ([\d.]+)", words).groups()]


def points_on(shape):
    points = []
    for segment in abs(svgelements.Path(shape)):
        if not isinstance(segment, svgelements.Move | svgelements.Close):
            straight = isinstance(segment, svgelements.Line)
            points += [(p.x, p.y) for p in (segment.point(t) for t in np.linspace(0, 1, 2 if straight else 400))]
    return np.array(points)


def loops(data):
    zero = zero_of(data)
    found = {}
    for group in parsed(data):
        if group.values.get("id") in ("OUTLINE", "POCKET", "PRINT"):
            for shape in group:
                if isinstance(shape, svgelements.Path | svgelements.Circle):
                    points = (points_on(shape) - zero) * (1, -1)
                    found.setdefault(group.values["id"], []).append(points)
    return found


def test_read_back_geometry_agrees_to_1_um():
    made.assert_shapes(loops(svg_bytes(made.result())))


def test_one_item_alone_has_its_own_zero():
    result = made.result()
    data = svg_bytes(result, items=result.items[1:])
    made.assert_shapes(loops(data), {"OUTLINE": [made.Truth(25, 10, 25, 10, 10)]})


@pytest.mark.parametrize("angle", [179.99, 180.0, 180.01, 270.0, 359.0, 0.01])
@pytest.mark.parametrize("sense", [1, -1])
def test_arcs_near_a_half_turn_do_not_lose_their_centre(angle, sense):
    # Ends on a circle of radius 40 about (50, 50), from 10 degrees on.
    first, turn = np.radians(10), sense * np.radians(angle)
    ends = [(50 + 40 * np.cos(t), 50 + 40 * np.sin(t)) for t in (first, first + turn)]
    path = Path(made.ring(ends), made.ring([np.tan(turn / 4), 0.0]))
    data = svg_bytes(made.result(replace(made.fob(), path=path, sheet_mm=(0.0, 0.0))))
    (loop,) = loops(data)["OUTLINE"]
    arc = loop[: -2 if angle != 0.01 else None]  # without the two ends of the line back
    off = np.abs(np.hypot(*(arc - (50, 50)).T) - 40)
    assert off.max() <= 0.001
    turned = np.unwrap(np.arctan2(*(arc[:, ::-1] - (50, 50)).T))
    if angle != 0.01:
        assert turned[-1] - turned[0] == pytest.approx(turn, abs=5e-6)


def test_page_is_in_mm_and_one_unit_of_the_viewbox_is_one_mm():
    data = svg_bytes(made.result())
    root = ET.fromstring(data)
    width, height = (root.get(k) for k in ("width", "height"))
    assert width.endswith("mm")
    assert height.endswith("mm")
    assert root.get("viewBox") == f"0 0 {width[:-2]} {height[:-2]}"
    # CSS: 96 px an inch, so a reader at 96 px an inch sees width / 25.4 * 96.
    assert svgelements.SVG.parse(io.BytesIO(data), ppi=96).width == pytest.approx(float(width[:-2]) / 25.4 * 96)


def test_check_bar_is_100_mm():
    lines = [e for e in parsed(svg_bytes(made.result())).elements() if isinstance(e, svgelements.SimpleLine)]
    longest = max(abs(complex(line.x2 - line.x1, line.y2 - line.y1)) for line in lines)
    # svgelements takes 0.0393701 inch for a mm, which is 5e-7 too much.
    assert longest == pytest.approx(100, abs=1e-4)


def test_groups_titles_and_nothing_that_runs_or_loads():
    data = svg_bytes(made.result())
    root = ET.fromstring(data)
    assert [g.get("id") for g in root.findall(SPACE + "g")] == ["OUTLINE", "POCKET", "PRINT", "CHECK", "TEXT"]
    assert root.find(SPACE + "title").text == "Outline of lantern row 7.png"
    assert "never PVC or vinyl" in root.find(SPACE + "desc").text
    assert {e.tag.removeprefix(SPACE) for e in root.iter()} <= {
        "svg", "title", "desc", "g", "path", "circle", "line", "text",
    }  # fmt: skip
    assert b"href" not in data
    assert is_sealed(data)


def test_arcs_are_arcs_and_no_number_has_an_exponent():
    data = svg_bytes(made.result()).decode()
    assert "A6 6 0 0 0 " in data
    assert not re.search(r' (d|[xy12cr]{1,2}|width|height|viewBox)="[^"]*\de', data)


def test_a_strange_name_cannot_break_the_file():
    for name in ("<script>alert(1)</script>", "--> & ]]>", "\x00\x07\ufffe\udcff.png"):
        data = svg_bytes(made.result(source_name=name))
        root = ET.fromstring(data)
        assert root.find(f".//{SPACE}script") is None
        assert is_sealed(data)
