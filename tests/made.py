"""Results made by hand for the writers' tests: blanks of the invented Lantern Row Workshop.

Every size follows from the numbers written here, so a reader of the tests can check a file with
pencil and paper. Shares no geometry code with `digitize`.
"""

import math
from dataclasses import dataclass, replace

import numpy as np

from digitize.records import (
    Allowance,
    Circle,
    Contour,
    Contribution,
    Finding,
    Item,
    Path,
    Pocket,
    Result,
    ScaleFacts,
    Uncertainty,
)
from digitize.trust.least_sure import least_sure

QUARTER = math.sqrt(2) - 1  # tan(90 degrees / 4)
PX_PER_MM = 600 / 25.4

UNCERTAINTY = Uncertainty(
    profile_k2_mm=0.012,
    length_offset_k2_mm=0.024,
    length_per_metre_k2_mm=0.3,
    budget=(Contribution("card", length_per_mm=0.00015, note="measured with calipers"), Contribution("edge", 0.004)),
)


def ring(points):
    array = np.array(points, dtype=float)
    array.setflags(write=False)
    return array


def circle_ring(x, y, radius, *, count=400, clockwise=False):
    turn = np.arange(count) * (2 * math.pi / count) * (-1 if clockwise else 1)
    return ring(np.column_stack([x + radius * np.cos(turn), y + radius * np.sin(turn)]))


def rounded(width, height, radius, *, at=(0.0, 0.0)):
    """Return a rounded rectangle as a counter-clockwise path of four lines and four quarter arcs."""
    x, y, w, h, r = *at, width, height, radius
    corners = [(r, 0), (w - r, 0), (w, r), (w, h - r), (w - r, h), (r, h), (0, h - r), (0, r)]
    points = ring([(x + a, y + b) for a, b in corners])
    return Path(points, ring([0, QUARTER] * 4))


def rounded_ring(width, height, radius, *, count=50, at=(0.0, 0.0)):
    """Return the same shape as dense points, `count` on each corner and each side."""
    x, y, w, h, r = *at, width, height, radius
    points = []
    for number, (cx, cy) in enumerate([(w - r, r), (w - r, h - r), (r, h - r), (r, r)]):
        turn = (number - 1 + np.arange(count) / count) * (math.pi / 2)
        points += [(cx + r * math.cos(t), cy + r * math.sin(t)) for t in turn]
        nx, ny = [(w, h - r), (r, h), (0, r), (w - r, 0)][number]
        sx, sy = [(w, r), (w - r, h), (0, h - r), (r, 0)][number]
        points += [(sx + (nx - sx) * k / count, sy + (ny - sy) * k / count) for k in range(count)]
    return ring([(x + a, y + b) for a, b in points])


def in_picture(points_mm, *, origin_px, is_hole=False, px_per_mm=PX_PER_MM):
    points = ring(np.asarray(origin_px) + np.asarray(points_mm) * (px_per_mm, -px_per_mm))
    noise = 0.02 + 0.01 * np.sin(np.arange(len(points)) / 7)
    return Contour(points, ring(noise), (), is_hole, 0.8, 0.7 if not is_hole else 0.6)


def tag(*, name="tag-1", sheet_mm=(0.0, 0.0), origin_px=(400.0, 2000.0), pocket=True, px_per_mm=PX_PER_MM):
    """Return a 60 x 40 mm tag, corners of 6 mm radius, with a 5 mm hanging hole at (8, 20)."""
    exterior, hole = rounded_ring(60, 40, 6), circle_ring(8, 20, 2.5, clockwise=True)
    chain = (Allowance("clearance", 0.2), Allowance("kerf", -0.09))
    cut = Pocket((rounded(60.22, 40.22, 6.11, at=(-0.11, -0.11)),), chain, 0.2, 0.18)
    area = 60 * 40 - (4 - math.pi) * 36 - math.pi * 6.25
    contours = (
        in_picture(exterior, origin_px=origin_px, px_per_mm=px_per_mm),
        in_picture(hole, origin_px=origin_px, is_hole=True, px_per_mm=px_per_mm),
    )
    return Item(
        name=name,
        exterior_mm=exterior,
        holes_mm=(hole,),
        path=rounded(60, 40, 6),
        hole_paths=(Circle((8.0, 20.0), 2.5),),
        sheet_mm=sheet_mm,
        origin_px=origin_px,
        width_mm=60.0,
        height_mm=40.0,
        area_mm2=area,
        perimeter_mm=2 * 48 + 2 * 28 + 2 * math.pi * 6,
        centroid_mm=(30.4, 20.0),
        uncertainty=UNCERTAINTY,
        contours=contours,
        least_sure=least_sure(contours, 1 / px_per_mm),
        pocket=cut if pocket else None,
        print_area=(rounded(62, 42, 7, at=(-1, -1)),) if pocket else (),
        findings=(
            Finding("shadow-suspected", "the lower edge is 0.03 mm softer than the upper", 0.03, 0.02, (700.0, 1999.0)),
        ),
    )


