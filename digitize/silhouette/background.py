"""The background behind the items: smooth, estimated from what is not item, in linear light."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt

from ..measure.ragged import TO_SD
from ..opencv import cv
from ..reading.reduced import Light
from ..records import BoolArray, Finding, Float32Array
from ..steady import product, solve
from ..words.say import finding_of
from .lid import FAINT, alike_in_hue, followed, grown_lid

_MODEL_PX = 200  # long side of the picture the surface is fitted to
_LEAST_RIM = 0.1  # of the rim has the background's colour
_ROOM_PX = 5  # around things told from the lid by a level: their blurred edges
_LEAST_LID = 0.2  # of the picture
ONE_COLOUR = 0.06  # square root of linear light, about even to the eye: colours nearer than this are one
_COMMON = 0.2  # of the pixels along the edge have a colour that may be the background's
_RIM_PART = 0.04  # of the size: how wide the edge is that is looked at
_ABOUT, _ABOUT_PART = 0.05, 0.1  # of linear light, and of the colour: what is this near to it has it
_KEEPS = 4.0  # standard deviations from the surface within which a pixel keeps to it
_LEAST_SD, _SD_PART = 0.004, 0.008  # of linear light, and of the colour: what no background keeps better to
_USUAL_TEXTURE = 0.01  # of linear light, where too little is seen to tell it
_OF_WINDOW = 1.6  # from the median deviation from a mean of 5 x 5 pixels to the standard deviation of one
_CODES_SD = 5e-4  # of linear light: what rounding to codes leaves
_TAILS = (2, 98)  # percentiles of brightness taken for darkest and lightest; common practice, no source
_COLOUR_STEPS = 20  # a channel, in the root of light: of each bin one colour; chosen, no source
_LEAST_PIXELS = 40  # of the model that a surface or a texture is told from at least; a quadratic one has 6 unknowns
_RIDGE = 1e-6  # of the pixels, added to the normal equations; so that too few directions can be solved too
_NOISE_PIXELS = 60_000  # noise is told from about so many; thinned for the work
_LEAST_FOR_NOISE = 50  # pixels; of fewer the least noise is taken; chosen, no source


@dataclass(frozen=True, slots=True, eq=False)
class Fitted:
    """What the picture would show without the items, as it was fitted: a hundredth as large as that."""

    surface: Float32Array  # (h, w, C) linear light at the size it was fitted at
    size: tuple[int, int]  # w, h of the picture
    noise: Float32Array  # (C,), standard deviation about it at the picture's size
    typical: Float32Array  # (C,), its median colour

    @property
    def light(self) -> Float32Array:
        """(h, w, C) linear light, made anew each time: four times as large as the codes, not to be held for long."""
        return _enlarged(self.surface, self.size)


@dataclass(frozen=True, eq=False)
class Background:
    """What the picture would show without the items, and how much it varies by itself; its light is made once asked."""

    fitted: Fitted

    @cached_property
    def light(self) -> Float32Array:
        """(h, w, C), linear light; held as long as this is."""
        return self.fitted.light

    @property
    def noise(self) -> Float32Array:
        """(C,), standard deviation about it at this size."""
        return self.fitted.noise


def estimate_background(light: Light, known: BoolArray, *, seed: tuple[float, ...] | str | None = None) -> Fitted:
    """Fit a smooth surface to the commonest colour near the picture's edge, then follow it locally.

    Parameters
    ----------
    light
        (h, w, C) linear light.
    known
        (h, w) where background may be looked for (False on the reference and outside the paper).
    seed
        "light" or "dark" to prefer the lighter or darker colour, a linear-light colour of C values to
        start from, or None for the commonest colour along the edge of the known part.
    """
    small, where = _for_model(light, known)
    start = _seed_colour(small, where, seed)
    surface, chosen = _fit_surface(small, where, start)
    grown = grown_lid(small, where, chosen, start)
    if grown is chosen:
        surface = _follow_locally(small, surface, chosen)
    else:
        surface, chosen = followed(small, _least_squares(small, grown, 2), grown), grown
    return _at_full_size(light, known, surface, chosen)


def background_apart(light: Light, known: BoolArray) -> Fitted | None:
    """Follow all that lies on the border's side of one level, however far it falls off; None where little does.

    Things much darker or lighter than every part of their lid are told from it by N. Otsu's level (1979, from
    memory); what is on the lid's side, with room around the things, is lid. What a lid's light does on its way from one
    side to the other is then of no concern.

    Parameters
    ----------
    light
        (h, w, C) linear light.
    known
        (h, w) where background may be looked for.
    """
    small, where = _for_model(light, known)
    frame = where & _frame(where)
    if not frame.any():
        return None
    codes = np.rint(255 * np.sqrt(np.clip(small.mean(axis=2), 0, 1))).astype(np.uint8)
    level, _ = cv().threshold(codes[where], 0, 255, cv().THRESH_BINARY + cv().THRESH_OTSU)
    upper = codes > level
    lid = upper if np.median(codes[frame]) > level else ~upper
    things = cv().dilate((where & ~lid).astype(np.uint8), np.ones((_ROOM_PX, _ROOM_PX), np.uint8)) > 0
    lid = where & ~things
    if np.count_nonzero(lid) < _LEAST_LID * np.count_nonzero(where):
        return None
    return _at_full_size(light, known, followed(small, _least_squares(small, lid, 2), lid), lid)


def _for_model(light: Light, known: BoolArray) -> tuple[Float32Array, BoolArray]:
    """The light, and where background may be, at the size that surfaces are fitted at."""
    h, w = light.shape[:2]
    ratio = min(1.0, _MODEL_PX / max(h, w))
    size = (max(8, round(w * ratio)), max(8, round(h * ratio)))
    small = _planes(cv().resize(light[:], size, interpolation=cv().INTER_AREA), light.shape[2])
    return small, cv().resize(known.astype(np.uint8), size, interpolation=cv().INTER_NEAREST) > 0


def _at_full_size(light: Light, known: BoolArray, surface: Float32Array, lid: BoolArray) -> Fitted:
    """The background whose light was fitted to the lid at the model's size."""
    h, w = light.shape[:2]
    full = _enlarged(surface, (w, h))
    close = cv().resize(lid.astype(np.uint8), (w, h), interpolation=cv().INTER_NEAREST) > 0
    typical = np.asarray(np.median(full[::8, ::8], axis=(0, 1)), dtype=np.float32)
    return Fitted(surface, (w, h), _noise(light, full, close & known), typical)


