"""Circles through many stretches of a ring at once, and how well each explains its stretch.

A circle or line is A (x^2 + y^2) + B x + C y + D = 0 with B^2 + C^2 - 4 A D = 1 (Pratt 1987), which
has no singularity between the two. The fit minimises the algebraic distance under that constraint
(Chernov 2010, "Circular and linear regression", section 5.5): its bias is of the order of the noise
squared over the radius, nanometres here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
import numpy.typing as npt

from ..records import FloatArray
from .together import Wish

IntArray = npt.NDArray[np.intp]

_LEAST = 1e-12  # added to each moment: of what a circle explains without rest
_START = (0.3, 0.5, 0.7, -0.3)  # along no eigenvector
_MAX_SWEEP = np.radians(345)
_CHUNK = 1000  # stretches judged at once: of more the arrays leave the cache
_FEW = 12  # points: shorter stretches are judged at so many places, some of them twice


@dataclass(frozen=True, slots=True)
class Limits:
    """What a stretch may stray from its circle, in mm."""

    point_mm: FloatArray  # (N,) each point of the ring
    slip_mm: float  # how far the ring may run backwards along the circle


@dataclass(frozen=True, slots=True)
class Stretches:
    """What was found of E stretches."""

    mean_square: FloatArray  # (E,) mm2, across the circle
    fits: npt.NDArray[np.bool_]  # (E,)


@dataclass(frozen=True, slots=True)
class _Asked:
    """Stretches of one ring that are to be judged."""

    ring: FloatArray
    starts: IntArray
    lengths: IntArray
    limits: Limits
    samples: int


def judged(
    ring: FloatArray, starts: IntArray, lengths: IntArray, *, limits: Limits, samples: int
) -> Wish[_Asked, Stretches]:
    """Wish for a circle or line through each stretch of a closed ring, and how well it explains it.

    Parameters
    ----------
    ring : (N, 2) mm
    starts, lengths : (E,)
        Stretch e holds the points starts[e] ... starts[e] + lengths[e], wrapping around.
    limits
        What counts as explained.
    samples
        Points looked at in each stretch, evenly spread (fewer in short ones).
    """
    return Wish(_all_judged, _Asked(ring, starts, lengths, limits, samples))


@dataclass(frozen=True, slots=True)
class _Rings:
    """The points of several rings, one after the other, and what stretches may stray from their circles."""

    x: FloatArray
    y: FloatArray
    limit: FloatArray


@dataclass(frozen=True, slots=True)
class _Some:
    """Stretches of several rings, (E,) each: where their ring begins, how many points it has, and so on."""

    first: IntArray
    size: IntArray
    start: IntArray
    length: IntArray
    slip_mm: FloatArray

    def part(self, which: IntArray) -> _Some:
        """Return some of them."""
        return _Some(self.first[which], self.size[which], self.start[which], self.length[which], self.slip_mm[which])


def _all_judged(asked: Sequence[_Asked]) -> list[Stretches]:
    """Judge the stretches of several rings at once."""
    sizes, counts = np.array([len(one.ring) for one in asked]), [len(one.starts) for one in asked]
    x, y = (_joined([one.ring[:, axis] for one in asked]) for axis in (0, 1))
    rings = _Rings(x, y, _joined([one.limits.point_mm for one in asked]))
    columns = (np.cumsum(sizes) - sizes, sizes, [one.samples for one in asked], [one.limits.slip_mm for one in asked])
    first, size, samples, slip = (np.repeat(column, counts) for column in columns)
    start, length = _joined([one.starts for one in asked]), _joined([one.lengths for one in asked])
    some = _Some(first, size, start, length, slip)
    samples = np.where(length < _FEW, np.minimum(_FEW, samples), samples)
    square, fits = np.empty(len(start)), np.empty(len(start), dtype=bool)
    for count in sorted({few for one in asked for few in (one.samples, min(_FEW, one.samples))}):
        which = np.flatnonzero(samples == count)
        for at in (which[low : low + _CHUNK] for low in range(0, len(which), _CHUNK)):
            square[at], fits[at] = _judged(rings, some.part(at), count)
    fits |= length <= 1
    ends = np.cumsum(counts).tolist()
    parts = [slice(end - count, end) for end, count in zip(ends, counts, strict=True)]
    return [Stretches(square[part], fits[part]) for part in parts]


def _joined(columns: list[npt.NDArray[Any]]) -> npt.NDArray[Any]:
    return np.concatenate(columns) if len(columns) > 1 else columns[0]


def _judged(rings: _Rings, some: _Some, samples: int) -> tuple[FloatArray, npt.NDArray[np.bool_]]:
    index = np.rint(_shares(samples) * some.length[:, None]).astype(np.intp)
    index += some.start[:, None]
    index -= some.size[:, None] * (index >= some.size[:, None])
    index += some.first[:, None]
    x, y, scale = _centred(rings.x.take(index, mode="clip"), rings.y.take(index, mode="clip"))
    coefficients, off = _pratt(x, y)
    off *= scale
    fits = np.all(np.abs(off) <= rings.limit.take(index, mode="clip"), axis=1)
    near = np.flatnonzero(fits)
    if len(near) < len(fits):
        coefficients, x, y, scale = coefficients[near], x[near], y[near], scale[near]
    along = _along(coefficients, x, y)
    along *= scale
    fits[near] = _runs_forward(along, some.slip_mm[near]) & _open(coefficients, along, scale[:, 0])
    return np.einsum("es,es->e", off, off) / samples, fits


def _centred(x: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return x, y about each stretch's centroid in units of its size: fourth moments lose no digits."""
    x -= x.mean(axis=1, keepdims=True)
    y -= y.mean(axis=1, keepdims=True)
    scale = np.sqrt((np.einsum("es,es->e", x, x) + np.einsum("es,es->e", y, y)) / (2 * x.shape[1]))[:, None] + 1e-12
    x /= scale
    y /= scale
    return x, y, scale


