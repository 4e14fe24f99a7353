"""Mirror and rotation symmetry of a ring."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..measure.rings import rolled, signed_area
from ..records import FloatArray, Symmetry
from ..steady import as_complex
from .distance import distances_to
from .ring import Ring
from .together import Wish, alone

ComplexArray = npt.NDArray[np.complex128]

_POINTS = 2048  # round a ring, a power of two for the transform
_ASKED = 400  # points of a ring whose images are measured
_AT_ONCE = 8  # motions: of more the arrays leave the cache
_COLUMNS = ("x", "y", "side_x", "side_y", "per_square")
_WINDOW = 6  # sides before and after the one an image should lie on
_LIKELY = 0.999  # of a perfect match, for a closer look
_MOST_TRIED = 24  # axes, the likeliest first
_MOST_TURNS = 36  # a turn of 10 degrees
_SETTLING = 2  # rounds of least squares
_HOLE_POINTS = 64  # of a hole, for the quick look


@dataclass(frozen=True, slots=True)
class Motion:
    """A rotation (w -> turn w) or a mirroring (w -> turn conj(w)) about a centre, in complex numbers."""

    turn: complex
    mirrors: bool

    def image(self, w: ComplexArray) -> ComplexArray:
        """Return where points go."""
        return np.asarray(self.turn * (np.conj(w) if self.mirrors else w))

    def before(self, w: ComplexArray) -> ComplexArray:
        """Return where points came from."""
        return np.asarray(self.turn * np.conj(w) if self.mirrors else w / self.turn)


class Turned:
    """A ring as complex numbers about a centre, and how far points lie from it near a known place along it."""

    def __init__(self, ring_mm: FloatArray, centre: FloatArray) -> None:
        self.w: ComplexArray = as_complex(ring_mm - centre)
        self.sides: ComplexArray = rolled(self.w, -1) - self.w
        lengths = np.abs(self.sides)
        self.along: FloatArray = np.cumsum(lengths) - lengths
        self.length = float(lengths.sum())
        around = np.arange(-_WINDOW, len(self.w) + _WINDOW) % len(self.w)  # so that windows are whole at both ends
        self.x, self.y, self.side_x, self.side_y = (
            one[around] for one in (self.w.real, self.w.imag, self.sides.real, self.sides.imag)
        )
        self.per_square = 1 / np.maximum(self.side_x**2 + self.side_y**2, 1e-30)
        self.direction = 1.0 if signed_area(ring_mm) > 0 else -1.0

    def before(self, places_mm: FloatArray) -> npt.NDArray[np.intp]:
        """Return the sides on which places along the ring lie."""
        return np.searchsorted(self.along, places_mm % self.length, side="right") - 1

    def beside_nearest(self, points: ComplexArray) -> FloatArray:
        """Return at least the distances of points from the ring: those from the sides at its nearest vertices."""
        inner = slice(_WINDOW, _WINDOW + len(self.w))
        x, y = points.real[:, None] - self.x[inner], points.imag[:, None] - self.y[inner]
        near = np.argmin(x * x + y * y, axis=1)[:, None] + _WINDOW + np.arange(-1, 1)
        x, y = points.real[:, None] - self.x[near], points.imag[:, None] - self.y[near]
        share = np.clip((x * self.side_x[near] + y * self.side_y[near]) * self.per_square[near], 0.0, 1.0)
        return np.asarray(np.hypot(x - share * self.side_x[near], y - share * self.side_y[near]).min(axis=1))


@dataclass(frozen=True, slots=True)
class _Asked:
    """Points whose nearest ones on a ring are wanted, looked for near places along it."""

    ring: Turned
    points: ComplexArray
    places_mm: FloatArray


def _feet(asked: Sequence[_Asked]) -> list[tuple[ComplexArray, ComplexArray]]:
    """Return the nearest points of each ring, and its directions there."""
    return [found for low in range(0, len(asked), _AT_ONCE) for found in _feet_at_once(asked[low : low + _AT_ONCE])]


def _feet_at_once(asked: Sequence[_Asked]) -> list[tuple[ComplexArray, ComplexArray]]:
    rings = {id(one.ring): one.ring for one in asked}
    starts = dict(zip(rings, np.cumsum([0, *(len(ring.x) for ring in rings.values())]).tolist(), strict=False))
    x, y, side_x, side_y, per_square = (
        np.concatenate([getattr(ring, name) for ring in rings.values()]) for name in _COLUMNS
    )
    first = np.concatenate([one.ring.before(one.places_mm) + starts[id(one.ring)] for one in asked])
    points = np.concatenate([one.points for one in asked])
    near = first[:, None] + np.arange(2 * _WINDOW + 1)
    to_x, to_y = side_x[near], side_y[near]
    x, y = points.real[:, None] - x[near], points.imag[:, None] - y[near]
    share = x * to_x
    share += y * to_y
    share *= per_square[near]
    np.minimum(np.maximum(share, 0.0, out=share), 1.0, out=share)
    x -= share * to_x
    y -= share * to_y
    best = np.argmin(x * x + y * y, axis=1)
    one = (np.arange(len(best)), best)
    ahead = to_x[one] + 1j * to_y[one]
    feet, ahead = points - (x[one] + 1j * y[one]), ahead / np.maximum(np.abs(ahead), 1e-15)
    ends = np.cumsum([len(one.points) for one in asked])[:-1]
    return list(zip(np.split(feet, ends), np.split(ahead, ends), strict=True))


async def _nearest(ring: Turned, points: ComplexArray, places_mm: FloatArray) -> tuple[ComplexArray, ComplexArray]:
    """Return the nearest points of a ring, looked for near places along it, and its directions there."""
    found: tuple[ComplexArray, ComplexArray] = await Wish(_feet, _Asked(ring, points, places_mm))
    return found


def symmetries(ring: Ring, *, tolerance_mm: float = 0.02, holes: tuple[Ring, ...] = ()) -> Symmetry:
    """Find the symmetries of one ring, as `symmetries_of` does in step with others."""
    return alone(symmetries_of(ring, tolerance_mm=tolerance_mm, holes=holes))


async def symmetries_of(ring: Ring, *, tolerance_mm: float = 0.02, holes: tuple[Ring, ...] = ()) -> Symmetry:
    """Find the rotations and mirror axes of a ring about its centroid.

    Points evenly spaced along the ring are complex numbers z(s) about the centroid. A rotation shows as a peak
    of the correlation of z with itself, a mirror axis as a peak of the correlation of z with z backwards,
    conjugated; the phase at the peak is the angle. Each is then tried and its largest distance measured.

    Parameters
    ----------
    ring
        Of `digitize.fitting.ring.make_ring`.
    tolerance_mm
        Twice this is allowed between the ring and its image: both carry the error of the edge.
    holes
        Told in `Symmetry.with_holes`: whether each hole, moved so, lies on a hole.
    """
    centre = centroid(ring.points_mm)
    place = (float(centre[0]), float(centre[1]))
    outer, limit = Turned(ring.points_mm, centre), 2 * tolerance_mm
    spread = float(np.ptp(np.abs(outer.w)))
    if spread <= limit:
        return Symmetry(place, 0, spread, (), (), not holes)
    spectrum = np.fft.fft(_even(outer))
    turns, turned = await _rotation(np.fft.ifft(np.abs(spectrum) ** 2), outer, limit)
    axes, mirrored = _as_group(*await _mirrors(np.fft.ifft(spectrum**2), outer, limit), turns)
    found = Symmetry(place, turns, turned, axes, mirrored)
    inner = [Turned(hole.points_mm, centre) for hole in holes]
    kept = all(_keeps_holes(motion, inner, limit) for motion in _generators(found))
    return Symmetry(place, turns, turned, axes, mirrored, kept)


def motions(symmetry: Symmetry) -> list[Motion]:
    """Return every rotation, that by 0 first, and every mirroring."""
    turns = [Motion(complex(np.exp(2j * np.pi * k / symmetry.turns)), False) for k in range(symmetry.turns)]
    return turns + [Motion(complex(np.exp(2j * np.radians(axis))), True) for axis in symmetry.axes_deg]


def centroid(ring: FloatArray) -> FloatArray:
    """Return the centroid (2,) of the area, less sensitive to noise than that of the points."""
    import shapely

    return np.asarray(shapely.get_coordinates(shapely.centroid(shapely.polygons(ring)))[0])


def _generators(symmetry: Symmetry) -> list[Motion]:
    """Return one rotation and one mirroring, of which the others are made."""
    turns = [Motion(complex(np.exp(2j * np.pi / symmetry.turns)), False)] if symmetry.turns > 1 else []
    return turns + [Motion(complex(np.exp(2j * np.radians(axis))), True) for axis in symmetry.axes_deg[:1]]


async def _rotation(match: ComplexArray, ring: Turned, limit: float) -> tuple[int, float]:
    """Return the highest order of rotation that holds, and its deviation."""
    angles = [phase % (2 * np.pi) for phase, _ in _peaks(match) if abs(phase) > 1e-2]
    orders = sorted({round(2 * np.pi / angle) for angle in angles} - {0, 1}, reverse=True)
    for order in [order for order in orders if order <= _MOST_TURNS]:
        away = await _deviation(Motion(complex(np.exp(2j * np.pi / order)), False), ring, ring.length / order, limit)
        if away <= limit:
            return order, away
    return 1, 0.0


async def _mirrors(match: ComplexArray, ring: Turned, limit: float) -> tuple[tuple[float, ...], tuple[float, ...]]:
    found: list[tuple[float, float]] = []
    for rough, place in _peaks(match):
        start = place * ring.length / _POINTS
        phase = await _settled(rough, ring, start)
        away = await _deviation(Motion(complex(np.exp(1j * phase)), True), ring, start, limit)
        if away <= limit:
            found.append((float(np.degrees(phase / 2) % 180), away))
    found.sort()
    return tuple(angle for angle, _ in found), tuple(away for _, away in found)


def _as_group(
    axes: tuple[float, ...], deviations: tuple[float, ...], turns: int
) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Return as many axes as there are turns, evenly spaced, or none: what rotations and mirrorings together allow."""
    if turns == 1 and axes:
        best = int(np.argmin(deviations))
        return axes[best : best + 1], deviations[best : best + 1]
    if len(axes) != turns:
        return (), ()
    # the mean of directions that repeat every 180 / turns degrees
    first = np.degrees(np.angle(np.sum(np.exp(2j * turns * np.radians(axes))))) / (2 * turns)
    even = sorted((float(first) + 180 / turns * k) % 180 for k in range(turns))
    return tuple(even), deviations


