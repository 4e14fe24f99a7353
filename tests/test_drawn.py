"""What people see in every file, for all ways of cutting: radii, kinks and shortest pieces, as others read them.

Two blanks without a corner, a free one and one of lines and quarter circles, 0.3 um of noise; each way with its typical
values. Tangents, radii and lengths are of the readers' own segments: ezdxf's arcs and lines, svgelements' arcs and
lines, MuPDF's Bezier curves.
"""

from __future__ import annotations

import io
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from xml.etree import ElementTree

import ezdxf
import ezdxf.math
import numpy as np
import pymupdf
import pytest
import svgelements

from digitize.cutting.defaults import cutting_from
from digitize.cutting.make import cut_pocket
from digitize.cutting.ways import WAYS
from digitize.fitting.fit import fit_curve
from digitize.fitting.ring import make_ring
from digitize.records import Circle
from digitize.run import Output, vector_files
from tests import made
from tests import strategies as s

LAYERS = ("OUTLINE", "POCKET", "WALL")
LEAST_RADIUS_MM, MOST_RADIUS_MM = 0.2, 2000.0
KINK_DEG = {"OUTLINE": 0.3, "POCKET": 0.3, "WALL": 1.5}  # the wall, which no machine runs, is computed chords
JOINT_MM = 2e-4
SHORTEST_MM = 0.05
POINT_MM = 25.4 / 72


@dataclass(frozen=True)
class Drawn:
    """A piece as a reader has it: its ends and directions there as complex numbers, length and radius (0: a line)."""

    start: complex
    end: complex
    leave: complex
    arrive: complex
    length: float
    radius: float


def line(start: complex, end: complex) -> Drawn:
    return Drawn(start, end, end - start, end - start, abs(end - start), 0.0)


def by_ezdxf(data: bytes) -> Iterator[tuple[str, list[Drawn]]]:
    for entity in ezdxf.read(io.StringIO(data.decode())).modelspace().query("LWPOLYLINE"):
        points = entity.get_points("xyb")
        after = [*points[1:], points[0]] if entity.closed else points[1:]
        yield entity.dxf.layer, [_of_bulge(a, b) for a, b in zip(points, after, strict=False)]


def _of_bulge(one: tuple[float, ...], other: tuple[float, ...]) -> Drawn:
    start, end = complex(*one[:2]), complex(*other[:2])
    if one[2] == 0:
        return line(start, end)
    middle, begin, finish, radius = ezdxf.math.bulge_to_arc(one[:2], other[:2], one[2])
    turn, centre = 1j if one[2] > 0 else -1j, complex(*middle)
    sweep = (finish - begin) % (2 * np.pi)
    return Drawn(start, end, turn * (start - centre), turn * (end - centre), radius * sweep, radius)


def by_svgelements(data: bytes) -> Iterator[tuple[str, list[Drawn]]]:
    for group in ElementTree.fromstring(data).iter("{http://www.w3.org/2000/svg}g"):
        for one in group.iter("{http://www.w3.org/2000/svg}path"):
            parts = svgelements.Path(one.get("d"))
            pieces = (
                part for part in parts if isinstance(part, svgelements.Arc | svgelements.Line | svgelements.Close)
            )
            yield group.get("id"), [_of_segment(part) for part in pieces if part.start != part.end]


def _of_segment(one: svgelements.Arc | svgelements.Linear) -> Drawn:
    start, end = complex(one.start.x, one.start.y), complex(one.end.x, one.end.y)
    if not isinstance(one, svgelements.Arc):
        return line(start, end)
    turn, centre = 1j if one.sweep > 0 else -1j, complex(one.center.x, one.center.y)
    return Drawn(
        start, end, turn * (start - centre), turn * (end - centre), abs(one.sweep) * float(one.rx), float(one.rx)
    )


def by_mupdf(data: bytes) -> Iterator[tuple[str, list[Drawn]]]:
    with pymupdf.open(stream=data, filetype="pdf") as document:
        for one in document[0].get_drawings():
            if one["layer"] in LAYERS and {kind for kind, *_ in one["items"]} <= {"l", "c"}:  # else the knife's frame
                pieces = [_of_places([complex(p.x, p.y) * POINT_MM for p in places]) for _, *places in one["items"]]
                yield one["layer"], pieces


def _of_places(p: list[complex]) -> Drawn:
    if len(p) == 2:
        return line(*p)
    middle = (p[0] + 3 * p[1] + 3 * p[2] + p[3]) / 8
    chord, arrow = abs(p[3] - p[0]), abs(((middle - p[0]) * (p[3] - p[0]).conjugate()).imag) / abs(p[3] - p[0])
    return Drawn(p[0], p[3], p[1] - p[0], p[3] - p[2], chord, (chord**2 / 4 + arrow**2) / (2 * arrow))


