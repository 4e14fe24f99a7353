"""Straight sides are lines: no arc of more than 2 m radius in any drawing; radii as ezdxf reads them from the DXF."""

from __future__ import annotations

import io
from itertools import pairwise

import ezdxf
import numpy as np
import pytest

from digitize.fitting.bulge import make_path, path_kinks, path_radii
from digitize.fitting.distance import two_sided_distance
from digitize.fitting.draft import first_draft
from digitize.fitting.fit import fit_curve
from digitize.fitting.ring import make_ring
from digitize.fitting.symmetrise import symmetric_curve
from digitize.fitting.vast import along_vast
from digitize.reading.picture import read_picture
from digitize.recipe.outline import outline_picture
from digitize.records import Path, Result, Symmetry
from tests import strategies as s
from tests.test_samples import SAMPLES, expected, settings
from tests.truth import zoo
from tests.truth.flatbed import Scene, save_png
from tests.written import dxf_bytes

LARGEST_MM = 2000.0
ASKED = {  # each with paths of its own: pocket, pegs, notches, print area
    "measured": {"cut": "router", "cutter": "2", "notches": "2", "inset": "1"},
    "symmetric": {"symmetric": True, "clearance": "0.1", "kerf": "0.15", "cut-holes": True, "bleed": "1"},
}
SHAPES = ("gear", "heart", "heptagon", "id1-card", "key-fob")  # all others: tests/bench/vast.py
COLUMNS, CELL_MM = 3, (92.0, 66.0)


def radii(result: Result) -> list[float]:
    """Return the radii of all arcs and circles of the drawing, in mm."""
    document = ezdxf.read(io.StringIO(dxf_bytes(result).decode()))
    found = [float(circle.dxf.radius) for circle in document.modelspace().query("CIRCLE ARC")]
    for line in document.modelspace().query("LWPOLYLINE"):
        found += [float(part.dxf.radius) for part in line.virtual_entities() if part.dxftype() == "ARC"]
    return found


def laid(names, seed: int, path):
    """Return a scan of five shapes at most, and how it is outlined."""
    scene = Scene(COLUMNS * CELL_MM[0], 2 * CELL_MM[1], dpi_x=300, seed=seed, noise_codes=1.5)
    scene.add_square(30, (CELL_MM[0] / 2, CELL_MM[1] / 2), 3.0)
    for number, name in enumerate(names, 1):
        row, column = divmod(number, COLUMNS)
        place = (CELL_MM[0] * (column + 0.5), CELL_MM[1] * (row + 0.5))
        scene.add_item({**zoo.BLANKS, **zoo.PUBLISHED}[name](), place, 2.0 + number, (0.08, 0.10, 0.12))
    save_png(path, scene.render())
    return read_picture(path), ["--square", "30"]


@pytest.fixture(scope="module")
def scans(tmp_path_factory):
    case = expected("case")
    return {
        "shapes": laid(SHAPES, 1, tmp_path_factory.mktemp("scan") / "scan.png"),
        "case": (read_picture(SAMPLES / case["picture"]), case["options"]),
    }


@pytest.mark.parametrize(("which", "asked"), [("shapes", "measured"), ("shapes", "symmetric"), ("case", "measured")])
def test_no_drawing_holds_an_arc_of_more_than_two_metres(scans, which: str, asked: str) -> None:
    read, options = scans[which]
    result = outline_picture(read, settings(options, ASKED[asked])).result
    found = radii(result)
    assert len(found) >= len(result.items)
    assert max(found) <= LARGEST_MM


def test_the_radii_read_are_those_written() -> None:
    """A bulge of 1e-10 over 1 m: 2.5e12 mm. What was written once is seen."""
    corners = [(0, 0, 1e-10), (1000, 0, 0.0), (0, 5, 0.0)]
    line = ezdxf.new().modelspace().add_lwpolyline(corners, format="xyb", close=True)
    (arc,) = [part for part in line.virtual_entities() if part.dxftype() == "ARC"]
    assert arc.dxf.radius == pytest.approx(2.5e12, rel=1e-3)


# the fit


