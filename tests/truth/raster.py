"""How much of each pixel a polygon covers, exact in double precision, sharp or blurred.

`coverage` clips every edge to the pixels it crosses and sums signed areas. `blurred_coverage` is the continuous
convolution of the polygon with a Gaussian and the square pixel, evaluated at pixel centres: not a filtered picture
but an integral along the edges (Green's theorem), so the phase of an edge within the pixel grid costs nothing.
With E(u) the integral of the one-dimensional kernel K = Gaussian * box up to u,

    value(x, y) = sum over edges of integral of E(x - x') K(y - y') dy'.

Points are px: (0, 0) is the centre of the top-left pixel, whose area reaches from -0.5 to 0.5.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

CHUNK = 3_000  # quadrature points deposited at once
TOGETHER = 8  # of one pixel
REACH_SIGMAS = 5.5  # the kernel is cut where its tail holds less than 4e-8


@dataclass(frozen=True, eq=False)
class Patch:
    """Values of a rectangle of the picture; (`row`, `column`) is its first pixel."""

    row: int
    column: int
    values: np.ndarray  # (h, w) float64

    @property
    def slices(self):
        h, w = self.values.shape
        return slice(self.row, self.row + h), slice(self.column, self.column + w)


def edges_of(rings):
    """Return starts and ends, (M, 2) each, of all edges; the first ring adds, the others take away."""
    starts, ends = [], []
    for i, points in enumerate(rings):
        points = np.asarray(points, float)
        after = np.roll(points, -1, axis=0)
        doubled_area = (points[:, 0] * after[:, 1] - after[:, 0] * points[:, 1]).sum()
        if (doubled_area < 0) != (i == 0):  # the left flank of what adds must run towards larger y
            points, after = after, points
        starts.append(points)
        ends.append(after)
    return np.concatenate(starts), np.concatenate(ends)


def _cut(starts, ends, axis: int):
    """Cut edges where their coordinate `axis` passes a whole number."""
    a, b = starts[:, axis], ends[:, axis]
    low, high = np.minimum(a, b), np.maximum(a, b)
    first = np.floor(low) + 1
    cuts = np.maximum(np.ceil(high) - first, 0).astype(int)
    which = np.repeat(np.arange(len(a)), cuts + 1)
    order = np.arange(len(which)) - np.repeat(np.cumsum(cuts + 1) - (cuts + 1), cuts + 1)
    forward = (b >= a)[which]

    def at(k):
        """Parameter of the k-th cut of each edge, 0 for the start, 1 for the end."""
        level = np.where(forward, first[which] + k - 1, first[which] + cuts[which] - k)
        with np.errstate(divide="ignore", invalid="ignore"):
            t = (level - a[which]) / (b - a)[which]
        return np.where(k == 0, 0.0, np.where(k == cuts[which] + 1, 1.0, t))

    d = (ends - starts)[which]
    return starts[which] + at(order)[:, None] * d, starts[which] + at(order + 1)[:, None] * d


def _window(starts, shape, margin: int):
    """Return (row, column, h, w) of the pixels the edges and everything to their margin touch, in the picture."""
    low = np.maximum(np.floor(starts.min(0) + 0.5).astype(int) - margin, 0)
    high = np.minimum(np.floor(starts.max(0) + 0.5).astype(int) + margin + 1, (shape[1], shape[0]))
    return int(low[1]), int(low[0]), int(max(high[1] - low[1], 0)), int(max(high[0] - low[0], 0))


def coverage(rings, shape) -> Patch:
    """Return the share of each pixel's area inside `rings` (outer first, then holes) within a picture (H, W).

    Exact to rounding (about 1e-12) for polygons; parts outside the picture are cut off.
    """
    starts, ends = edges_of(rings)
    row, column, h, w = _window(starts, shape, 0)
    origin = np.array([column - 0.5, row - 0.5])
    starts, ends = _cut(*_cut(starts - origin, ends - origin, 1), 0)
    rise = ends[:, 1] - starts[:, 1]
    middle = (starts + ends) / 2
    cell = np.floor(middle).astype(int)
    keep = (rise != 0) & (cell[:, 1] >= 0) & (cell[:, 1] < h) & (cell[:, 0] < w)
    rise, middle, cell = rise[keep], middle[keep], cell[keep]
    left = cell[:, 0] < 0  # left of the picture: the whole row from its first pixel on lies to the right of the edge
    column_of = np.where(left, 0, cell[:, 0])
    share = np.where(left, 1.0, 1 - (middle[:, 0] - cell[:, 0]))
    flat = cell[:, 1] * (w + 1) + column_of
    size = h * (w + 1)
    steps = np.bincount(flat, rise * share, size) + np.bincount(flat + 1, rise * (1 - share), size + 1)[:size]
    return Patch(row, column, np.cumsum(steps.reshape(h, w + 1), axis=1)[:, :w])


def blurred_coverage(rings, shape, sigma) -> Patch:
    """Return the coverage after a Gaussian blur of `sigma` px, a number or (x, y), followed by the pixel's area."""
    sx, sy = np.broadcast_to(np.asarray(sigma, float), 2)
    if min(sx, sy) <= 0:
        return coverage(rings, shape)
    margin = math.ceil(REACH_SIGMAS * max(sx, sy) + 1)
    starts, ends = edges_of(rings)
    row, column, h, w = _window(starts, shape, margin)
    points, rises = _quadrature(starts, ends, 0.45 * min(sx, sy))
    # Points far to the left act on whole rows; pulling them to just outside the window leaves that unchanged.
    points[:, 0] = np.maximum(points[:, 0], column - margin - 1)
    near = (points[:, 1] > row - margin - 1) & (points[:, 1] < row + h + margin) & (points[:, 0] < column + w + margin)
    points, rises = points[near], rises[near]
    padded = np.zeros((h + 4 * margin + 8, w + 4 * margin + 8))
    first = np.array([column, row]) - 2 * margin - 4
    kernels = _table(float(sx), margin, integral=True), _table(float(sy), margin, integral=False)
    for i in range(0, len(points), CHUNK):
        _deposit(padded, points[i : i + CHUNK] - first, rises[i : i + CHUNK], kernels, margin)
    inner = padded[2 * margin + 4 : 2 * margin + 4 + h]
    return Patch(row, column, np.cumsum(inner, axis=1)[:, 2 * margin + 4 : 2 * margin + 4 + w])