def _enlarged(surface: Float32Array, size: tuple[int, int]) -> Float32Array:
    return _planes(cv().resize(surface, size, interpolation=cv().INTER_LINEAR), surface.shape[2])


def _planes(image: Float32Array, channels: int) -> Float32Array:
    """Give back the channel axis that OpenCV drops from one-channel pictures."""
    return np.ascontiguousarray(image.reshape(*image.shape[:2], channels), dtype=np.float32)


def _seed_colour(small: Float32Array, where: BoolArray, seed: tuple[float, ...] | str | None) -> Float32Array:
    """Colour to start from, linear light (C,)."""
    if isinstance(seed, tuple):
        return np.asarray(seed, dtype=np.float32)
    pool = small[where & _frame(where)] if seed is None else small[where]
    if len(pool) < 16:
        pool = small[where] if where.any() else small.reshape(-1, small.shape[2])
    brightness = pool.mean(axis=1)
    if seed in ("light", "dark"):
        middle = 0.5 * (np.percentile(brightness, _TAILS[0]) + np.percentile(brightness, _TAILS[1]))
        part = pool[brightness >= middle] if seed == "light" else pool[brightness <= middle]
        pool = part if len(part) else pool
    return _common_colours(pool)[0]


def _common_colours(pool: Float32Array) -> list[Float32Array]:
    """Colours that many of the (N, C) pixels have, the commonest first, told apart from one another."""
    coded = np.sqrt(np.clip(pool, 0, 1))  # roughly even steps to the eye, so that bins are comparable
    bins = np.minimum((coded * _COLOUR_STEPS).astype(np.int64), _COLOUR_STEPS - 1)
    key = product(bins, _COLOUR_STEPS ** np.arange(bins.shape[1]))
    values, counts = np.unique(key, return_counts=True)
    found: list[tuple[int, Float32Array]] = []
    for value in values[np.argsort(-counts, kind="stable")][:8]:
        # a colour may straddle the border of two bins: all that lies near is counted
        near = _all_within(
            (coded - np.median(coded[key == value], axis=0))[:, None, :], np.full(coded.shape[1], ONE_COLOUR)
        )
        colour = np.asarray(np.median(pool[near[:, 0]], axis=0), dtype=np.float32)
        if all(np.abs(np.sqrt(colour) - np.sqrt(other)).max() > ONE_COLOUR for _, other in found):
            found.append((int(near.sum()), colour))
    most = sorted(found, key=lambda entry: -entry[0])
    return [most[0][1], *(colour for count, colour in most[1:] if count > _COMMON * len(pool))]