def fob(*, name="fob-1", sheet_mm=(75.0, 5.0), origin_px=(2200.0, 1900.0), px_per_mm=PX_PER_MM):
    """Return a stadium 50 x 20 mm: two lines and two semicircles of radius 10."""
    path = Path(ring([(10, 0), (40, 0), (40, 20), (10, 20)]), ring([0, 1, 0, 1]))
    exterior = rounded_ring(50, 20, 9.999999)
    contours = (in_picture(exterior, origin_px=origin_px, px_per_mm=px_per_mm),)
    return Item(
        name=name,
        exterior_mm=exterior,
        holes_mm=(),
        path=path,
        hole_paths=(),
        sheet_mm=sheet_mm,
        origin_px=origin_px,
        width_mm=50.0,
        height_mm=20.0,
        area_mm2=30 * 20 + math.pi * 100,
        perimeter_mm=60 + 2 * math.pi * 10,
        centroid_mm=(25.0, 10.0),
        uncertainty=UNCERTAINTY,
        contours=contours,
        least_sure=least_sure(contours, 1 / px_per_mm),
    )


def result(*items, **changes):
    """Return a result of a tag and a fob, or of the items given."""
    made = Result(
        source_name="lantern row 7.png",
        source_sha256="5e" * 32,
        width_px=4000,
        height_px=2600,
        scale=ScaleFacts(
            kind="flatbed",
            mm_per_px=(25.4 / 600, 25.4 / 601),
            reference="plain square 50 x 50 mm",
            residual_mm=0.004,
            measured=True,
            skew_deg=0.01,
            corners_px=ring([(300, 300), (1480, 310), (1470, 1490), (290, 1480)]),
        ),
        items=items or (tag(), fob()),
        tolerance_mm=0.02,
        findings=(Finding("two-items", "2 items found", attention=False),),
        options={"square": "50", "clearance": "0.2", "kerf": "0.18"},
    )
    return replace(made, **changes)


class FlatScale:
    """A plain scale for the tests: mm per px the same in x and y, y turned up."""

    kind = "flatbed"

    def __init__(self, px_per_mm=PX_PER_MM, height_px=2600):
        self.px_per_mm, self.height_px = px_per_mm, height_px

    def to_mm(self, points_px):
        return np.column_stack([points_px[:, 0], self.height_px - points_px[:, 1]]) / self.px_per_mm

    def to_px(self, points_mm):
        scaled = np.asarray(points_mm) * self.px_per_mm
        return np.column_stack([scaled[:, 0], self.height_px - scaled[:, 1]])


@dataclass(frozen=True)
class Truth:
    """A rounded rectangle by its centre, half sides and corner radius; a circle is one without sides."""

    x: float
    y: float
    half_width: float
    half_height: float
    radius: float

    def distance(self, points):
        """Return the signed distance of (N, 2) points to the edge: the textbook formula of a box grown by a radius."""
        over = np.abs(points - (self.x, self.y)) - (self.half_width - self.radius, self.half_height - self.radius)
        return np.hypot(*np.maximum(over, 0).T) + np.minimum(over.max(axis=1), 0) - self.radius

    @property
    def perimeter(self):
        straight = 4 * (self.half_width + self.half_height - 2 * self.radius)
        return straight + 2 * math.pi * self.radius


DRAWN = {
    "OUTLINE": [Truth(30, 20, 30, 20, 6), Truth(8, 20, 2.5, 2.5, 2.5), Truth(100, 15, 25, 10, 10)],
    "POCKET": [Truth(30, 20, 30.11, 20.11, 6.11)],
    "PRINT": [Truth(30, 20, 31, 21, 7)],
}
"""What a drawing of `result()` must show, on the sheet."""


def assert_shapes(found, expected=None, *, within_mm=0.001):
    """Check that loops, a dict of layer to (N, 2) arrays of dense points, are the expected shapes.

    Every point lies within 1 um of its shape's edge, the loop is closed, as long as the perimeter
    (so no side is missing) and every shape is there once.
    """
    expected = DRAWN if expected is None else expected
    assert {k: len(v) for k, v in found.items()} == {k: len(v) for k, v in expected.items()}
    for layer, shapes in expected.items():
        left = list(found[layer])
        for shape in shapes:
            worst = [np.abs(shape.distance(loop)).max() for loop in left]
            assert min(worst) <= within_mm, (layer, shape, worst)
            loop = left.pop(int(np.argmin(worst)))
            closed = np.vstack([loop, loop[:1]])
            length = np.hypot(*np.diff(closed, axis=0).T).sum()
            assert abs(length - shape.perimeter) <= 1e-4 * shape.perimeter, (layer, shape, length)