def _peaks(match: ComplexArray) -> list[tuple[float, float]]:
    """Return phase and place, in samples, of the peaks of a cyclic correlation, between samples by a parabola."""
    size = np.abs(match)
    peak = np.flatnonzero((size >= rolled(size, 1)) & (size > rolled(size, -1)) & (size > _LIKELY * size.max()))
    found = []
    for k in peak[np.argsort(-size[peak], kind="stable")][:_MOST_TRIED]:
        before, here, after = size[k - 1], size[k], size[(k + 1) % len(size)]
        shift = (before - after) / 2 / (before - 2 * here + after)
        slope = np.angle(match[(k + 1) % len(size)] / match[k - 1]) / 2
        found.append((float(np.angle(match[k]) + shift * slope), float(k + shift)))
    return found


def expected_places(motion: Motion, ring: Turned, start_mm: float, asked: npt.NDArray[np.intp]) -> FloatArray:
    """Return where along the ring the images of its points belong; `start_mm` is where its first point goes."""
    return start_mm - ring.along[asked] if motion.mirrors else ring.direction * start_mm + ring.along[asked]


def _asked(ring: Turned) -> npt.NDArray[np.intp]:
    return np.arange(0, len(ring.w), max(1, len(ring.w) // _ASKED))


async def _settled(phase: float, ring: Turned, start_mm: float) -> float:
    """Return the phase near `phase` at which the mirrored ring lies closest, by least squares of the distances."""
    asked = _asked(ring)[::2]
    for _ in range(_SETTLING):
        motion = Motion(complex(np.exp(1j * phase)), True)
        image = motion.image(ring.w[asked])
        feet, ahead = await _nearest(ring, image, expected_places(motion, ring, start_mm, asked))
        off = np.imag(np.conj(ahead) * (image - feet))
        slope = np.real(np.conj(ahead) * image)  # of the distance, with the phase
        phase -= float(np.sum(off * slope) / max(float(np.sum(slope**2)), 1e-12))
    return phase


async def _deviation(motion: Motion, ring: Turned, start_mm: float, limit: float) -> float:
    """Return the largest distance of an image from the ring; what lies far off is looked for all along it."""
    asked = _asked(ring)
    image = motion.image(ring.w[asked])
    feet, _ = await _nearest(ring, image, expected_places(motion, ring, start_mm, asked))
    away = np.abs(image - feet)
    far = away > limit
    if far.any() and far.mean() < 0.1:
        away[far] = distances_to(_plane(ring.w), _plane(image[far]))
    return float(away.max())


def _keeps_holes(motion: Motion, holes: list[Turned], limit: float) -> bool:
    middles = np.array([np.mean(hole.w) for hole in holes])
    for hole, middle in zip(holes, middles, strict=True):
        onto = holes[int(np.argmin(np.abs(middles - motion.image(middle))))]
        image = motion.image(hole.w[:: max(1, len(hole.w) // _HOLE_POINTS)])
        if onto.beside_nearest(image).max() <= limit:
            continue
        away = image[:, None] - onto.w
        share = np.real(away * np.conj(onto.sides)) / np.maximum(np.abs(onto.sides) ** 2, 1e-30)
        if np.abs(away - np.clip(share, 0, 1) * onto.sides).min(axis=1).max() > limit:
            return False
    return True


def _plane(w: ComplexArray) -> FloatArray:
    return np.column_stack([w.real, w.imag])


def _even(ring: Turned) -> ComplexArray:
    """Return points evenly spaced along the ring, the first one its first."""
    places = np.arange(_POINTS) * ring.length / _POINTS
    along, closed = np.append(ring.along, ring.length), np.append(ring.w, ring.w[0])
    return np.asarray(np.interp(places, along, closed.real) + 1j * np.interp(places, along, closed.imag))
