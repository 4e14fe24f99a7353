"""The print area against shapely's offset of the true outline, and what is refused."""

from __future__ import annotations

import io

import ezdxf
import numpy as np
import pytest
import shapely

from digitize.cutting.print_area import make_print_area
from digitize.errors import UsageError
from digitize.fitting.bulge import curve_area, curve_ring
from digitize.fitting.ring import make_ring
from digitize.records import Circle
from digitize.settings import Settings
from tests import strategies as s
from tests.pockets import pocket_of

TOLERANCE = 0.02


def circle(radius: float, centre: tuple[float, float] = (0, 0), *, hole: bool = False) -> s.Ring:
    turn = np.linspace(0, 2 * np.pi, int(2 * np.pi * radius / 0.042), endpoint=False) * (-1 if hole else 1)
    return np.array(centre) + radius * np.column_stack([np.cos(turn), np.sin(turn)])


@pytest.mark.parametrize("distance", [1.5, 0.0, -1.5])
@pytest.mark.parametrize("outline", [s.id1_card(), s.star(5, 30, 13), s.wave(8, 20, 6.0)], ids=str)
def test_every_point_lies_the_distance_from_the_true_edge(outline: s.Outline, distance: float) -> None:
    ring, _ = outline.sampled(noise=0.002, seed=31, corners=True)
    truth = shapely.Polygon(outline.sampled(spacing=0.02, corners=True)[0])
    (curve,) = make_print_area((make_ring(ring),), distance)
    wanted = truth.buffer(distance, quad_segs=256)
    flat = shapely.Polygon(curve_ring(curve, chord_mm=1e-4))
    ends = np.asarray(wanted.exterior.coords)
    tree = shapely.STRtree(shapely.linestrings(np.stack([ends[:-1], ends[1:]], axis=1)))
    along = shapely.points(shapely.get_coordinates(shapely.segmentize(flat.exterior, 0.1)))
    assert tree.query_nearest(along, return_distance=True, all_matches=False)[1].max() < TOLERANCE
    assert abs(flat.area - wanted.area) < 0.002 * wanted.length


@pytest.mark.parametrize(("distance", "outer", "inner"), [(1.0, 21, 4), (-1.0, 19, 6)])
def test_holes_go_the_other_way_by_the_same_amount(distance: float, outer: float, inner: float) -> None:
    hole, outline = make_print_area(tuple(map(make_ring, (circle(20), circle(5, (4, 0), hole=True)))), distance)
    assert isinstance(hole, Circle)
    assert isinstance(outline, Circle)
    assert (outline.radius_mm, hole.radius_mm) == pytest.approx((outer, inner), abs=1e-3)
    assert hole.centre_mm == pytest.approx((4, 0), abs=1e-3)


def test_a_hole_smaller_than_the_bleed_vanishes() -> None:
    assert len(make_print_area(tuple(map(make_ring, (circle(20), circle(0.9, (4, 0), hole=True)))), 1.0)) == 1


def test_a_slot_that_the_bleed_just_closes_leaves_no_slivers() -> None:
    """A slot 3 mm wide and 1.5 mm of bleed: what the edge's noise leaves of it is nowhere 0.04 mm wide."""
    ring, _ = s.slot(22, 3).sampled(noise=0.002, seed=32)
    plate = s.even(np.array([[-20, -10], [20, -10], [20, 10], [-20, 10.0]]), 0.05)
    hole = (ring - ring.mean(axis=0))[::-1]
    for distance, edges in ((1.5, 1), (1.49, 1), (1.4, 2)):
        assert len(make_print_area(tuple(map(make_ring, (plate, hole))), distance)) == edges
    assert len(pocket_of(plate, (hole,), clearance_mm=1.49, cut_holes=True).curves) == 1


def test_what_falls_apart_has_several_edges_all_counter_clockwise() -> None:
    dumbbell = np.array([[0, 0], [10, 0], [10, 4], [20, 4], [20, 0], [28, 0], [28, 10], [20, 10], [20, 6], [10, 6]])
    dumbbell = s.even(np.vstack([dumbbell, [[10, 10], [0, 10.0]]]), 0.05)
    edges = make_print_area((make_ring(dumbbell),), -1.2)
    assert len(edges) == 2
    assert all(curve_area(edge) > 0 for edge in edges)


def test_an_inset_that_leaves_nothing_is_a_sentence() -> None:
    with pytest.raises(UsageError, match=r"--inset 21 leaves no area to print on an item of 40\.0 x 40\.0 mm"):
        make_print_area((make_ring(circle(20)),), -21)


def test_both_or_absurd_values_are_refused() -> None:
    with pytest.raises(UsageError, match="give one of them"):
        Settings(bleed_mm=1, inset_mm=1)
    for given in ({"bleed_mm": -1.0}, {"inset_mm": 51.0}, {"bleed_mm": float("nan")}):
        with pytest.raises(UsageError, match="expected 0 to 50 mm"):
            Settings.of(given)  # type: ignore[arg-type]
    assert Settings().print_offset_mm is None
    assert Settings(bleed_mm=0).print_offset_mm == 0
    assert Settings(inset_mm=2).print_offset_mm == -2


def test_command_writes_the_area_on_its_layer(tmp_path) -> None:  # type: ignore[no-untyped-def]
    """From a scan rendered by the tests: a disc of 20 mm with a hole of 6, bleed 1.5: radii 11.5 and 1.5."""
    from typer.testing import CliRunner

    from digitize.cli.commands import app
    from tests.truth.flatbed import Scene, save_png
    from tests.truth.shapes import Shape
    from tests.truth.shapes import circle as true_circle

    scene = Scene(50, 26, dpi_x=300, background=0.86, blur_px=0.8, noise_codes=1.5)
    scene.add_square(12, (9, 13), 5)
    scene.add_item(Shape(true_circle(20), (true_circle(6),)), (34, 13), 0, 0.1)
    save_png(tmp_path / "disc.png", scene.render())
    run = CliRunner().invoke(
        app, ["outline", str(tmp_path / "disc.png"), "--square", "12", "--bleed", "1.5", "--to", str(tmp_path)]
    )
    assert run.exit_code == 0, run.output
    document = ezdxf.read(io.StringIO((tmp_path / "disc.dxf").read_text()))
    circles = [e for e in document.modelspace().query("CIRCLE") if e.dxf.layer == "PRINT"]
    assert sorted(c.dxf.radius for c in circles) == pytest.approx([1.5, 11.5], abs=0.005)
    words = " ".join(e.dxf.text for e in document.modelspace().query("TEXT"))
    assert "UV printing" in words
    assert b'id="PRINT"' in (tmp_path / "disc.svg").read_bytes()
    assert b"/PRINT" in (tmp_path / "disc.pdf").read_bytes()
    both = CliRunner().invoke(app, ["outline", "x.png", "--bleed", "1", "--inset", "1"])
    assert both.exit_code == 2
