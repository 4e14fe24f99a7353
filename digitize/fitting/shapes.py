"""Ideal shapes: circle, regular polygon, slot, rectangle, rounded rectangle, each fitted by its signed distance."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache, cached_property

import numpy as np

from ..measure.rings import signed_area
from ..records import Circle, Curve, FloatArray, IdealShape, ShapeKind
from ..steady import as_complex, few_unknowns_each, inverse_of_squares
from .bulge import curve_area, reversed_curve
from .ideal import CIRCLE, RECTANGLE, ROUNDED, SLOT, Model, box_curve, polygon, polygon_curve, slot_curve, turned
from .pieces import IntArray
from .ring import Ring

_PEAK = 4.5  # standard deviations: the largest of 20,000 values is 4.1 on average
_STEPS = 12  # at most
_FIRST_STEPS = 4  # that show whether a model comes near
_POINTS = 4000  # looked at
_FITTED = 1200  # of these; more add nothing to the size of a shape
_FEW = 250  # for a first look
_GROUP = 16  # neighbouring points, whose mean must lie within what the size is known to
_AT_ONCE = 50  # rings: of more the arrays leave the cache
_MOST_SIDES = 12  # of a regular polygon that is looked for
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
    return recognise_all((ring,), uncertainty_mm=uncertainty_mm)[0]


def recognise_all(rings: Sequence[Ring], *, uncertainty_mm: float = 0.02) -> list[Shape | None]:
    """Return for each ring what `recognise` does, one kind of shape after the other tried for many of them at once."""
    asked = [_Asked(ring, uncertainty_mm) for ring in rings]
    found: list[Shape | None] = [None] * len(rings)
    for low in range(0, len(rings), _AT_ONCE):
        left = list(range(low, min(low + _AT_ONCE, len(rings))))
        for model in _models():
            guesses = [(k, guess) for k in left if (guess := asked[k].guess(model)) is not None]
            if guesses:
                numbers = [k for k, _ in guesses]
                fits = _explained(model, [asked[k] for k in numbers], np.array([guess for _, guess in guesses]))
                for k, fit in zip(numbers, fits, strict=True):
                    found[k] = None if fit is None else _shape(model, fit, rings[k].middle_mm, rings[k].clockwise)
                left = [k for k in left if found[k] is None]
    return found


class _Asked:
    """A ring that is to be recognised, and what is guessed of it."""

    def __init__(self, ring: Ring, uncertainty_mm: float) -> None:
        self.points = ring.dense_mm[:: max(1, len(ring.dense_mm) // _POINTS)]
        self.few = self.points[:: max(1, len(self.points) // _FEW)]
        self.some = self.points[:: max(1, len(self.points) // _FITTED)]
        self.uncertainty_mm = uncertainty_mm
        self.limit_mm = max(uncertainty_mm, _PEAK * ring.sd_mm)
        self.low, self.high = self.points.min(axis=0), self.points.max(axis=0)
        self.hopeless_mm = self.limit_mm + _GUESS_SHARE * float((self.high - self.low).max())

    def guess(self, model: Model) -> FloatArray | None:
        """Guess a shape's parameters: centre x, y, [angle,] sizes; None where it cannot lie within the limit."""
        if model is CIRCLE:
            return np.array([*(self.low + self.high) / 2, 2 * np.sqrt(self.area / np.pi)])
        centre, angle, length, width = self.box
        if model.sides:
            able = length <= _LONGEST_POLYGON * width + _GUESS_LIMITS * self.limit_mm
            return _polygon_guess(self.waves, model.sides, self.area) if able else None
        if model is not ROUNDED:
            return np.array([*centre, angle, length, width])
        radius = np.sqrt(max(length * width - self.area, 0.0) / (4 - np.pi))
        return np.array([*centre, angle, length, width, min(radius, 0.49 * width)])

    @cached_property
    def area(self) -> float:
        """Enclosed, mm2."""
        return abs(signed_area(self.points))

    @cached_property
    def box(self) -> tuple[FloatArray, float, float, float]:
        """Centre, angle of the longer side, length and width of the least box around the points."""
        return _box(self.points)

    @cached_property
    def waves(self) -> _Waves:
        """The points as they are seen from their mean."""
        return _waves(self.few)


