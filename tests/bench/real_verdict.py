"""What digitize and the plain script make of a real picture, thing by thing."""

from __future__ import annotations

import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from tests.bench.found import Found, outline_of, save_check_picture
from tests.bench.otsu import otsu_pieces
from tests.bench.real_pictures import Known
from tests.truth.light import png_bytes


@dataclass(frozen=True)
class Count:
    """How the pieces found go with the things that are known to be there."""

    found: int
    lost: int = 0
    phantom: int = 0
    joined: int = 0  # pieces that hold more than one thing
    area_error: float | None = None  # largest, share of the published area
    seconds: float = 0.0

    def right(self, known: Known) -> bool:
        """Whether these are the right things, of the right area where it is known."""
        areas = self.area_error is None or self.area_error <= known.close
        return not (self.lost or self.phantom or self.joined) and areas


@dataclass(frozen=True)
class Beside:
    """A picture measured both ways."""

    known: Known
    ours: Count
    script: Count
    found: Found

    @property
    def said(self) -> bool:
        return not self.known.must_be_said or self.found.flagged

    @property
    def right(self) -> bool:
        """Whether ours are the right things and what has to be said was said."""
        return self.ours.right(self.known) and self.said

    @property
    def beaten(self) -> bool:
        """Whether the plain script finds the right things and digitize does not."""
        return self.script.right(self.known) and not self.ours.right(self.known)

    @property
    def unsound(self) -> list[str]:
        crash = [self.found.error] if self.found.crashed else []
        return [item.unsound for item in self.found.items if item.unsound] + crash


def measure(known: Known, keep: Path | None = None, **options) -> Beside | None:
    """Measure a picture both ways; None where it is not there."""
    pixels = known.pixels()
    if pixels is None:
        return None
    with tempfile.TemporaryDirectory() as folder:
        path = known.path() or _written(pixels, Path(folder) / f"{known.name}.png")
        found = outline_of(path, dpi=known.dpi, **options)
    if keep is not None and found.outlines is not None:
        keep.mkdir(parents=True, exist_ok=True)
        save_check_picture(found, keep / known.name)
    return Beside(known, count_ours(known, found), script_count(known, pixels), found)


def _written(pixels, path: Path) -> Path:
    path.write_bytes(png_bytes(pixels))
    return path


def count_ours(known: Known, found: Found) -> Count:
    import shapely

    polygons = [shapely.make_valid(item.polygon_px) for item in found.items]
    held = [[p.contains(shapely.Point(place)) for p in polygons] for place in known.places_px + known.either_px]
    areas = [item.area_mm2 / 100 for item in found.items]
    return _count(known, np.array(held, bool).reshape(len(held), len(polygons)), areas, found.seconds)


def script_count(known: Known, pixels) -> Count:
    start = time.perf_counter()
    labels, pieces = otsu_pieces(pixels, known.dpi)
    seconds = time.perf_counter() - start
    places = known.places_px + known.either_px
    held = [[labels[int(y), int(x)] == label for label, _ in pieces] for x, y in places]
    return _count(known, np.array(held, bool).reshape(len(held), len(pieces)), [a / 100 for _, a in pieces], seconds)


def _count(known: Known, held, areas_cm2, seconds: float) -> Count:
    """`held` (places, pieces): whether a piece holds a place; the places that may be missed come last."""
    wanted = held[: len(known.places_px)]
    error = None
    if known.areas_cm2 and wanted.any(1).all():
        got = [areas_cm2[row.argmax()] for row in wanted]
        error = max(abs(a / b - 1) for a, b in zip(got, known.areas_cm2, strict=True))
    return Count(
        found=held.shape[1],
        lost=int((~wanted.any(1)).sum()),
        phantom=int((~held.any(0)).sum()),
        joined=int((wanted.sum(0) > 1).sum()),
        area_error=error,
        seconds=seconds,
    )