def border_colours(light: Light, known: BoolArray) -> list[tuple[float, ...]]:
    """Colours along the edge of the known part that may be the background's, the commonest first, at most three.

    Parameters
    ----------
    light
        (h, w, C) linear light.
    known
        (h, w) where background may be looked for.
    """
    step = max(1, round(max(known.shape) / _MODEL_PX))
    where = known[::step, ::step]
    pool = light[::step, ::step][where & _frame(where)]
    if len(pool) < 16:
        return []
    return [tuple(float(v) for v in colour) for colour in _common_colours(pool)[:3]]


def goes_on(background: Fitted, other: Fitted) -> bool:
    """Whether two backgrounds may be one lid, a part of which is clipped or in shade: of one hue, not far in light."""
    return alike_in_hue(background.typical, other.typical)


def unlike_rim(light: Light, known: BoolArray, background: Fitted, said: tuple[float, ...] | str) -> list[Finding]:
    """A finding when hardly any of the known part's edge has the background's colour that was said.

    Parameters
    ----------
    light
        (h, w, C) linear light.
    known
        (h, w) where background may be looked for.
    background
        What was made of what was said.
    said
        "light", "dark" or a linear-light colour.
    """
    step = max(1, round(max(known.shape) / _MODEL_PX))
    some = (slice(None, None, step), slice(None, None, step))
    rim = known[some] & _frame(known[some])
    if not rim.any():
        return []
    apart = np.sqrt(np.clip(light[some][rim], 0, 1)) - np.sqrt(np.clip(background.light[some][rim], 0, 1))
    like = float(_all_within(apart[:, None, :], np.full(apart.shape[1], 2 * ONE_COLOUR)).mean())
    if like >= _LEAST_RIM:
        return []
    rest = "lighter" if apart.mean() > 0 else "darker"
    name = f"--background {said}" if isinstance(said, str) else "The colour said with --background"
    return [finding_of("background-unlike-rim", value=1 - like, limit=1 - _LEAST_RIM, name=name, rest=rest)]


def _frame(where: BoolArray) -> BoolArray:
    """The outer rim of the known part."""
    width = max(2, round(_RIM_PART * max(where.shape)))
    kernel = np.ones((2 * width + 1, 2 * width + 1), np.uint8)
    padded = np.pad(where.astype(np.uint8), 1)
    inner = cv().erode(padded, kernel, borderType=cv().BORDER_CONSTANT, borderValue=0)[1:-1, 1:-1]
    return np.asarray(where & (inner == 0))


@lru_cache(maxsize=3)
def _monomials(shape: tuple[int, int], order: int) -> Float32Array:
    """Polynomial terms up to `order` at every pixel, coordinates in -1..1; (h, w, terms)."""
    y, x = np.meshgrid(np.linspace(-1, 1, shape[0]), np.linspace(-1, 1, shape[1]), indexing="ij")
    terms = [x**i * y**j for i in range(order + 1) for j in range(order + 1 - i)]
    found = np.stack(terms, axis=-1).astype(np.float32)
    found.setflags(write=False)
    return found


