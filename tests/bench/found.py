"""What digitize makes of a picture file, by its public interface, and whether all of it is sound."""

from __future__ import annotations

import time
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

ARC_STEP_DEG = 0.5  # chords of 3 degrees of two arcs that pass close to one another cross where the arcs do not
AREA_SLACK = 1e-3  # share by which the area written and that of the ring written may differ


@dataclass(frozen=True)
class FoundItem:
    """An item as written, placed in the picture."""

    polygon_px: object  # shapely polygon of the rings written, px
    area_mm2: float
    stated_mm: float  # k=2 of an edge point
    own_mm: float  # the same without what is owed to the scale
    unsound: str  # why no one could cut it; empty if all is well


@dataclass(frozen=True)
class Found:
    """All that came out; `error` is the message where nothing did."""

    items: tuple[FoundItem, ...] = ()
    looks: tuple[str, ...] = ()  # codes of findings that ask for a person's eye, picture first
    remarks: tuple[str, ...] = ()
    error: str = ""
    crashed: bool = False  # by an exception that is none of digitize's own
    seconds: float = 0.0
    outlines: object = field(default=None, repr=False)  # what the interface gave, to save files from

    @property
    def flagged(self) -> bool:
        """Whether a person is asked to look, or nothing is given out at all."""
        return bool(self.looks or self.error)


def outline_of(path, **options) -> Found:
    """Outline one picture file."""
    import digitize

    start = time.perf_counter()
    try:
        outlines = digitize.outline(path, **options)
    except digitize.DigitizeError as error:
        return Found(error=f"{type(error).__name__}: {error}", seconds=time.perf_counter() - start)
    except Exception as error:  # what a user would see as a traceback: the bench goes on, and says so
        crash = f"{type(error).__name__}: {error}"
        return Found(error=f"CRASH {crash}", crashed=True, seconds=time.perf_counter() - start)
    seconds = time.perf_counter() - start
    looks = tuple(f.code for f in outlines.findings if f.attention)
    remarks = tuple(f.code for f in outlines.findings if not f.attention)
    items = tuple(_found(item, outlines.scale) for item in outlines.items)
    return Found(items, looks, remarks, seconds=seconds, outlines=outlines)


def save_check_picture(found: Found, path) -> None:
    """Write the check picture of what was found beside `path`, as NAME.check.png."""
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        for made in found.outlines.save(folder, formats=("png",)):
            Path(path).with_suffix(".check.png").write_bytes(made.read_bytes())


def _found(item, scale) -> FoundItem:
    import shapely

    origin = scale.to_mm(np.array([item.origin_px]))
    rings = [scale.to_px(ring + origin) for ring in (item.exterior_mm, *item.holes_mm)]
    own = 2 * np.sqrt(sum(c.profile_mm**2 for c in item.uncertainty.budget))
    polygon = shapely.Polygon(rings[0], rings[1:])
    return FoundItem(polygon, item.area_mm2, item.uncertainty.profile_k2_mm, float(own), _why_unsound(item))


def _why_unsound(item) -> str:
    """Return why the rings or the lines and arcs that are written cannot be cut as they are; empty if they can."""
    dense = [item.exterior_mm, *item.holes_mm]
    return _fault(dense, item.area_mm2, "ring") or _fault(
        [curve_points(c) for c in (item.path, *item.hole_paths)], None, "path"
    )


def _fault(rings, area_mm2, what: str) -> str:
    import shapely

    if any(len(ring) < 3 for ring in rings):
        return f"{what} of fewer than 3 points"
    shell, *holes = (shapely.Polygon(ring) for ring in rings)
    if not all(part.is_valid for part in (shell, *holes)):
        return f"{what} crosses itself"
    if not all(shell.contains(hole) for hole in holes):
        return f"hole leaves the shell ({what})"
    whole = shapely.Polygon(rings[0], rings[1:])
    if not whole.is_valid:
        return f"holes cross ({what})"
    if area_mm2 is not None and (area_mm2 <= 0 or abs(whole.area - area_mm2) > AREA_SLACK * whole.area):
        return f"area {area_mm2:.1f} mm2 stated, {whole.area:.1f} drawn"
    return ""


def curve_points(curve):
    """Return points (N, 2) along a path of lines and arcs, or a circle."""
    if hasattr(curve, "radius_mm"):
        a = np.radians(np.arange(0, 360, ARC_STEP_DEG))
        return np.add(curve.centre_mm, curve.radius_mm * np.stack([np.cos(a), np.sin(a)], 1))
    ends = np.roll(curve.points_mm, -1, axis=0)
    rows = zip(curve.points_mm, ends, curve.bulges, strict=True)
    return np.concatenate([_arc(p, q, bulge) for p, q, bulge in rows])


def _arc(p, q, bulge: float):
    """Return points of the arc from `p` (there) to `q` (not there): bulge is tan of a quarter of its angle."""
    sweep = 4 * np.arctan(bulge)
    n = max(1, int(np.ceil(abs(np.degrees(sweep)) / ARC_STEP_DEG)))
    if n == 1:
        return p[None]
    chord = q - p
    centre = (p + q) / 2 + (1 - bulge**2) / (4 * bulge) * np.array([-chord[1], chord[0]])
    a = sweep * np.arange(n) / n
    x, y = p - centre
    return centre + np.stack([x * np.cos(a) - y * np.sin(a), x * np.sin(a) + y * np.cos(a)], 1)
