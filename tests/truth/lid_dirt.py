"""Dust, crumbs, hairs and tape: what lies on every glass and is never an item."""

from __future__ import annotations

import math

import numpy as np

from .flatbed import _hair, _speck
from .lid_light import fine_noise
from .light import paint
from .raster import blurred_coverage

CLEAR_MM = 0.4


def scatter(canvas, view, polygons, rng, *, specks: int = 0, hairs: int = 0, crumbs: int = 0, clear: bool = True):
    """Paint dirt on `canvas`; with `clear` none of it nearer than `CLEAR_MM` to an edge of `polygons`."""
    import shapely

    edges = shapely.MultiLineString([line for p in polygons for line in (p.exterior.coords, *_holes(p))])
    shapely.prepare(edges)
    makers = [_speck] * specks + [long_hair] * hairs + [crumb] * crumbs
    size = np.array(view.shape[::-1]) / view.per_mm
    for make in makers:
        for _ in range(60):
            points = make(rng) + rng.uniform((1, 1), size - 1)
            if not clear or shapely.distance(edges, shapely.LineString(points)) > CLEAR_MM:
                _paint(canvas, view, points, _colour(make, rng), rng)
                break


def _holes(polygon):
    return [hole.coords for hole in polygon.interiors]


def _colour(make, rng):
    if make is crumb:
        return rng.uniform(0.12, 0.5) * np.array((1.0, 0.8, 0.6))
    return np.full(3, rng.uniform(0.03, 0.45))


def _paint(canvas, view, points_mm, colour, rng) -> None:
    patch = blurred_coverage([view.to_px(points_mm)], view.shape, view.blur_px)
    if patch.values.size:
        paint(canvas, patch, colour)


def long_hair(rng):
    """Return the outline of a hair of 4 to 25 mm, 0.04 to 0.09 mm thick."""
    if rng.uniform() < 0.4:
        return _hair(rng)
    t = np.linspace(0, 1, 60)
    heading = rng.uniform(0, 2 * math.pi) + np.cumsum(rng.normal(0, 0.10, 60)) + rng.uniform(-2, 2) * t
    line = rng.uniform(4, 25) * np.cumsum(np.stack([np.cos(heading), np.sin(heading)], 1) / len(t), axis=0)
    side = 0.5 * rng.uniform(0.04, 0.09) * np.stack([-np.sin(heading), np.cos(heading)], 1)
    return np.concatenate([line + side, (line - side)[::-1]])


def crumb(rng):
    """Return the ragged outline of a crumb of 0.4 to 2 mm."""
    angles = np.sort(rng.uniform(0, 2 * math.pi, 14))
    radii = 0.5 * rng.uniform(0.4, 2.0) * rng.uniform(0.45, 1.0, 14)
    flat = rng.uniform(0.4, 1.0)
    return np.stack([radii * np.cos(angles), flat * radii * np.sin(angles)], 1)


def hair_across(polygon, rng):
    """Return the outline of a hair that lies across the edge of `polygon`."""
    at = np.array(polygon.exterior.interpolate(rng.uniform(), normalized=True).coords[0])
    hair = long_hair(rng)
    return hair - hair[len(hair) // 4] + at


def tape_over(canvas, view, polygon, rng) -> None:
    """Paint a strip of clear tape across the edge: it takes a little light, its own edge is a fine line."""
    at = np.array(polygon.exterior.interpolate(rng.uniform(), normalized=True).coords[0])
    a = rng.uniform(0, math.pi)
    along, across = np.array([math.cos(a), math.sin(a)]), np.array([-math.sin(a), math.cos(a)])
    length, width = rng.uniform(18, 35) / 2, rng.uniform(12, 19) / 2
    corners = [at + s * length * along + t * width * across for s, t in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
    ring = view.to_px(np.array(corners))
    patch = blurred_coverage([ring], view.shape, view.blur_px)
    if not patch.values.size:
        return
    under = canvas[patch.slices]
    bubbles = 1 + 0.01 * fine_noise(patch.values.shape, 0.4 * view.per_mm, rng)
    factor = 1 + patch.values[..., None] * (
        rng.uniform(0.90, 0.97) * np.array((1.0, 0.99, 0.96)) * bubbles[..., None] - 1
    )
    edge = np.clip(4 * patch.values * (1 - patch.values), 0, 1)[..., None]
    under *= (factor * (1 - 0.12 * edge)).astype(np.float32)
