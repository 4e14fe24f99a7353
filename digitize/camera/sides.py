"""Measured places along the predicted sides of squares, at full resolution, in linear light.

All sides are worked at once: each is cut into the same number of bins, a bin's levels are the mean ink and paper
across its profiles, and a bin gives one place. Bins are as long as a JPEG block, so that their errors are nearly
independent, and short enough that a side bent by the lens is straight within one.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from ..measure.profiles import USUAL_BLUR_PX, mid_crossing, take_profiles
from ..measure.step_fits import estimate_blur, fit_steps
from ..records import FloatArray, Picture
from ..steady import norm, product

SIDE_PART = 0.8  # of each side takes part, centred
_BIN_PX = 16.0  # two of JPEG's blocks
_FIRST_BIN_PX = 32.0  # of a first pass over many rings, which only says where to look
_MOST_BINS = 60  # on a side
_PROFILES = 6000  # in all; with more the random part is far below what is systematic
_SYSTEMATIC_PX = 0.01  # of a bin's place: JPEG's blocks, levels; from renders at quality 92
AT_LIMIT = 0.97  # of the most blur that can be told: from there on it may be any more
_LEAST_MARGIN_PX = 1.5  # between a predicted side and the pixels its levels are taken from
_LEAST_POWER = 1e-5  # square of ink's difference from paper, linear light
_LEAST_FOR_BLUR = 24  # profiles that a blur is told from; of fewer the usual one holds; chosen, no source
_ODD, _LEAST_ODD = 4.0, 0.05  # times the usual residual, and of the contrast: a profile that leaves more shows no edge
_FAR, _FAR_PX = 4.5, 0.05  # times the usual distance from a bin's middle (three standard deviations), and px


@dataclass(frozen=True, slots=True)
class Edge:
    """A predicted side in the picture: from `start` to `end`, bent by `bend` in between."""

    points_px: FloatArray  # (K, 2) places along the side, evenly spaced on the card, its ends left out
    outward: FloatArray  # (2,), unit, from ink (inside) to paper
    room_px: float  # how far on either side nothing else is printed


@dataclass(frozen=True, slots=True)
class SidePlaces:
    """What was measured along S sides."""

    places_px: FloatArray  # (M, 2)
    sd_px: FloatArray  # (M,)
    side: npt.NDArray[np.int64]  # (M,)
    support: FloatArray  # (S,) part of each side where an edge was found
    blur_px: float
    most_blur_px: float  # more cannot be told within the room there is
    contrast: FloatArray  # (S,)
    rest: FloatArray  # (S,) what a clean step leaves of a side's profiles, of its contrast, root mean square; medians

    @property
    def is_blurred(self) -> bool:
        """Whether the edges may be wider than can be told."""
        return self.blur_px > AT_LIMIT * self.most_blur_px


def measure_sides(picture: Picture, edges: tuple[Edge, ...], *, reach: int, blur_px: float | None = None) -> SidePlaces:
    """Find the edge along each predicted side.

    Parameters
    ----------
    picture
        The picture.
    edges
        S predicted sides.
    reach
        How far (px) the edge may lie from its prediction; cut to the room of each side's ring.
    blur_px
        Blur known from a first pass; the levels are then taken nearer to the edge. A first pass over many looks at
        fewer places.
    """
    length = float(np.median([norm(e.points_px[-1] - e.points_px[0]) for e in edges]))
    bins = int(
        np.clip(round(length / (_FIRST_BIN_PX if blur_px is None and len(edges) > 8 else _BIN_PX)), 3, _MOST_BINS)
    )
    per_bin = int(np.clip(round(_PROFILES / (bins * len(edges))), 4, 8))
    places, normals, room = _spread_out(edges, bins * per_bin)
    reach = int(max(3, min(reach, np.floor(room.min()))))
    profiles = take_profiles(picture, places, normals, reach=reach)
    offset = np.arange(-reach, reach + 1)
    start = ((profiles.base_px - places) * normals).sum(axis=1)
    distance = start[:, None] + offset * profiles.cosine[:, None]
    margin = max(_LEAST_MARGIN_PX, 0.5 * reach) if blur_px is None else min(3.0 * blur_px + 0.5, reach - 1.0)
    known = profiles.inside_picture
    light = profiles.light.astype(np.float64)
    ink = _levels(light, (distance < -margin) & known, bins, per_bin)
    paper = _levels(light, (distance > margin) & known, bins, per_bin)
    difference = ink - paper
    power = (difference**2).sum(axis=1)
    gain = difference / np.maximum(power, 1e-12)[:, None]
    value = np.einsum("nkc,nc->nk", light, gain) - (paper * gain).sum(axis=1)[:, None]
    usable = (power > _LEAST_POWER) & known.all(axis=1)
    blur = blur_px or USUAL_BLUR_PX
    if usable.sum() >= _LEAST_FOR_BLUR:
        blur = estimate_blur(value[usable], profiles.cosine[usable], start_px=blur)
    fit = fit_steps(value, profiles.cosine, blur, mid_crossing(value))
    along = fit.offset_px * profiles.cosine + start  # distance from the prediction along the normal
    good = usable & np.isfinite(along) & (fit.residual < _ODD * np.median(fit.residual[usable]) + _LEAST_ODD)
    found = _binned(places, normals, along, good, fit.sd_px, np.sqrt(power), len(edges), bins, per_bin, blur)
    return replace(found, most_blur_px=reach / 3.0, rest=np.median(fit.residual.reshape(len(edges), -1), axis=1))


def _spread_out(edges: tuple[Edge, ...], count: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    """`count` places along each side with its local normal; (S * count, 2) twice, and the room (S,)."""
    knots = np.stack([edge.points_px for edge in edges])
    outward = np.stack([edge.outward for edge in edges])
    between = _interpolation(knots.shape[1], count)
    places = product(between, knots)
    along = product(between, np.gradient(knots, axis=1))
    normals = np.stack([-along[..., 1], along[..., 0]], axis=-1)
    normals /= np.hypot(along[..., 0], along[..., 1])[..., None]
    normals *= np.sign((normals * outward[:, None, :]).sum(axis=2))[..., None]
    return places.reshape(-1, 2), normals.reshape(-1, 2), np.array([edge.room_px for edge in edges])


def _interpolation(knots: int, count: int) -> FloatArray:
    """(count, knots) weights of linear interpolation at evenly spread places."""
    at = np.linspace(0, knots - 1, count)
    return np.maximum(0.0, 1.0 - np.abs(at[:, None] - np.arange(knots)))


def _levels(light: FloatArray, chosen: npt.NDArray[np.bool_], bins: int, per_bin: int) -> FloatArray:
    """Mean light of the chosen samples over three neighbouring bins of one side, repeated for each profile; (N, C)."""
    count = chosen.sum(axis=1).reshape(-1, bins, per_bin).sum(axis=2).astype(np.float64)
    total = np.einsum("nkc,nk->nc", light, chosen.astype(np.float64))
    total = total.reshape(-1, bins, per_bin, light.shape[2]).sum(axis=2)
    pad = ((0, 0), (1, 1))
    count3 = np.pad(count, pad)
    total3 = np.pad(total, (*pad, (0, 0)))
    count3 = count3[:, :-2] + count3[:, 1:-1] + count3[:, 2:]
    total3 = total3[:, :-2] + total3[:, 1:-1] + total3[:, 2:]
    mean = total3 / np.maximum(count3, 1.0)[:, :, None]
    return np.repeat(mean.reshape(-1, light.shape[2]), per_bin, axis=0)


def _binned(
    places: FloatArray,
    normals: FloatArray,
    along: FloatArray,
    good: npt.NDArray[np.bool_],
    sd: FloatArray,
    contrast: FloatArray,
    sides: int,
    bins: int,
    per_bin: int,
    blur: float,
) -> SidePlaces:
    """One place a bin: the mean of its good profiles, those far from their median left out."""
    shape = (sides * bins, per_bin)
    distance = np.where(good, along, np.nan).reshape(shape)
    enough = np.isfinite(distance).sum(axis=1) >= max(2, per_bin // 2)
    distance = distance[enough]
    middle = np.nanmedian(distance, axis=1) if len(distance) else np.zeros(0)
    off = np.abs(distance - middle[:, None])
    typical = float(np.nanmedian(off)) if off.size else 0.0
    keep = off <= _FAR * typical + _FAR_PX
    count = np.maximum(keep.sum(axis=1), 1)
    mean = np.where(keep, distance, 0.0).sum(axis=1) / count
    own = sd.reshape(shape)[enough]
    noise = np.sqrt(np.where(keep, own**2, 0.0).sum(axis=1) / count) / np.sqrt(np.maximum(count / 2.0, 1.0))
    base = places.reshape(*shape, 2).mean(axis=1)[enough]
    normal = normals.reshape(*shape, 2).mean(axis=1)[enough]
    normal = normal / np.linalg.norm(normal, axis=1)[:, None]
    side = np.repeat(np.arange(sides), bins)[enough]
    support = np.bincount(side, minlength=sides) / bins
    return SidePlaces(
        places_px=base + mean[:, None] * normal,
        sd_px=np.hypot(noise, _SYSTEMATIC_PX),
        side=side,
        support=support,
        blur_px=blur,
        most_blur_px=np.inf,
        contrast=np.median(contrast.reshape(sides, -1), axis=1),
        rest=np.zeros(sides),
    )
