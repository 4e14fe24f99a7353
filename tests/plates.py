"""Kinds and plates for tests, from shapes whose sizes a reader can check with pencil and paper."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely

from digitize.document.document import document_bytes, read_document
from digitize.plate.plate import Kind
from digitize.plate.shape import kind_of
from digitize.records import Circle, Item, Path, Pocket
from tests import made

BED = (305.0, 458.0)
# tests.made.tag: 60 x 40 mm, 0.2 mm of clearance a side, so its opening is 60.4 x 40.4 with corners of 6.2
OPENING = (60.4, 40.4)


def kind(item: Item, *, upright: bool = True, **changes) -> Kind:
    """Return an item as it comes out of its document."""
    result = read_document(document_bytes(made.result(item, **changes))).result
    return kind_of(result, result.items[0], upright=upright)


def tag(**changes) -> Item:
    """Return the tag without a print area of its own."""
    return replace(made.tag(**changes), print_area=())


def shaped(points, name: str = "shape") -> Item:
    """Return an item with straight sides whose pocket is cut on its edge by a beam without width."""
    ring = np.asarray(points, dtype=float)
    ring = ring - ring.min(axis=0)
    dense = np.concatenate(
        [a + (b - a) * np.arange(8)[:, None] / 8 for a, b in zip(ring, np.roll(ring, -1, 0), strict=True)]
    )
    path = Path(made.ring(ring), made.ring(np.zeros(len(ring))))
    return _item(name, dense, path)


def disc(diameter: float, name: str = "disc") -> Item:
    """Return a round item, its pocket as large."""
    r = diameter / 2
    return _item(name, made.circle_ring(r, r, r), Circle((r, r), r))


def _item(name, dense, path) -> Item:
    width, height = np.ptp(dense, axis=0).tolist()
    return replace(
        made.fob(name=name, sheet_mm=(0.0, 0.0)),
        exterior_mm=made.ring(dense),
        path=path,
        width_mm=width,
        height_mm=height,
        centroid_mm=shapely.Polygon(dense).centroid.coords[0],
        contours=(),
        pocket=Pocket((path,), (), 0.0, 0.0),
    )