READERS = {"dxf": by_ezdxf, "svg": by_svgelements, "pdf": by_mupdf}


@pytest.fixture(scope="module")
def blanks():
    """Rings and curves: fitted once for all ways of cutting."""
    free = s.lobed((0.03, 0.05, 0.02), 12, 0.8)
    free = free + 0.0003 * np.random.default_rng(1).standard_normal((len(free), 1)) * s.across(free)
    plain, _ = s.rounded_rectangle(30, 20, 4).sampled(noise=0.0003, seed=2)
    hole = s.ellipse(3, 3)[::-1]
    rings = [(make_ring(free),), (make_ring(plain), make_ring(hole))]
    return [(ring, tuple(fit_curve(one) for one in ring)) for ring in rings]


def files_of(blanks, way: str) -> tuple[dict[str, bytes], Counter]:
    """The files, and how many curves of how many pieces each layer has; whole circles are not counted."""
    items, count = [], Counter()
    for number, (rings, curves) in enumerate(blanks):
        pocket = cut_pocket(rings, curves, cutting_from({"way": way}))
        tag = made.tag(name=f"tag-{number + 1}", sheet_mm=(60.0 * number, 0.0))
        holes = tuple(ring.points_mm for ring in rings[1:])
        about = {"exterior_mm": rings[0].points_mm, "holes_mm": holes, "path": curves[0], "hole_paths": curves[1:]}
        items.append(replace(tag, **about, pocket=pocket, print_area=()))
        for layer, some in zip(LAYERS, (curves, pocket.curves, pocket.wall), strict=True):
            count.update((layer, len(curve.bulges)) for curve in some if not isinstance(curve, Circle))
    return vector_files(made.result(*items), Output.of({"formats": "dxf,svg,pdf"}), "x"), count


@pytest.mark.parametrize("way", WAYS)
def test_curves_of_every_file_are_as_people_draw_them(blanks, way: str) -> None:
    data, expected = files_of(blanks, way)
    for kind, read in READERS.items():
        seen = [(layer, pieces) for layer, pieces in read(data[f"x.{kind}"]) if layer in LAYERS]
        if kind != "pdf":  # arcs are several curves there
            told = Counter((layer, len(pieces)) for layer, pieces in seen if len(pieces) > 4 and layer != "POCKET")
            assert told == Counter({key: n for key, n in expected.items() if key[0] != "POCKET" and key[1] > 4}), (
                kind
            )  # leads are in it
        assert {layer for layer, _ in seen} >= {"OUTLINE", "POCKET"}
        for layer, pieces in seen:
            radii = [piece.radius for piece in pieces if piece.radius]
            assert min(radii, default=LEAST_RADIUS_MM) >= LEAST_RADIUS_MM, (kind, layer)
            assert max(radii, default=0.0) <= MOST_RADIUS_MM, (kind, layer)
            assert min(piece.length for piece in pieces) >= SHORTEST_MM, (kind, layer)
            if radii:  # else the frame about all that a knife cuts
                assert max(kinks(pieces)) <= KINK_DEG[layer], (kind, layer)


def kinks(pieces: list[Drawn]) -> list[float]:
    """The turn at each joint, degrees; also from the last piece to the first, where they meet."""
    joints = list(zip(pieces, [*pieces[1:], pieces[0]], strict=True))
    away = [abs(one.end - other.start) for one, other in joints]
    assert max(away[:-1]) < JOINT_MM
    return [
        abs(float(np.degrees(np.angle(other.leave / one.arrive))))
        for (one, other), gap in zip(joints, away, strict=True)
        if gap < JOINT_MM
    ]


def test_the_readers_see_planted_kinks_and_radii() -> None:
    quarter = _of_bulge((1.0, 0.0, np.sqrt(2) - 1), (0.0, 1.0))
    assert (quarter.radius, quarter.length) == (pytest.approx(1), pytest.approx(np.pi / 2))
    bent = [line(0j, 1 + 0j), line(1 + 0j, 1 + 1j), line(1 + 1j, 0j)]
    assert kinks(bent) == pytest.approx([90, 135, 135])
    arc = _of_segment(
        next(part for part in svgelements.Path("M1 0A1 1 0 0 1 0 1") if isinstance(part, svgelements.Arc))
    )
    curve = _of_places([1 + 0j, 1 + 0.552285j, 0.552285 + 1j, 1j])
    for one in (arc, curve):
        assert one.radius == pytest.approx(1, abs=1e-3)
        assert abs(np.angle([one.leave / 1j, one.arrive / -1])).max() < 1e-6
