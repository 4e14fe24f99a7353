"""Right or wrong, flagged or in silence: what digitize makes of a rendered scan against its truth."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from tests.bench.found import Found, FoundItem, outline_of, save_check_picture
from tests.near import distances
from tests.truth.lid import LidPicture

SPACING_MM = 0.05
RUN_MM = 0.5  # an error counts when it holds along this much of an item's edges
CORNER_MM = 0.3  # what lies this near a sharp corner is left out: there the blur rounds
SHARP_DEG = 20.0
TIMES_STATED = 3.0
LEAST_STATED_MM = 0.02  # where the density is given, and right, for a figure that owes 2 % to it


@dataclass(frozen=True)
class Verdict:
    """What became of one scan."""

    name: str
    tags: tuple[str, ...]
    ordinary: bool
    wrong: tuple[str, ...]  # what is wrong, in words; empty: right
    flagged: bool
    looks: tuple[str, ...]
    unsound: tuple[str, ...]  # why outlines cannot be cut, or that there was a crash
    worst_mm: float  # largest error of an item that was found
    allowed_mm: float  # of that item
    seconds: float

    @property
    def kind(self) -> str:
        """One of "right", "right and flagged", "wrong and flagged", "wrong in silence"."""
        if not self.wrong:
            return "right and flagged" if self.flagged else "right"
        return "wrong and flagged" if self.flagged else "wrong in silence"


def judge(picture: LidPicture, keep: Path | None = None, **options) -> Verdict:
    """Outline the scan and compare; with `keep` write picture, truth and check picture there."""
    options |= {"square_mm": picture.square_mm} if picture.square_mm else {"dpi": picture.dpi}
    with tempfile.TemporaryDirectory() as folder:
        found = outline_of(picture.save(Path(folder) / "scan"), **options)
    if keep is not None:
        _keep(picture, found, keep)
    return verdict_of(picture, found)


def verdict_of(picture: LidPicture, found: Found) -> Verdict:
    """Compare what was found with the truth."""
    pairs, wrong = _paired(picture, found)
    errors = [(error_mm(truth, there), TIMES_STATED * _stated_mm(picture, item)) for truth, there, item in pairs]
    for (truth, there, _), (error, allowed) in zip(pairs, errors, strict=True):
        wrong += _holes_wrong(truth, there)
        if error > allowed:
            x, y = picture.to_px(np.array(truth.centroid.coords))[0]
            wrong.append(f"{error:.3f} mm off at {x:.0f},{y:.0f} (allowed {allowed:.3f})")
    if picture.must_be_said and not found.flagged:
        wrong += [f"not said: {what}" for what in picture.must_be_said]
    worst = max(errors, key=lambda pair: pair[0] - pair[1], default=(0.0, 0.0))
    return Verdict(
        picture.name,
        tuple(sorted(picture.tags)),
        picture.ordinary,
        tuple(wrong),
        found.flagged,
        found.looks,
        tuple(item.unsound for item in found.items if item.unsound) + ((found.error,) if found.crashed else ()),
        *worst,
        found.seconds,
    )


def _stated_mm(picture: LidPicture, item: FoundItem) -> float:
    """Return the figure stated; where no reference lies in the picture, that of the edge alone."""
    return item.stated_mm if picture.square_mm else max(item.own_mm, LEAST_STATED_MM)


def _paired(picture: LidPicture, found: Found):
    """Return (truth, found polygon in mm, item) of those that belong together, and what is wrong with the others."""
    if found.error:
        return [], [f"no result: {found.error[:120]}"]
    placed = [(_in_mm(picture, item), item) for item in found.items]
    pairs, wrong = [], []
    for truth in picture.items:
        best = max(placed, key=lambda p: _overlap(truth, p[0]), default=None)
        if best is None or _overlap(truth, best[0]) < 0.5:
            x, y = picture.to_px(np.array(truth.centroid.coords))[0]
            wrong.append(f"lost: item at {x:.0f},{y:.0f}")
        else:
            pairs.append((truth, *best))
    taken = {id(item) for _, _, item in pairs}
    for polygon, item in placed:
        if id(item) not in taken:
            x, y = picture.to_px(np.array(polygon.centroid.coords))[0]
            wrong.append(f"phantom: {item.area_mm2:.0f} mm2 at {x:.0f},{y:.0f}")
    return pairs, wrong


def _in_mm(picture: LidPicture, item: FoundItem):
    import shapely

    rings = [picture.to_mm(np.array(r.coords)[:-1]) for r in (item.polygon_px.exterior, *item.polygon_px.interiors)]
    return shapely.make_valid(shapely.Polygon(rings[0], rings[1:]))


def _overlap(a, b) -> float:
    """Return the share of both that is common to both."""
    common = a.intersection(b).area
    return common / (a.area + b.area - common)


def _holes_wrong(truth, there) -> list[str]:
    import shapely

    left = [shapely.Polygon(hole) for part in _parts(there) for hole in part.interiors]
    wrong = []
    for hole in (shapely.Polygon(h) for h in truth.interiors):
        best = max(left, key=lambda other: _overlap(hole, other), default=None)
        if best is None or _overlap(hole, best) < 0.5:
            wrong.append(f"hole lost: {hole.area:.1f} mm2")
        else:
            left.remove(best)
    return wrong + [f"hole that is none: {hole.area:.1f} mm2" for hole in left]


def _parts(polygon):
    return [p for p in getattr(polygon, "geoms", [polygon]) if p.geom_type == "Polygon"]


def error_mm(truth, there) -> float:
    """Return the distance that is exceeded along `RUN_MM` of the edges, either way; corners left out.

    Rings without a partner do not count here: they are lost or false holes.
    """
    import shapely

    edges = shapely.union_all([p.boundary for p in _parts(there)])
    corners = shapely.MultiPoint(_sharp_corners(truth))
    one = _distances(_matched_rings(truth, there), edges, corners)
    two = _distances(_matched_rings(there, truth), truth.boundary, corners)
    return max(_held(one), _held(two))


def _matched_rings(polygon, other):
    """Return the outer rings, and the holes that overlap one of `other`'s."""
    import shapely

    holes = [shapely.Polygon(h) for part in _parts(other) for h in part.interiors]
    rings = []
    for part in _parts(polygon):
        rings.append(part.exterior)
        rings += [h for h in part.interiors if any(_overlap(shapely.Polygon(h), o) >= 0.5 for o in holes)]
    return rings


