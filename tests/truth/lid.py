"""A flatbed scan as it comes from the world, with exact truth: uneven lid, dirt, shade, rims, print, JPEG.

``LidScene`` is what lies on the glass; ``render`` gives a ``LidPicture``: pixels, density, and the true items as
shapely polygons in mm (y up, origin at the lower-left corner of the picture). ``lid_cases`` builds single hard cases,
``lid_scenes`` random ones. Exact coverage and blur come from ``raster``; nothing of the package is used.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from . import lid_dirt
from .flatbed import AffineMap
from .lid_light import Lid, Sensor, Strip, lid_canvas, paint_strip, sensed
from .lid_shapes import polygon_of
from .lid_things import Shade, Thing, View, paint_thing
from .light import jpeg_bytes, paint, png_bytes
from .raster import blurred_coverage
from .shapes import Shape, rectangle, ring

SQUARE_LIGHT = 0.03
ORDINARY = frozenset(  # what a person would call an ordinary scan carries no tag but these
    ("fall-off", "rim-strip", "dust", "hair", "grain", "shade", "print", "jpeg", "pale-wood", "leaf", "no-square")
)


@dataclass(frozen=True, eq=False)
class LidPicture:
    """A picture and what is true of it."""

    pixels: np.ndarray  # (H, W, 3) uint8, sRGB
    dpi: float
    shapes: tuple[Shape, ...]  # of the items, placed, mm
    items: tuple  # the same as shapely polygons with holes
    square_mm: float | None  # side of the plain square in the picture
    square_px: tuple[float, float] | None  # its middle
    tags: frozenset[str]
    name: str
    map: AffineMap
    must_be_said: tuple[str, ...] = ()  # what a person has to be told of, e.g. an item cut by the border
    jpeg: int | None = None

    @property
    def ordinary(self) -> bool:
        """Whether a person would call it an ordinary scan."""
        return self.tags <= ORDINARY

    def to_px(self, points_mm):
        return self.map.to_px(points_mm)

    def to_mm(self, points_px):
        return self.map.to_mm(points_px)

    def save(self, path) -> Path:
        """Write the picture with its density: JPEG where it went through JPEG already, else PNG; return the path."""
        path = Path(path)
        if self.jpeg is None:
            path = path.with_suffix(".png")
            path.write_bytes(png_bytes(self.pixels, (self.dpi, self.dpi)))
        else:
            # Its codes are those after compression: once more at quality 97 costs a fraction of a code.
            path = path.with_suffix(".jpg")
            path.write_bytes(jpeg_bytes(self.pixels, 97, (self.dpi, self.dpi)))
        return path

    def save_truth(self, path, zoom: int = 1) -> Path:
        """Write the picture with the true edges drawn in magenta, for the eye."""
        import cv2

        path = Path(path).with_suffix(".png")
        shown = np.repeat(np.repeat(self.pixels[..., ::-1], zoom, 0), zoom, 1).copy()
        for polygon in self.items:
            for line in (polygon.exterior, *polygon.interiors):
                at = np.rint(16 * (zoom * (self.to_px(np.array(line.coords)) + 0.5) - 0.5)).astype(np.int32)
                cv2.polylines(shown, [at], True, (255, 0, 255), 1, cv2.LINE_AA, 4)
        cv2.imwrite(str(path), shown)
        return path


@dataclass(eq=False)
class LidScene:
    """What lies on the glass, in the order it is painted, and how it is seen."""

    width_mm: float
    height_mm: float
    dpi: float = 300.0
    lid: Lid = field(default_factory=Lid)
    strips: tuple[Strip, ...] = ()
    sensor: Sensor = field(default_factory=Sensor)
    blur_px: float = 0.8
    seed: int = 0
    name: str = "lid"
    tags: set[str] = field(default_factory=set)
    things: list[Thing] = field(default_factory=list)
    papers: list[tuple[np.ndarray, tuple[float, float, float], Shade | None]] = field(default_factory=list)
    dirt: dict = field(default_factory=dict)  # keywords of lid_dirt.scatter
    hairs_across: int = 0  # so many items have a hair over their edge
    tapes: int = 0
    square: tuple[float, tuple[float, float], float] | None = None  # side, centre, degrees
    strangers: list[Thing] = field(default_factory=list)  # cut by the border: seen, but no outline is possible
    must_be_said: tuple[str, ...] = ()

    @property
    def view(self) -> View:
        per_mm = self.dpi / 25.4
        shape = (round(self.height_mm * per_mm), round(self.width_mm * per_mm))
        return View(shape, self._map(shape, per_mm).to_px, per_mm, self.blur_px)

    def add(self, shape: Shape, centre_mm, angle_deg: float = 0.0, **look) -> Thing:
        """Place an item and return it; `look` as in `Thing`."""
        thing = Thing(shape.placed(centre_mm, angle_deg), **look)
        self.things.append(thing)
        return thing

    def add_square(self, side_mm: float, centre_mm, angle_deg: float = 0.0) -> None:
        self.square = (side_mm, tuple(centre_mm), angle_deg)

    def render(self) -> LidPicture:
        """Render the picture; the same scene gives the same picture each time."""
        rng = np.random.default_rng([self.seed, 50021])
        view = self.view
        canvas = lid_canvas(self.lid, view.shape, view.per_mm, rng)
        for paper in self.papers:
            _paint_paper(canvas, view, *paper)
        shapes = tuple(t.shape for t in self.things)
        polygons = tuple(polygon_of(s) for s in shapes)
        everything = polygons + self._square_polygon()
        for strip in self.strips:
            paint_strip(canvas, strip, view.per_mm)
        for thing in self.strangers + self.things:
            paint_thing(canvas, thing, view, rng)
        self._paint_square(canvas, view)
        if self.dirt and everything:
            lid_dirt.scatter(canvas, view, everything, rng, **self.dirt)
        self._paint_over(canvas, view, polygons, rng)
        pixels = sensed(canvas, self.sensor, rng)
        return LidPicture(
            pixels=pixels,
            dpi=self.dpi,
            shapes=shapes,
            items=polygons,
            square_mm=None if self.square is None else self.square[0],
            square_px=None if self.square is None else tuple(view.to_px(np.array([self.square[1]]))[0].tolist()),
            tags=frozenset(self.tags),
            name=self.name,
            map=self._map(view.shape, view.per_mm),
            must_be_said=self.must_be_said,
            jpeg=self.sensor.jpeg,
        )

    def _map(self, shape, per_mm: float) -> AffineMap:
        return AffineMap(np.array([[per_mm, 0.0], [0.0, -per_mm]]), np.array([-0.5, shape[0] - 0.5]))

    def _square_polygon(self):
        if self.square is None:
            return ()
        return (polygon_of(Shape(self._square_ring())),)

    def _square_ring(self):
        side, centre, angle = self.square
        return rectangle(side, side).placed(centre, angle)

    def _paint_square(self, canvas, view: View) -> None:
        if self.square is not None:
            corners = view.to_px(self._square_ring().polygon(1e-3))
            paint(canvas, blurred_coverage([corners], view.shape, view.blur_px), np.full(3, SQUARE_LIGHT))

    def _paint_over(self, canvas, view: View, polygons, rng) -> None:
        chosen = rng.permutation(len(polygons))
        for i in chosen[: self.tapes]:
            lid_dirt.tape_over(canvas, view, polygons[i], rng)
        for i in chosen[::-1][: self.hairs_across]:
            hair = view.to_px(lid_dirt.hair_across(polygons[i], rng))
            patch = blurred_coverage([hair], view.shape, view.blur_px)
            if patch.values.size:
                paint(canvas, patch, np.full(3, rng.uniform(0.02, 0.2)))


def _paint_paper(canvas, view: View, ring_mm, reflectance, shade: Shade | None) -> None:
    thing = Thing(Shape(ring(ring_mm)), tuple(reflectance), shade)
    paint_thing(canvas, thing, view, np.random.default_rng(0))
