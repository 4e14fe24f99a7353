"""Where edges are along the profiles across them: many borders at once, each with a blur and levels of its own."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

from ..measure.profiles import (
    ALONG,
    CLEAR_BLURS,
    USUAL_BLUR_PX,
    Profiles,
    Steps,
    mid_crossing,
    normal_cdf,
    normalise,
    take_profiles,
)
from ..measure.ragged import TO_SD, EndToEnd, IntArray, median, moving_mean
from ..measure.slopes import Slopes, side_slopes, take_out_slopes
from ..measure.step_fits import StepFit, estimate_blurs, fit_steps
from ..records import BoolArray, FloatArray, Picture
from .by_hue import told_by_hue
from .pure import Rough, pure_samples
from .smoothing import correlate_closed, correlate_rings, normals_of_rings, resample_closed
from .two_steps import FAINT, LEAST_ODD, ODD, fit_two_steps

LEVEL_HALF = 10  # neighbours on either side whose light makes the level of a side
_REACH_PX = 9  # of the profiles, at first
_CALM = 0.12  # noise over contrast up to which a single profile's crossing can be told
_SLOPE_HALF = 40  # neighbours on either side whose light makes a trend
_MOST_CALMING = 12  # neighbours on either side that are averaged at the most; chosen, no source
_LEAST_CLEAR_PX = 2.5  # from an edge: nearer no side is taken for shown alone; chosen, no source


@dataclass(frozen=True, slots=True)
class Measured:
    """What the profiles along borders gave, which lie end to end."""

    places: FloatArray  # (N, 2) px, NaN where no edge was found
    sd_px: FloatArray  # (N,)
    usable: BoolArray  # (N,)
    contrast: FloatArray  # (N,), linear-light distance of the two levels
    inside: FloatArray  # (N, C), linear light of the item along the edge
    outside: FloatArray  # (N, C), linear light beyond it
    shade: FloatArray  # (N,), trend of the light outside, parts of the contrast per px: below 0 toward the item's light
    blur_px: FloatArray  # (R,)

    def picked(self, rows: IntArray | slice, numbers: IntArray | slice) -> Measured:
        """Those rows, of the rings of those numbers."""
        along = {field.name: getattr(self, field.name)[rows] for field in fields(self)[:-1]}
        return Measured(**along, blur_px=self.blur_px[numbers])


def base_and_normals(start: FloatArray, rings: EndToEnd, *, half: int = 4) -> tuple[FloatArray, FloatArray]:
    """Chain pixels and the smoothed chains' outward normals.

    Oriented counter-clockwise in y-up, outward lies to the right of travel there, which is to the left in
    y-down picture coordinates.
    """
    normals = np.empty_like(start)
    halves = np.clip((rings.sizes - 9) // 2, 1, half)
    for numbers, some, rows in rings.alike(halves):
        least = int(halves[numbers[0]])
        box = np.full(2 * least + 1, 1.0 / (2 * least + 1))
        smooth = correlate_rings(correlate_rings(start[rows], some, box), some, box)
        normals[rows] = -normals_of_rings(smooth, some, min(4, least))
    return start, normals


def evened(chain: FloatArray, *, half: int) -> FloatArray:
    """The chain without what wavers within so many pixels either way, its points 1 px apart again."""
    half = int(np.clip((len(chain) - 9) // 2, 1, half))
    box = np.full(2 * half + 1, 1.0 / (2 * half + 1))
    return resample_closed(correlate_closed(correlate_closed(chain, box), box), 1.0)


def edge_places(
    picture: Picture, borders: Sequence[Rough], base: FloatArray, normals: FloatArray, rings: EndToEnd
) -> Measured:
    """Measure where the edges are at each chain pixel (N, 2) of R borders; `normals` (N, 2) point outward."""
    found: Measured | None = None
    blur = np.full(len(rings), USUAL_BLUR_PX)
    todo = [(_REACH_PX, np.arange(len(rings)))]
    for is_last in (False, False, True):
        farther: list[tuple[int, IntArray]] = []
        for reach, numbers in todo:
            some, rows = rings.picked(numbers)
            own = [borders[k] for k in numbers.tolist()]
            seen = _seen(picture, own, some, base[rows], normals[rows], reach, blur[numbers])
            blur[numbers] = seen.blur
            needed = np.ceil(ALONG * (CLEAR_BLURS * seen.blur + 0.5)).astype(np.int64) + 4
            done = (needed <= reach) | is_last
            if done.any():
                kept = np.flatnonzero(done)
                at = some.picked(kept)[1]
                found = _put(
                    found, (seen if done.all() else seen.picked(kept)).measured(), rows[at], numbers[kept], rings
                )
            farther += [(int(one), numbers[~done & (needed == one)]) for one in np.unique(needed[~done])]
        todo = farther
    assert found is not None
    return found


def _put(found: Measured | None, one: Measured, rows: IntArray, numbers: IntArray, rings: EndToEnd) -> Measured:
    """Put what was measured of some rings among that of all."""
    if len(numbers) == len(rings):
        return one
    values = [getattr(one, field.name) for field in fields(one)]
    if found is None:
        sizes = [len(rings.owner)] * (len(values) - 1) + [len(rings)]
        found = Measured(*(np.empty((size, *v.shape[1:]), v.dtype) for size, v in zip(sizes, values, strict=True)))
    for field, value in zip(fields(one), values, strict=True):
        getattr(found, field.name)[numbers if field.name == "blur_px" else rows] = value
    return found


@dataclass(frozen=True, slots=True)
class _Seen:
    """Profiles of some borders, normalised, and the blur of each."""

    rings: EndToEnd
    profiles: Profiles
    inside: BoolArray  # (N, K)
    outside: BoolArray
    steps: Steps
    blur: FloatArray  # (R,)

    def picked(self, numbers: IntArray) -> _Seen:
        """Of some of the borders."""
        rings, rows = self.rings.picked(numbers)
        flags = self.inside[rows], self.outside[rows]
        return _Seen(rings, self.profiles.picked(rows), *flags, self.steps.picked(rows), self.blur[numbers])

    def measured(self) -> Measured:
        """Where the edges are."""
        rings, profiles, steps = self.rings, self.profiles, self.steps
        fit, beyond = self._fitted()
        blur = rings.rows(self.blur)
        typical = rings.rows(rings.each(fit.residual, median))
        usual = rings.rows(rings.each(steps.contrast, median))
        odd = (fit.residual > ODD * typical + LEAST_ODD) | ~steps.usable | (steps.contrast < FAINT * usual)
        odd |= np.abs(fit.offset_px) > 4 + 2 * blur
        places = profiles.base_px + fit.offset_px[:, None] * profiles.step
        places[odd] = np.nan
        light = steps.inside, steps.outside
        return Measured(places, fit.sd_px, steps.usable, steps.contrast, *light, beyond.slope, self.blur)

    def _fitted(self) -> tuple[StepFit, Slopes]:
        """Steps fitted to the profiles, trends of the light beside them taken out; the trend beyond."""
        rings, profiles, value = self.rings, self.profiles, self.steps.value
        start = mid_crossing(_calmed(value, self.outside, rings))
        fit = fit_steps(value, profiles.cosine, self.blur, start, rings=rings)
        offsets = np.arange(-profiles.reach, profiles.reach + 1)
        places = np.where(np.isfinite(fit.offset_px), fit.offset_px, 0.0)
        distance = (offsets - places[:, None]) * profiles.cosine[:, None]
        blur = rings.rows(self.blur)[:, None]
        # the blur's own tail is no trend of the light
        rest = value - 1.0 + normal_cdf(distance / blur)
        within = side_slopes(rest, distance, self.inside, half=_SLOPE_HALF, rings=rings)
        beyond = side_slopes(rest, distance, self.outside, half=_SLOPE_HALF, rings=rings)
        trends = np.flatnonzero(rings.summed((within.slope != 0) | (beyond.slope != 0)))
        if len(trends):
            some, rows = rings.picked(trends)
            sides = (Slopes(side.slope[rows], side.centre[rows]) for side in (within, beyond))
            flat = take_out_slopes(value[rows], distance[rows], blur[rows], *sides)
            again = fit_steps(flat, profiles.cosine[rows], self.blur[trends], start[rows], rings=some)
            fit.offset_px[rows], fit.sd_px[rows], fit.residual[rows] = again.offset_px, again.sd_px, again.residual
        return fit, beyond


def _seen(
    picture: Picture,
    borders: Sequence[Rough],
    rings: EndToEnd,
    base: FloatArray,
    normals: FloatArray,
    reach: int,
    blur: FloatArray,
) -> _Seen:
    """Take the profiles of borders so far either way, and estimate the blur (R,) of each from what it was thought."""
    profiles = take_profiles(picture, base, normals, reach=reach)
    inside, outside = pure_samples(
        borders, rings, profiles, rings.rows(np.maximum(_LEAST_CLEAR_PX, CLEAR_BLURS * blur + 0.5))
    )
    steps = normalise(profiles, inside, outside, half=LEVEL_HALF, closed=True, rings=rings)
    steps = told_by_hue(profiles, steps, inside, outside, half=LEVEL_HALF, rings=rings)
    blur = estimate_blurs(steps.value, profiles.cosine, rings, blur)
    return _Seen(rings, profiles, inside, outside, steps, blur)


def _calmed(value: FloatArray, outside: npt.NDArray[np.bool_], rings: EndToEnd) -> FloatArray:
    """Average neighbouring profiles as far as their noise would hide the crossing."""
    shown = EndToEnd(rings.summed(np.count_nonzero(outside, axis=1)))
    noise = TO_SD * shown.each(np.abs(value[outside]), median)  # nan where nothing beyond is shown
    noisy = np.flatnonzero(noise >= _CALM)
    if len(noisy):
        value = np.array(value)
    for k in noisy.tolist():
        at, half = rings.slices[k], min(_MOST_CALMING, int(np.ceil(0.5 * (noise[k] / _CALM) ** 2)))
        value[at] = moving_mean(value[at], np.ones(int(rings.sizes[k])), half, closed=True)[0]
    return value


def rim_places(
    picture: Picture, base: FloatArray, normals: FloatArray, rim_px: float, blur_px: float
) -> tuple[Measured, FloatArray] | None:
    """Measure where a rim's outer edge is at each chain pixel, and its width; None of one too narrow for that."""
    two = fit_two_steps(picture, base, normals, rim_px, blur_px)
    if two is None:
        return None
    profiles, reach = two.profiles, two.profiles.reach
    places = profiles.base_px + two.outer_px[:, None] * profiles.step
    axis = (two.rim - two.ground) / np.maximum(two.contrast, 1e-6)[:, None] ** 2
    value = np.einsum("nkc,nc->nk", profiles.light - two.ground[:, None], axis)
    distance = np.arange(-reach, reach + 1) - np.nan_to_num(two.outer_px)[:, None]
    distance *= profiles.cosine[:, None]
    beyond = side_slopes(value, distance, distance > CLEAR_BLURS * two.blur_px + 0.5, half=_SLOPE_HALF)
    seen = np.isfinite(two.outer_px), two.contrast, two.rim, two.ground
    return Measured(places, two.sd_px, *seen, np.abs(beyond.slope), np.array([two.blur_px])), two.width_px