def _distances(rings, edges, corners):
    import shapely

    lines = [shapely.segmentize(ring, SPACING_MM) for ring in rings]
    points = shapely.points(np.concatenate([shapely.get_coordinates(line)[:-1] for line in lines]))
    if not corners.is_empty:
        points = points[shapely.distance(points, corners) > CORNER_MM]
    return distances(points, edges)


def _held(distances) -> float:
    """Return the distance that at least `RUN_MM` of the points exceed."""
    count = int(RUN_MM / SPACING_MM)
    return float(np.sort(distances)[-count]) if len(distances) >= count else 0.0


def _sharp_corners(polygon):
    found = []
    for ring in (polygon.exterior, *polygon.interiors):
        points = np.array(ring.coords)[:-1]
        into, out = points - np.roll(points, 1, axis=0), np.roll(points, -1, axis=0) - points
        turn = np.arctan2(into[:, 0] * out[:, 1] - into[:, 1] * out[:, 0], (into * out).sum(1))
        found.append(points[np.abs(np.degrees(turn)) > SHARP_DEG])
    return np.concatenate(found)


def _keep(picture: LidPicture, found: Found, folder: Path) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    base = folder / picture.name.replace(" ", "-")
    picture.save(base)
    picture.save_truth(f"{base}.truth.png")
    if found.outlines is not None:
        save_check_picture(found, base)