def _explained(model: Model, asked: Sequence[_Asked], guesses: FloatArray) -> list[_Fit | None]:
    """Return for each of some rings how a kind of shape explains it, begun at a guess (R, P); None where it does not.

    A few places tell of most rings that it does not.
    """
    found: list[_Fit | None] = [None] * len(asked)
    laid = _Laid([one.few for one in asked])
    limits = np.array([one.limit_mm for one in asked])
    away = np.abs(model.distance(laid.rows(guesses), laid.points))
    able = laid.sum(away) / laid.sizes <= [one.hopeless_mm for one in asked]
    if model in (SLOT, RECTANGLE):
        able &= laid.largest(away) <= _GUESS_LIMITS * limits
    left = np.flatnonzero(able)
    if len(left):
        laid = laid.part(left)
        first = _parameters(model, guesses[left], laid, settled_mm=0.01 * limits[left], steps=_FIRST_STEPS)
        away = np.abs(model.distance(laid.rows(first), laid.points))
        near = laid.largest(away) <= 2 * limits[left]
        left, first = left[near], first[near]
    if len(left):
        laid = _Laid([asked[k].some for k in left.tolist()])
        fitted = _parameters(model, first, laid, settled_mm=np.full(len(left), 1e-6), steps=_STEPS)
        for k, parameters in zip(left.tolist(), fitted, strict=True):
            found[k] = _fit(model, parameters, asked[k])
    return found


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


def _box(points: FloatArray) -> tuple[FloatArray, float, float, float]:
    """Return centre, angle of the longer side, length and width of the least box around the points."""
    import shapely

    corners = shapely.get_coordinates(shapely.oriented_envelope(shapely.linestrings(points)))[:4]
    sides = np.diff(corners[:3], axis=0)
    lengths = np.hypot(*sides.T)
    along = sides[int(np.argmax(lengths))]
    return corners.mean(axis=0), float(np.arctan2(along[1], along[0])), float(lengths.max()), float(lengths.min())


@cache
def _models() -> tuple[Model, ...]:
    """All kinds of shapes, those of the least freedom first."""
    return (CIRCLE, *(polygon(sides) for sides in (3, *range(5, _MOST_SIDES + 1))), SLOT, RECTANGLE, ROUNDED)


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


def _possible(model: Model, parameters: FloatArray) -> bool:
    """Tell whether the sizes make a shape: with a corner radius beyond half its width a box turns into a lens."""
    if model.kind != "rounded rectangle":
        return True
    length, width, radius = parameters[3:]
    return bool(0 < radius <= min(length, width) / 2)


class _Laid:
    """The points of several rings, one ring after the other."""

    def __init__(self, each: Sequence[FloatArray]) -> None:
        self.each = each
        self.sizes = np.array([len(one) for one in each])
        self.starts = np.cumsum(self.sizes) - self.sizes
        self.points = np.stack([np.concatenate([one[:, axis] for one in each]) for axis in (0, 1)]).T

    def part(self, which: IntArray) -> _Laid:
        """Some of the rings."""
        return self if len(which) == len(self.each) else _Laid([self.each[k] for k in which.tolist()])

    def rows(self, values: FloatArray) -> FloatArray:
        """What belongs to each ring (R, P) at each of its points, (P, N)."""
        return np.repeat(values.T, self.sizes, axis=1)

    def sum(self, values: FloatArray) -> FloatArray:
        """The sum over each ring's points."""
        return np.asarray(np.add.reduceat(values, self.starts))

    def largest(self, values: FloatArray) -> FloatArray:
        """The largest of each ring's points."""
        return np.asarray(np.maximum.reduceat(values, self.starts))


def _parameters(model: Model, guesses: FloatArray, laid: _Laid, *, settled_mm: FloatArray, steps: int) -> FloatArray:
    """Fit to each ring by least squares of the signed distances (Gauss-Newton); (R, P)."""
    parameters, going = guesses.copy(), np.arange(len(guesses))
    for _ in range(steps):
        rows = laid.rows(parameters[going])
        off, slopes = model.distance(rows, laid.points), model.slopes(rows, laid.points)
        step = few_unknowns_each(slopes, -off, laid.starts)
        parameters[going] += step
        moved = np.add.reduce(slopes.T * laid.rows(step), axis=0)
        on = np.flatnonzero(laid.largest(np.abs(moved)) >= settled_mm[going])
        if not len(on):
            break
        going, laid = going[on], laid.part(on)
    return parameters


def _fit(model: Model, parameters: FloatArray, asked: _Asked) -> _Fit | None:
    """Return a fitted shape with the spread of what comes out, if it explains all points of a ring."""
    points, some = asked.points, asked.some
    off = model.distance(parameters, points)
    count = len(points) // _GROUP * _GROUP
    worst_mean = np.abs(off[:count].reshape(-1, _GROUP).mean(axis=1)).max()
    worst = float(np.abs(off).max())
    if not (worst_mean <= asked.uncertainty_mm and worst <= asked.limit_mm and _possible(model, parameters)):
        return None
    variance = np.sum(off**2) / (len(off) - len(parameters)) * _shared(off) * len(some) / len(off)
    squares = inverse_of_squares(model.slopes(parameters, some))
    return _Fit(parameters, np.sqrt(np.maximum(np.diag(squares) * variance, 0.0)), worst)


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