def _quadrature(starts, ends, longest: float):
    """Return two Gauss points on each edge cut to `longest` px, (M, 2), and the rise each stands for, (M,)."""
    d = ends - starts
    n = np.maximum(np.ceil(np.hypot(*d.T) / longest), 1).astype(int)
    which = np.repeat(np.arange(len(d)), n)
    order = np.arange(len(which)) - np.repeat(np.cumsum(n) - n, n)
    step = d[which] / n[which][:, None]
    base = starts[which] + order[:, None] * step
    offset = 0.5 / math.sqrt(3)
    points = np.stack([base + (0.5 - offset) * step, base + (0.5 + offset) * step], 1).reshape(-1, 2)
    return points, np.repeat(step[:, 1] / 2, 2)


def _deposit(target, points, rises, kernels, reach: int) -> None:
    """Add each point's blurred step, differenced along x, to `target`; points of one pixel at once, `TOGETHER` of them.

    They follow one another along the edges: a run of them shares its pixel, and the sum of their outer products is one
    product of matrices.
    """
    cell = np.floor(points).astype(int)
    within = points - cell
    starts = np.flatnonzero(np.r_[True, (np.diff(cell, axis=0) != 0).any(axis=1)])
    lengths = np.diff(np.r_[starts, len(points)])
    order = np.arange(len(points)) - np.repeat(starts, lengths)
    begins = np.flatnonzero(order % TOGETHER == 0)
    group, place = np.cumsum(order % TOGETHER == 0) - 1, order % TOGETHER
    along_x, along_y = (np.zeros((len(begins), TOGETHER, 2 * reach + 2)) for _ in range(2))
    along_x[group, place] = kernels[0].at(within[:, 0])
    along_y[group, place] = kernels[1].at(within[:, 1]) * rises[:, None]
    values = along_y.transpose(0, 2, 1) @ along_x
    x0, y0 = cell[begins].T - reach
    k = np.arange(2 * reach + 2)
    r0, c0 = y0.min(), x0.min()
    h, w = y0.max() - r0 + len(k), x0.max() - c0 + len(k)
    flat = ((y0 - r0)[:, None] + k)[:, :, None] * w + ((x0 - c0)[:, None] + k)[:, None, :]
    target[r0 : r0 + h, c0 : c0 + w] += np.bincount(flat.ravel(), values.ravel(), h * w).reshape(h, w)


class _Table:
    """A kernel at the pixels about a point, by where in its pixel the point lies: Taylor's polynomials, 1e-10 off."""

    STEPS = 1024

    def __init__(self, sigma: float, reach: int, *, integral: bool):
        middles = (np.arange(self.STEPS) + 0.5) / self.STEPS
        u = np.arange(-reach, reach + 2) - middles[:, None]
        if not integral:
            self.terms = _kernel(u, sigma), -_bells(u, sigma), _slopes(u, sigma) / 2
            return
        ramps = np.arange(-reach - 1, reach + 2) - middles[:, None]
        terms = [_ramp(ramps, sigma), -_kernel(ramps, sigma), _bells(ramps, sigma) / 2]
        for term, whole in zip(terms, (1.0, 0.0, 0.0), strict=True):
            term[:, 0], term[:, -1] = 0.0, whole  # so that the whole step is given out
        self.terms = tuple(np.diff(term, axis=1) for term in terms)

    def at(self, within):
        """Values (N, K) for points at `within` (N,), 0..1, of their pixels."""
        number = np.minimum((within * self.STEPS).astype(int), self.STEPS - 1)
        off = (within - (number + 0.5) / self.STEPS)[:, None]
        value, slope, bend = self.terms
        return value[number] + off * (slope[number] + off * bend[number])


@lru_cache(maxsize=16)
def _table(sigma: float, reach: int, *, integral: bool) -> _Table:
    return _Table(sigma, reach, integral=integral)


def _kernel(u, sigma: float):
    """Gaussian convolved with a box of width 1."""
    from scipy.special import ndtr

    return ndtr((u + 0.5) / sigma) - ndtr((u - 0.5) / sigma)


def _bells(u, sigma: float):
    """Derivative of `_kernel`."""
    return _bell(u + 0.5, sigma) - _bell(u - 0.5, sigma)


def _slopes(u, sigma: float):
    """Second derivative of `_kernel`."""
    return ((u - 0.5) * _bell(u - 0.5, sigma) - (u + 0.5) * _bell(u + 0.5, sigma)) / sigma**2


def _bell(u, sigma: float):
    """The normal distribution's density."""
    return np.exp(-0.5 * (u / sigma) ** 2) / (sigma * math.sqrt(2 * math.pi))


def _ramp(u, sigma: float):
    """Integral of `_kernel` from minus infinity to `u`."""
    from scipy.special import ndtr

    def twice(z):
        return z * ndtr(z / sigma) + sigma / math.sqrt(2 * math.pi) * np.exp(-0.5 * (z / sigma) ** 2)

    return twice(u + 0.5) - twice(u - 0.5)
