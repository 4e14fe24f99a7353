"""Ideal shapes: circle, regular polygon, slot, rectangle, rounded rectangle, each fitted by its signed distance."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

import numpy as np

from ..measure.rings import signed_area
from ..records import Circle, Curve, FloatArray, IdealShape, ShapeKind
from ..steady import as_complex, few_unknowns, inverse_of_squares, product
from .bulge import curve_area, reversed_curve
from .ideal import CIRCLE, RECTANGLE, ROUNDED, SLOT, Model, box_curve, polygon, polygon_curve, slot_curve, turned
from .ring import Ring

_PEAK = 4.5
_STEPS = 12
_FIRST_STEPS = 4
_POINTS = 4000  # looked at
_FITTED = 1200  # of these; more add nothing to the size of a shape
_FEW = 250  # for a first look
_GROUP = 16
_MOST_SIDES = 12
_LONGEST_POLYGON = 1.2  # times the width of its least box: triangles and hexagons have 2 / sqrt(3), others less
_GUESS_LIMITS = 8.0  # a box that explains a ring lies within some four limits of the least one around it
_GUESS_SHARE = 0.015  # of the extent: the guess of a shape that explains the ring lies nearer than this on average


@dataclass(frozen=True, slots=True)
class Shape:
    """An ideal shape that explains a ring, with the sizes it has."""

    kind: ShapeKind
    sizes: dict[str, float]  # mm, by name; "sides" is a count
    sd: dict[str, float]  # standard deviations of the fit in mm, same names without "sides"; scale not included
    centre_mm: tuple[float, float]
    angle_deg: float  # of the longer side, or of the way from the centre to a side; 0 for a circle
    deviation_mm: float  # largest distance of a point of the ring from the shape
    curve: Curve  # the shape itself, in the direction of the ring

    def record(self, *, written: bool) -> IdealShape:
        """Return what is said of the shape, without its curve; `written` if that is the ring's path."""
        sides = self.sizes.get("sides")
        return IdealShape(
            kind=self.kind,
            sizes_mm={name: size for name, size in self.sizes.items() if name != "sides"},
            sd_mm=self.sd,
            sides=None if sides is None else int(sides),
            centre_mm=self.centre_mm,
            angle_deg=self.angle_deg,
            deviation_mm=self.deviation_mm,
            written=written,
        )


@dataclass(frozen=True, slots=True)
class _Fit:
    parameters: FloatArray
    sd: FloatArray
    worst_mm: float
    worst_mean_mm: float