def _pratt(x: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return (E, 4) coefficients A, B, C, D by inverse iteration for the smallest eigenvalue; (E, S) distances.

    `_centred` has left the means of x and y 0 and that of x^2 + y^2 at 2.
    """
    z = x * x + y * y
    zz, zx, zy, xx, xy, yy = (
        np.einsum("es,es->e", one, other) / x.shape[1]
        for one, other in ((z, z), (z, x), (z, y), (x, x), (x, y), (y, y))
    )
    zz, xx, yy = zz + (_LEAST - 4 / (1 + _LEAST)), xx + _LEAST, yy + _LEAST  # D is taken out of A's equation
    inner = _inverse(zz, zx, zy, xx, xy, yy)
    vector, d = np.empty((3, len(x))), np.full(len(x), _START[3])
    vector[:] = np.array(_START[:3])[:, None]
    for _ in range(4):  # grows by at most 1e12 each time
        right = vector.copy()
        right[0] = (4 / (1 + _LEAST)) * vector[0] - 2 * d
        after = np.einsum("abe,be->ae", inner, right)
        vector, d = after, -2 * (vector[0] + after[0]) / (1 + _LEAST)
    solved = np.column_stack([*vector, d])
    size = solved[:, 1] ** 2 + solved[:, 2] ** 2 - 4 * solved[:, 0] * solved[:, 3]
    solved = solved / np.sqrt(np.maximum(size, 1e-30))[:, None]
    a, b, c, d = (solved[:, k, None] for k in range(4))
    value = a * z
    value += b * x
    value += c * y
    value += d
    root = np.sqrt(np.maximum(1 + (4 * a) * value, 0.0))
    root += 1
    value *= 2
    value /= root
    return solved, value


def _inverse(
    aa: FloatArray, ab: FloatArray, ac: FloatArray, bb: FloatArray, bc: FloatArray, cc: FloatArray
) -> FloatArray:
    """Return (3, 3, E) the inverses of symmetric matrices, by their cofactors: no pivot that could vanish."""
    a, b, c = bb * cc - bc * bc, ac * bc - ab * cc, ab * bc - ac * bb
    d, e, f = aa * cc - ac * ac, ab * ac - aa * bc, aa * bb - ab * ab
    return np.asarray(np.stack([a, b, c, b, d, e, c, e, f]).reshape(3, 3, -1) / (aa * a + ab * b + ac * c))


@cache
def _shares(samples: int) -> FloatArray:
    """Return (S,) evenly spread places, from 0 to 1."""
    return np.linspace(0.0, 1.0, samples)


def _along(coefficients: FloatArray, x: FloatArray, y: FloatArray) -> FloatArray:
    """Return (E, S) the way gone along the circle."""
    a, b, c = (coefficients[:, k, None] for k in range(3))
    gx, gy = 2 * a * x, 2 * a * y
    gx += b
    gy += c
    norm = gx * gx
    norm += gy * gy
    np.sqrt(norm, out=norm)
    norm += 1e-12
    gx /= norm
    gy /= norm
    along = np.zeros_like(x)  # step by step in place: of many points, arrays made anew take longer than sums
    steps = along[:, 1:]
    np.multiply(x[:, :-1] - x[:, 1:], gy[:, 1:] + gy[:, :-1], out=steps)
    steps += (y[:, 1:] - y[:, :-1]) * (gx[:, 1:] + gx[:, :-1])
    steps /= 2
    np.cumsum(steps, axis=1, out=steps)
    along *= np.where(along[:, -1:] < 0, -1.0, 1.0)
    return along


def _runs_forward(along: FloatArray, slip: FloatArray) -> npt.NDArray[np.bool_]:
    forward: npt.NDArray[np.bool_] = np.all(along[:, 1:] >= along[:, :-1], axis=1)
    back = np.flatnonzero(~forward)
    if len(back):
        some = along[back]
        forward[back] = (np.maximum.accumulate(some, axis=1) - some).max(axis=1) <= slip[back]
    return forward


def _open(coefficients: FloatArray, along: FloatArray, scale: FloatArray) -> npt.NDArray[np.bool_]:
    """Tell whether each stretch ends well before it has gone around its circle."""
    turned: npt.NDArray[Any] = np.abs(2 * coefficients[:, 0]) * along[:, -1] / scale
    return np.asarray(turned <= _MAX_SWEEP)
