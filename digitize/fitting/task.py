"""A ring that is to be fitted: how far each of its points may stray, and where it may be broken."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ..measure.rings import rolled
from ..records import FloatArray
from .draft import first_draft, kinks_of
from .pieces import IntArray, Limits
from .polish import polish
from .repair import Flat
from .ring import smoothed_ring
from .search import Candidates, best_breaks, count_pieces, find_candidates, find_reach

SAMPLES = 48  # points looked at to judge one piece
_MOST_CANDIDATES = 2400  # places where a piece may end; the search grows with their square
PEAK = 4.5  # standard deviations: the largest of 20,000 white-noise values is 4.1 on average
SLACK = 1.2  # least squares leaves up to about this much more than levelled offsets need
_QUIET = 5.5  # standard deviations in the tolerance: leaves some of it for the curve
_NOISELESS = 40  # times the noise is less than the tolerance where it cannot be what comes near the limit
_CORNER = np.radians(5)
_CALMER = 4  # times less noise in the ring that is searched
_NEAR = 16  # points
_TAKEN_OFF = 0.75  # of the largest noise near by: it seldom meets the curve's own largest offset
_MOST_AVERAGED = 12  # neighbours on each side
_UNSURE = 0.75  # of the tolerance: a larger sagitta is an arc's, whatever the noise


@dataclass(frozen=True, slots=True)
class Task:
    """A ring to be fitted, and how far each of its points may stray."""

    ring: FloatArray  # (N, 2), noise averaged out where it hides the tolerance
    corners: tuple[int, ...]
    tolerance_mm: float
    limit_mm: FloatArray  # (N,)
    noise_mm: float  # left in the ring
    sd_mm: float  # in the ring as it was measured

    @property
    def noisy(self) -> bool:
        """Whether it matters that every point is used."""
        return self.noise_mm > self.tolerance_mm / _NOISELESS

    @property
    def flat(self) -> Flat:
        """What is straight."""
        return Flat(self.tolerance_mm / 20, _UNSURE * self.tolerance_mm, self.sd_mm)

    def eased(self, share: float) -> Task:
        """Return the task at a share of its tolerance."""
        if share == 1.0:
            return self
        return replace(self, tolerance_mm=share * self.tolerance_mm, limit_mm=share * self.limit_mm)


async def make_task(ring: FloatArray, corners: tuple[int, ...], tolerance: float, sd: float) -> Task:
    """Return a ring that is to be fitted, averaged where its noise hides the tolerance, but not across its corners."""
    if PEAK * sd <= tolerance:
        return Task(ring, corners, tolerance, np.full(len(ring), tolerance), sd, sd)
    coarse = Task(ring, corners, tolerance, np.full(len(ring), PEAK * sd), sd, sd)
    calm, smooth, left = smoothed_ring(
        ring, sd_mm=sd, residue_mm=tolerance / _QUIET, most=_MOST_AVERAGED, corners=await _kinks(coarse)
    )
    limit = np.where(smooth, max(tolerance, PEAK * left), PEAK * sd)
    return replace(coarse, ring=calm, limit_mm=limit, noise_mm=left if smooth.any() else sd)


async def _kinks(task: Task) -> IntArray:
    """Return indices of the points where a coarse fit has a corner: noise must not be averaged across it."""
    breaks = await find_breaks(task, candidates(task), 1.0)
    draft = await polish(first_draft(task.ring, breaks, task.corners), task.ring)
    sharp = np.abs(kinks_of(draft)) > _CORNER
    return np.asarray(draft.breaks[sharp] % len(task.ring))


def calmed(task: Task) -> Task:
    """Return the task with the noise averaged out and taken off the limits, for a search that looks at few points."""
    if not task.noisy or task.limit_mm.max() > task.tolerance_mm:
        return task
    calm, _, left = smoothed_ring(
        task.ring, sd_mm=task.noise_mm, residue_mm=task.noise_mm / _CALMER, most=_MOST_AVERAGED, corners=task.corners
    )
    noise = _TAKEN_OFF * _largest_near(np.hypot(*(task.ring - calm).T), _NEAR)
    limit = np.maximum(task.limit_mm - noise, task.limit_mm / 5)
    return replace(task, ring=calm, limit_mm=limit, noise_mm=left)


def _largest_near(values: FloatArray, reach: int) -> FloatArray:
    """Return (N,) at least the largest of each value's neighbours, less than twice `reach` away, around a ring."""
    count = len(values)
    padded = np.append(values, values[: -count % reach])
    groups = padded.reshape(-1, reach).max(axis=1)
    wide = np.maximum(groups, np.maximum(rolled(groups, 1), rolled(groups, -1)))
    return np.asarray(np.repeat(wide, reach)[:count])


def candidates(task: Task) -> Candidates:
    """Return the points at which the ring may be broken."""
    return find_candidates(
        task.ring, task.corners, spread_mm=max(task.tolerance_mm / 3, 2 * task.noise_mm), most=_MOST_CANDIDATES
    )


def limits_of(task: Task, slack: float) -> Limits:
    """Return what a stretch may stray, so many times its limits."""
    return Limits(slack * task.limit_mm, 2 * task.tolerance_mm + float(task.limit_mm.max()))


async def find_breaks(task: Task, found: Candidates, slack: float) -> IntArray:
    """Return where to break the ring into the fewest pieces within so many times its limits."""
    reach = await find_reach(task.ring, found, limits=limits_of(task, slack), samples=SAMPLES)
    start = int(np.argmin(count_pieces(reach)))
    return await best_breaks(task.ring, found, reach, start, samples=SAMPLES // 2)