def recognise(ring: Ring, *, uncertainty_mm: float = 0.02) -> Shape | None:
    """Return the simplest ideal shape that explains the ring within its uncertainty, or None.

    Tried in the order of their freedom: circle, regular polygon (3, 5 to 12 sides), slot, rectangle, rounded
    rectangle. A square is a rectangle with equal sides.

    Parameters
    ----------
    ring
        Of `digitize.fitting.ring.make_ring`.
    uncertainty_mm
        How far the edge may truly lie from where it was measured (k = 2). The mean of neighbouring points
        must lie within it, single points within 4.5 sd if that is more.
    """
    points = ring.dense_mm[:: max(1, len(ring.dense_mm) // _POINTS)]
    few = points[:: max(1, len(points) // _FEW)]
    limit = max(uncertainty_mm, _PEAK * ring.sd_mm)
    hopeless = limit + _GUESS_SHARE * float(np.ptp(points, axis=0).max())
    for model, guess in _candidates(points, few, limit):
        away = np.abs(model.distance(guess, few))
        if away.mean() > hopeless or (model in (SLOT, RECTANGLE) and away.max() > _GUESS_LIMITS * limit):
            continue
        first = _parameters(model, guess, few, settled_mm=0.01 * limit, steps=_FIRST_STEPS)
        if np.abs(model.distance(first, few)).max() > 2 * limit:
            continue
        fit = _fit(model, first, points)
        if fit.worst_mean_mm <= uncertainty_mm and fit.worst_mm <= limit and _possible(model, fit):
            return _shape(model, fit, ring.middle_mm, ring.clockwise)
    return None


def offset_shape(shape: Shape, distance_mm: float) -> Curve | None:
    """Return the curve `distance_mm` outside an ideal shape (inside if negative), by formula.

    Sizes grow by twice the distance and corner radii by the distance, never below 0; sharp corners turn into
    arcs of that radius. In the direction of the shape's own curve.

    Returns
    -------
    Curve or None
        None if nothing is left.
    """
    grow, round_by = 2 * distance_mm, max(distance_mm, 0.0)
    sizes = {name: size + grow for name, size in shape.sizes.items() if name not in ("sides", "corner_radius")}
    if min(sizes.values()) <= 0:
        return None
    if shape.kind == "circle":
        return Circle(shape.centre_mm, sizes["diameter"] / 2)
    if shape.kind == "slot":
        curve = slot_curve(sizes["length"], sizes["width"])
    elif shape.kind == "regular polygon":
        curve = polygon_curve(int(shape.sizes["sides"]), sizes["inscribed_diameter"], round_by)
    else:
        own = shape.sizes.get("corner_radius")
        radius = round_by if own is None else max(own + distance_mm, 0.0)
        curve = box_curve(sizes["length"], sizes["width"], radius)
    placed = turned(curve, np.radians(shape.angle_deg), np.array(shape.centre_mm))
    return placed if curve_area(shape.curve) > 0 else reversed_curve(placed)


def _candidates(points: FloatArray, few: FloatArray, limit_mm: float) -> Iterator[tuple[Model, FloatArray]]:
    """Yield each model that may lie within a limit, with a guess of its parameters: centre x, y, [angle,] sizes."""
    area = abs(signed_area(points))
    low, high = points.min(axis=0), points.max(axis=0)
    yield CIRCLE, np.array([*(low + high) / 2, 2 * np.sqrt(area / np.pi)])
    centre, angle, length, width = _box(points)
    if length <= _LONGEST_POLYGON * width + _GUESS_LIMITS * limit_mm:
        waves = _waves(few)
        for sides in (3, *range(5, _MOST_SIDES + 1)):
            yield _polygon(sides), _polygon_guess(waves, sides, area)
    radius = np.sqrt(max(length * width - area, 0.0) / (4 - np.pi))
    yield SLOT, np.array([*centre, angle, length, width])
    yield RECTANGLE, np.array([*centre, angle, length, width])
    yield ROUNDED, np.array([*centre, angle, length, width, min(radius, 0.49 * width)])


def _box(points: FloatArray) -> tuple[FloatArray, float, float, float]:
    """Return centre, angle of the longer side, length and width of the least box around the points."""
    import shapely

    corners = shapely.get_coordinates(shapely.oriented_envelope(shapely.linestrings(points)))[:4]
    sides = np.diff(corners[:3], axis=0)
    lengths = np.hypot(*sides.T)
    along = sides[int(np.argmax(lengths))]
    return corners.mean(axis=0), float(np.arctan2(along[1], along[0])), float(lengths.max()), float(lengths.min())


_polygon = cache(polygon)


@dataclass(frozen=True, slots=True)
class _Waves:
    """Points as they are seen from their mean."""

    centre: FloatArray  # (2,)
    radius: FloatArray  # (N,) less its mean
    angle: FloatArray  # (N,) radians


def _waves(points: FloatArray) -> _Waves:
    centre = points.mean(axis=0)
    away = as_complex(points - centre)
    return _Waves(centre, np.abs(away) - np.abs(away).mean(), np.angle(away))


def _polygon_guess(waves: _Waves, sides: int, area: float) -> FloatArray:
    # the harmonic of the radius with as many waves as sides peaks at the corners
    wave = np.sum(waves.radius * np.exp(1j * sides * waves.angle))
    angle = (np.angle(wave) + np.pi) / sides
    return np.array([*waves.centre, angle, 2 * np.sqrt(area / (sides * np.tan(np.pi / sides)))])


def _possible(model: Model, fit: _Fit) -> bool:
    """Tell whether the sizes make a shape: with a corner radius beyond half its width a box turns into a lens."""
    if model.kind != "rounded rectangle":
        return True
    length, width, radius = fit.parameters[3:]
    return bool(0 < radius <= min(length, width) / 2)


def _parameters(model: Model, guess: FloatArray, points: FloatArray, *, settled_mm: float, steps: int) -> FloatArray:
    """Fit by least squares of the signed distances (Gauss-Newton)."""
    parameters = guess.copy()
    for _ in range(steps):
        off, slopes = model.distance(parameters, points), model.slopes(parameters, points)
        step = few_unknowns(slopes, -off)
        parameters = parameters + step
        if np.abs(product(slopes, step)).max() < settled_mm:
            break
    return parameters


def _fit(model: Model, guess: FloatArray, points: FloatArray) -> _Fit:
    """Fit, with the spread of what comes out and how well it explains all points."""
    some = points[:: max(1, len(points) // _FITTED)]
    parameters = _parameters(model, guess, some, settled_mm=1e-6, steps=_STEPS)
    off, slopes = model.distance(parameters, points), model.slopes(parameters, some)
    count = len(points) // _GROUP * _GROUP
    means = off[:count].reshape(-1, _GROUP).mean(axis=1)
    variance = np.sum(off**2) / (len(off) - len(parameters)) * _shared(off) * len(some) / len(off)
    spread = np.sqrt(np.maximum(np.diag(inverse_of_squares(slopes)) * variance, 0.0))
    return _Fit(parameters, spread, float(np.abs(off).max()), float(np.abs(means).max()))


def _shared(off: FloatArray) -> float:
    """Return by how much noise shared by neighbours raises the variance of a mean (1 if none is shared)."""
    spectrum = np.abs(np.fft.rfft(off - off.mean())) ** 2
    correlation = np.fft.irfft(spectrum, len(off))[1 : min(200, len(off) // 4)] / max(float(spectrum.sum()), 1e-30)
    correlation = correlation * len(off) / 2 if len(correlation) else correlation
    lags = np.arange(1, len(correlation) + 1)
    first = int(np.argmax(correlation < 0)) if (correlation < 0).any() else len(lags)
    return 1.0 + 2.0 * float(np.sum(correlation[:first]))


def _shape(model: Model, fit: _Fit, middle: FloatArray, clockwise: bool) -> Shape:
    skip = 3 if model.turns else 2
    values, spread = fit.parameters[skip:].copy(), fit.sd[skip:].copy()
    angle = float(fit.parameters[2]) if model.turns else 0.0
    if "length" in model.names and values[0] < values[1]:
        values[:2], spread[:2], angle = values[1::-1].copy(), spread[1::-1].copy(), angle + np.pi / 2
    sizes = dict(zip(model.names, map(float, values), strict=True))
    if model.sides:
        sizes = {"sides": float(model.sides), **sizes}
    centre = fit.parameters[:2] + middle
    curve = turned(model.curve(values), angle, centre)
    return Shape(
        kind=model.kind,
        sizes=sizes,
        sd=dict(zip(model.names, map(float, spread), strict=True)),
        centre_mm=(float(centre[0]), float(centre[1])),
        angle_deg=float(np.degrees(angle)) % (360 / model.sides if model.sides else 180),
        deviation_mm=fit.worst_mm,
        curve=reversed_curve(curve) if clockwise else curve,
    )