def bowed(radius: float, *, length: float = 100.0, noise: float = 0.002) -> s.Ring:
    """A rectangle `length` long and 40 mm high whose lower side bows outward with a radius, in mm."""
    half = np.arcsin(length / 2 / radius)
    turn = np.linspace(-half, half, int(length * 10), endpoint=False)
    low = np.column_stack([radius * np.sin(turn), radius * (np.cos(half) - np.cos(turn))])
    corners = np.array([[length / 2, 0], [length / 2, 40], [-length / 2, 40], [-length / 2, 0.0]])
    rest = [a + np.linspace(0, 1, 400, endpoint=False)[:, None] * (b - a) for a, b in pairwise(corners)]
    ring = np.concatenate([low, *rest])
    return ring + noise * np.random.default_rng(5).standard_normal(ring.shape)


@pytest.mark.parametrize(
    ("radius", "length", "lines"),
    [
        (12_500.0, 100.0, 2),  # sagitta 0.1 mm; a line within 0.02 mm of an arc spans one of 0.04 at most: 100/63.2
        (5_000.0, 100.0, 3),  # 0.25 mm; 100/40
        (5_000.0, 30.0, 1),  # 0.0225 mm
        (40_000.0, 100.0, 1),  # 0.031 mm
    ],
)
def test_a_side_that_bows_with_a_vast_radius_becomes_the_fewest_lines(radius: float, length: float, lines: int) -> None:
    ring = bowed(radius, length=length)
    fitted = fit_curve(make_ring(ring))
    assert isinstance(fitted, Path)
    assert np.all(fitted.bulges == 0)
    assert len(fitted.bulges) == 3 + lines
    assert max(two_sided_distance(fitted, ring)[:2]) <= 0.02


def test_a_side_that_bows_with_a_radius_below_two_metres_stays_an_arc() -> None:
    fitted = fit_curve(make_ring(bowed(1500.0)))  # sagitta 0.83 mm
    assert isinstance(fitted, Path)
    assert len(fitted.bulges) == 4
    assert np.min(path_radii(fitted)) == pytest.approx(1500, rel=0.01)


def test_lines_along_an_arc_keep_to_it_and_leave_the_rest() -> None:
    ring = bowed(12_500.0, noise=0.0)
    breaks = np.array([0, 1000, 1400, 1800])
    draft = first_draft(ring, breaks, (0, 1000))
    limit = np.full(len(ring), 0.02)
    divided = along_vast(draft, limit)
    assert max(path_radii(draft.path())[np.isfinite(path_radii(draft.path()))]) > 12_000
    assert np.all(divided.bulges == 0)
    assert len(divided.bulges) == 35  # 0.1 mm / 0.0001 mm: 32 lines, the arc's chord error falls with their square
    assert divided.breaks[divided.fixed].tolist() == [0, 1000]
    assert two_sided_distance(divided.path(), ring)[0] < 0.0003
    assert np.all(np.diff(divided.breaks) > 0)


# made symmetric


def lopsided(low: float) -> Path:
    """A 100 x 40 rectangle, its lower side broken in the middle, `low` mm out."""
    return make_path(np.array([[-50, -20], [0, -20 - low], [50, -20], [50, 20], [-50, 20.0]]), np.zeros(5))


def test_a_side_across_an_axis_is_a_line_to_the_last_digit() -> None:
    turn = np.array([[np.cos(0.3), np.sin(0.3)], [-np.sin(0.3), np.cos(0.3)]])  # digits that do not cancel
    box = make_path(np.array([[-50, -20], [50, -20], [50, 20], [-50, 20.0]]) @ turn, np.zeros(4))
    axes = (np.degrees(0.3) % 180, (np.degrees(0.3) + 90) % 180)
    made = symmetric_curve(box, Symmetry((0.0, 0.0), 2, 0.0, axes, (0.0, 0.0)), within_mm=0.04)
    assert isinstance(made, Path)
    assert made.bulges.tolist() == [0.0, 0.0, 0.0, 0.0]


@pytest.mark.parametrize(("low", "pieces"), [(0.004, 4), (0.1, 5)])
def test_two_lines_that_meet_on_an_axis_become_one_only_if_they_hardly_bend(low: float, pieces: int) -> None:
    """0.004 mm of 100: one line; 0.1 mm, an arc of 12.5 m: as they were, symmetric all the same."""
    made = symmetric_curve(lopsided(low), Symmetry((0.0, 0.0), 1, 0.0, (90.0,), (0.0,)), within_mm=0.04)
    assert isinstance(made, Path)
    assert made.bulges.tolist() == [0.0] * pieces
    assert np.degrees(np.abs(path_kinks(made))).max() == pytest.approx(90, abs=0.2)