def _fit_surface(small: Float32Array, where: BoolArray, start: Float32Array) -> tuple[Float32Array, BoolArray]:
    """Quadratic surface a channel through the pixels that keep to it, grown from the start colour."""
    limit = np.maximum(_KEEPS * _texture(small, where, start), _LEAST_SD + _SD_PART * start)
    surface = np.broadcast_to(start, small.shape).astype(np.float32)
    chosen = where & _all_within(small - surface, 2.0 * limit)
    done: tuple[int, BoolArray] | None = None
    for order in (0, 1, 1, 1, 2, 2, 2, 2, 2):
        if chosen.sum() < _LEAST_PIXELS:
            break
        if done is not None and done[0] == order and np.array_equal(done[1], chosen):
            continue  # settled: the same again would come of it
        done = order, chosen
        surface = _least_squares(small, chosen, order)
        chosen = where & _all_within(small - surface, limit)
    return surface, chosen


def _least_squares(small: Float32Array, chosen: BoolArray, order: int) -> Float32Array:
    """Polynomial surface a channel through the chosen pixels; (h, w, C)."""
    terms = _monomials((small.shape[0], small.shape[1]), order)
    a = terms[chosen]
    across = a.astype(np.float64).T
    normal = product(across, across.T) + _RIDGE * len(a) * np.eye(a.shape[1])
    coefficients = solve(normal, product(across, small[chosen].astype(np.float64)))
    return np.asarray(product(terms, coefficients.astype(np.float32)), dtype=np.float32)


def _texture(small: Float32Array, where: BoolArray, start: Float32Array) -> Float32Array:
    """Standard deviation, from pixel to pixel, of what has about the start colour; (C,)."""
    near = where & _all_within(small - start, _ABOUT + _ABOUT_PART * start)
    if near.sum() < _LEAST_PIXELS:
        return np.full(small.shape[2], _USUAL_TEXTURE, np.float32)
    # the mean of its own kind only: a narrow rim of background would else take on what lies beside it
    share = cv().blur(near.astype(np.float32), (5, 5))[..., None]
    mean = _planes(cv().blur(small * near[..., None], (5, 5)), small.shape[2]) / np.maximum(share, 1e-6)
    return np.asarray(_OF_WINDOW * np.median(np.abs((small - mean)[near]), axis=0), dtype=np.float32)


def _all_within(rest: Float32Array, limit: npt.NDArray[Any]) -> BoolArray:
    """Whether every channel of (h, w, C) stays within its limit; (h, w)."""
    within = np.abs(rest[..., 0]) < limit[0]
    for channel in range(1, rest.shape[2]):
        within &= np.abs(rest[..., channel]) < limit[channel]
    return np.asarray(within)


def _follow_locally(small: Float32Array, surface: Float32Array, chosen: BoolArray) -> Float32Array:
    """Add the local mean of what the surface leaves over, where enough background is near."""
    if not chosen.any():
        return surface
    rest = (small - surface) * chosen[..., None]
    width = max(small.shape[:2]) / 16.0
    total = _planes(cv().GaussianBlur(rest, (0, 0), width), small.shape[2])
    weight = cv().GaussianBlur(chosen.astype(np.float32), (0, 0), width)
    return np.asarray(surface + total / (weight + FAINT)[..., None], dtype=np.float32)


def _noise(light: Light, surface: Float32Array, close: BoolArray) -> Float32Array:
    """Robust standard deviation a channel of the background pixels; (C,)."""
    step = max(1, int(np.sqrt(light.shape[0] * light.shape[1] / _NOISE_PIXELS)))
    some = (slice(None, None, step), slice(None, None, step))
    rest = (light[some] - surface[some])[close[some]]
    if len(rest) < _LEAST_FOR_NOISE:
        return np.full(light.shape[2], _LEAST_SD, np.float32)
    return np.asarray(np.maximum(TO_SD * np.median(np.abs(rest), axis=0), _CODES_SD), dtype=np.float32)
