"""What differs from the background, and what of that is only its shade."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..opencv import cv
from ..reading.reduced import Light, Reduced
from ..records import BoolArray, Float32Array
from .background import Background, Fitted
from .lid import PER_PX
from .numbered import numbered

_ROWS = 64  # rows worked at a time, so that they stay in the processor's cache
_LOOK_MM = 0.3  # spacing at which shade is looked for first
_LEAST_SAMPLES = 12  # so many such places make it worth a closer look
_SOFT_PER_MM = 0.24  # part of the background's light: what changes more slowly has no edge
_STEEP = 0.65  # of the steepest change near by: below that it is shade beside an edge, or a blurred edge's foot
_SHARP = 0.5  # change a pixel over the light lost: an edge as sharp as the picture has them exceeds that half-way up
_RIDGE = 1.45  # of the mean change within 3 px: an edge, if a faint one, also beside a steep one
_CALM_MM = 0.08  # blur against the noise of fine pixels
_NEAR_MM = 1.5  # how far from the item's edge steeper shade may lie
_GREY, _HUE = 0.06, 0.12  # spread over the channels of what is left of the lid's light: shade has less, a hue more
_DEEP_HUE = 0.5  # of the roots' mean, their spread: so a dark leaf has a hue, where shade and ink have up to 0.47
_OWN_HUE, _BROAD = 0.2, 7  # such a spread, over so many px, is no tint that an item throws on its shade
_ROUNDS = 8  # of giving back, inward from the item
_BESIDE, _SOME, _ALIKE = 31, 0.15, 0.06  # px; part of them; of the lid's light: nearer to an item it is the item
_MOST_LIGHT = 0.8  # of the lid's light: what is paler, as tape is, is told from shade by nothing
_DARKEST = 0.3  # least part of the background's light that shade leaves
_FLOOR, _FAINT_FLOOR = (0.006, 0.022), (0.004, 0.018)  # of light, and of the background's: the least that counts
_CLEAR = 6.0  # times the noise: the least that counts
_CALMER = 3.0  # times less noise: of a mean of 5 x 5 pixels, as paper's texture and compression are not white noise
_BLOCKS = 2.0  # times what a JPEG's block may be off: two may be so beside each other, to either side
LEAST_BEHIND = 0.02  # of light, that what is left of the background's is told against
_MOST_OF_PART = 0.6  # of a part may be let go: what would lose more is a soft-edged grey item
_TINT, _TINT_DEEP = 0.05, 0.1  # spread over the channels of shade, and more as it is deep
_COARSE_MM, _LEAST_BLUR_PX = 0.15, 0.7  # pixels above this are calm as they are; less blur does nothing
_SOFT_PER_PX = 0.008  # change a pixel of the background's light, below which nothing is an edge
_RIDGE_BLURS = 2.6  # either side: the window a ridge is told in
_REACHES_PX = (2, 15)  # bounds of that reach: of a coarse picture, and for the work of a fine one; chosen, no source


def above_blocks(fitted: Fitted, reduced: Reduced, *, faint: bool) -> Fitted:
    """Return a background with so much noise that what rounding leaves of a JPEG's blocks does not count.

    Most blocks of a lid are rounded to the same, and the noise that is measured tells nothing of those that are not.
    Means of 5 x 5 pixels lie within one block, so that what is `faint` has no less of it.
    """
    if reduced.blocks is None:
        return fitted
    least = _BLOCKS / _CLEAR * reduced.blocks.off_at(fitted.typical) * (_CALMER if faint else 1.0)
    return replace(fitted, noise=np.maximum(fitted.noise, least))


def departure_from(light: Light, background: Background, *, faint: bool = False) -> Float32Array:
    """How far colours lie from the background's, in units of the least that counts: its noise, or a floor; (h, w).

    With `faint` the mean of 5 x 5 pixels is looked at and a lower floor taken: that finds pale items in
    noise, but on a lid that is not clean its stains as well.
    """
    if not faint:
        return _departure(light, background.light, background.noise, _FLOOR)
    smooth = cv().blur(light[:], (5, 5)).reshape(light.shape)
    return _departure(smooth, background.light, background.noise / _CALMER, _FAINT_FLOOR)


def departure_from_shade(light: Light, background: Background, window: tuple[slice, slice]) -> Float32Array:
    """How far a window's colours lie from the background's in whatever shade, in units of `departure_from`; (h, w).

    Of a background's colour b the nearest of b times 0.3 to 1 is taken: what is grey and soft on a grey lid departs by
    nothing, what has a hue by that alone.
    """
    light, level = light[window], background.light[window]
    found = np.empty(light.shape[:2], np.float32)
    ones = np.ones((1, light.shape[2]), np.float32)
    for top in range(0, len(found), _ROWS):
        rows = slice(top, top + _ROWS)
        own, lid = light[rows], level[rows]
        along = cv().transform(own * lid, ones) / np.maximum(cv().transform(lid * lid, ones), 1e-6)
        shaded = np.clip(along, _DARKEST, 1.0).reshape(own.shape[:2])
        found[rows] = _departure(own, lid * shaded[..., None], background.noise, _FLOOR)
    return found


def _departure(light: Light, level: Float32Array, noise: Float32Array, floor: tuple[float, float]) -> Float32Array:
    """Distance of a pixel's colour from the background over the least difference that counts; (h, w)."""
    found = np.empty(light.shape[:2], np.float32)
    ones = np.ones((1, light.shape[2]), np.float32)
    # a row as one run of numbers: channel by channel the same takes four times as long
    least = np.tile(np.asarray(_CLEAR * noise, dtype=np.float32), light.shape[1])
    for top in range(0, len(found), _ROWS):
        rows = slice(top, top + _ROWS)
        limit = np.clip(level[rows], 0, 1)
        limit *= floor[1]
        limit += floor[0]
        run = limit.reshape(len(limit), -1)
        np.maximum(run, least, out=run)
        part = light[rows] - level[rows]
        part /= limit
        part *= part
        found[rows] = np.sqrt(cv().transform(part, ones).reshape(found[rows].shape))
    return found


def _mean_channel(light: Float32Array) -> Float32Array:
    """Mean over the channels; (h, w)."""
    channels = light.shape[2]
    weights = np.full((1, channels), 1.0 / channels, np.float32)
    return np.asarray(cv().transform(light, weights), dtype=np.float32).reshape(light.shape[:2])


def let_shade_go(
    light: Light,
    background: Background,
    differs: BoolArray,
    field: BoolArray,
    *,
    pixel_mm: float,
    of_photo: bool = False,
) -> BoolArray:
    """Take out shade: about the same part of the light lost in all channels, softly, from the background inward.

    Parameters
    ----------
    light
        (h, w, C) linear light.
    background
        What would be seen without the items.
    differs
        (h, w) what is item or shade.
    field
        (h, w) where items may lie.
    pixel_mm
        Size of these pixels: how soft is soft depends on it.
    of_photo
        Whether shade is as deep as photos have it, and dark things have a hue if their little light has one.
    """
    step = max(1, round(_LOOK_MM / pixel_mm))
    few = (slice(None, None, step), slice(None, None, step))
    seen = _reached(light[few], background.light[few], differs[few], field[few], step * pixel_mm, closely=False)
    fewer = (slice(None, None, 2 * step), slice(None, None, 2 * step))
    grey, hued = _hues(light[fewer], background.light[fewer], differs[fewer], of_photo=of_photo)
    if np.count_nonzero(seen) < _LEAST_SAMPLES and np.count_nonzero(grey) < _LEAST_SAMPLES // 2:
        return differs
    labels, stats = numbered(differs, 8)
    samples = np.bincount(labels[few][seen], minlength=len(stats))
    of_grey, of_hued = (np.bincount(labels[fewer][part], minlength=len(stats)) for part in (grey, hued))
    # an item of a hue is told from grey shade also where that is not softer than the item's own edge
    has_hue = (of_grey >= _LEAST_SAMPLES // 2) & (of_hued > of_grey)
    rest = differs.copy()
    for label in np.flatnonzero((samples >= _LEAST_SAMPLES) | has_hue):
        x, y, w, h = (int(v) for v in stats[label, :4])
        window = (slice(max(0, y - 4), y + h + 4), slice(max(0, x - 4), x + w + 4))
        own = labels[window] == label
        seen_there, behind = light[window], background.light[window]
        gone = own & _reached(
            seen_there,
            behind,
            differs[window],
            field[window],
            pixel_mm,
            closely=True,
            has_hue=bool(has_hue[label]),
        )
        gone &= ~_like_item(seen_there, behind, own & ~gone, gone)
        # a part that would lose most of itself is a soft-edged grey item, not shade
        if np.count_nonzero(gone) <= _MOST_OF_PART * np.count_nonzero(own):
            rest[window] &= ~gone
    return rest


def _like_item(light: Float32Array, behind: Float32Array, kept: BoolArray, gone: BoolArray) -> BoolArray:
    """What was let go and is no other than the item beside it: a pale, calm item seen through a gap in its edge."""
    part = (light / np.maximum(behind, LEAST_BEHIND)).astype(np.float32, copy=False)
    back = np.zeros_like(gone)
    for _ in range(_ROUNDS):
        more = _beside_alike(part, kept | back, gone & ~back)
        if not more.any():
            break
        back |= more
    return back


def _beside_alike(part: Float32Array, kept: BoolArray, gone: BoolArray) -> BoolArray:
    """Places of `gone` that are as light, in all channels, as what is kept beside them; (h, w)."""
    size = (_BESIDE, _BESIDE)
    share = cv().blur(kept.astype(np.float32), size)
    mean = cv().blur(np.ascontiguousarray(part * kept[..., None]), size).reshape(part.shape)
    mean /= np.maximum(share, 1e-6)[..., None]
    like = gone & (share > _SOME) & (np.abs(part - mean) < _ALIKE).all(axis=2) & (mean < _MOST_LIGHT).all(axis=2)
    # along an item's edge a row of pixels takes on its mean by chance
    like = cv().morphologyEx(like.astype(np.uint8), cv().MORPH_OPEN, np.ones((3, 3), np.uint8)) > 0
    return np.asarray(like & gone)


def with_own_hue(light: Light, background: Background, kept: BoolArray, dropped: BoolArray) -> BoolArray:
    """Give items back what was let go with their shade and has a hue as theirs: shade is grey, a pale place is not.

    Parameters
    ----------
    light
        (h, w, C) linear light.
    background
        What would be seen without the items.
    kept
        (h, w) the items.
    dropped
        (h, w) what lay in one patch with them and has no step all round.
    """
    if light.shape[2] == 1 or not (kept.any() and dropped.any()):
        return kept
    tinge = np.zeros(kept.shape, np.float32)
    tinge[dropped] = np.ptp(light[dropped] / np.maximum(background.light[dropped], LEAST_BEHIND), axis=1)
    hued = tinge > _OWN_HUE
    # an item's blurred edge and the fringes of colour along it are narrow
    hued = cv().morphologyEx(hued.astype(np.uint8), cv().MORPH_OPEN, np.ones((_BROAD, _BROAD), np.uint8)) > 0
    if not hued.any():
        return kept
    _, labels = cv().connectedComponents((kept | hued).astype(np.uint8), connectivity=4)
    own = np.bincount(labels[kept], minlength=int(labels.max()) + 1)
    more = np.bincount(labels[hued], minlength=len(own))
    whole = kept | (hued & ((own > 0) & (more < own))[labels])
    # what it encloses now is a hole where the lid is seen, be it shaded, not where there is a tinge
    _, labels = cv().connectedComponents((~whole).astype(np.uint8), connectivity=4)
    size = np.maximum(np.bincount(labels.ravel()), 1)
    within = np.bincount(labels[dropped], minlength=len(size)) == size
    tinged = np.bincount(labels.ravel(), weights=tinge.ravel()) > _HUE * size
    return np.asarray(whole | ((within & tinged)[labels] & ~whole))


def _hues(
    light: Float32Array, behind: Float32Array, differs: BoolArray, *, of_photo: bool
) -> tuple[BoolArray, BoolArray]:
    """Which of the pixels that differ are darkened alike in all channels, and which clearly not; (h, w) each."""
    grey, hued = np.zeros_like(differs), np.zeros_like(differs)
    if light.shape[2] > 1 and differs.any():
        part = light[differs] / np.maximum(behind[differs], LEAST_BEHIND)
        apart = np.ptp(part, axis=1)
        grey[differs] = (apart < _GREY) & (part.max(axis=1) < 1.0) & (part.min(axis=1) > _DARKEST)
        hued[differs] = apart > _HUE
        if of_photo:
            root = np.sqrt(np.maximum(part, 0.0))
            hued[differs] |= np.ptp(root, axis=1) > _DEEP_HUE * root.mean(axis=1)
    return grey, hued


def _reached(
    light: Float32Array,
    behind: Float32Array,
    differs: BoolArray,
    field: BoolArray,
    pixel_mm: float,
    *,
    closely: bool,
    has_hue: bool = False,
) -> BoolArray:
    """Soft shade that joins the clear background; only the slowest of it unless `closely`."""
    shade = _soft_shade(np.ascontiguousarray(light), np.ascontiguousarray(behind), differs, pixel_mm, closely, has_hue)
    if not shade.any():
        return shade
    clear = ~differs & field
    # shade is wide: there is no way through a pixel's gap in an edge
    free = cv().morphologyEx((shade | clear).astype(np.uint8), cv().MORPH_OPEN, np.ones((3, 3), np.uint8))
    count, labels = cv().connectedComponents(free, connectivity=4)
    from_outside = np.zeros(count, bool)
    from_outside[labels[clear]] = True
    from_outside[0] = False
    return np.asarray(from_outside[labels] & shade)


def _soft_shade(
    light: Float32Array, behind: Float32Array, differs: BoolArray, pixel_mm: float, closely: bool, has_hue: bool
) -> BoolArray:
    """Pixels darkened about alike in all channels, away from any edge."""
    ratio = _mean_channel(light) / np.maximum(_mean_channel(behind), np.float32(LEAST_BEHIND))
    # coarse pixels are calm, and have no edge to spare for blur
    blur = 0.0 if pixel_mm > _COARSE_MM else max(_LEAST_BLUR_PX, _CALM_MM / pixel_mm)
    smooth = cv().GaussianBlur(ratio, (0, 0), blur) if blur else ratio
    shade = (
        differs
        & (ratio < 1.0)
        & (ratio > _DARKEST)
        & _is_soft(np.asarray(smooth, dtype=np.float32), pixel_mm, blur, closely, has_hue)
    )
    if light.shape[2] > 1 and shade.any():
        part = light[shade] / np.maximum(behind[shade], LEAST_BEHIND)
        # deep shade is tinted by what throws it
        allowed = _TINT + _TINT_DEEP * (1.0 - part.mean(axis=1))
        shade[shade] = (part.max(axis=1) < 1.0) & (np.ptp(part, axis=1) < allowed)
    return np.asarray(shade)


def _is_soft(ratio: Float32Array, pixel_mm: float, blur_px: float, closely: bool, has_hue: bool) -> BoolArray:
    """Where the light changes too slowly, for its size or beside the steepest change near by, to be an edge.

    The foot of a blurred edge, too, is less steep than its middle. To take it off does no harm: where a Gaussian's
    step is below `_STEEP` of its steepest, on the outer side, it has risen by less than a fifth.
    """
    gx, gy = cv().Sobel(ratio, cv().CV_32F, 1, 0, scale=PER_PX), cv().Sobel(ratio, cv().CV_32F, 0, 1, scale=PER_PX)
    slope = cv().magnitude(gx, gy)
    slow = slope < max(_SOFT_PER_MM * pixel_mm, _SOFT_PER_PX)
    if not closely:
        return np.asarray(slow)
    reach = int(np.clip(round(_NEAR_MM / pixel_mm), *_REACHES_PX))
    steepest = cv().dilate(slope, np.ones((2 * reach + 1, 2 * reach + 1), np.uint8))
    width = 2 * round(_RIDGE_BLURS * float(np.hypot(blur_px, 1.0))) + 1
    ridge = slope > _RIDGE * cv().blur(slope, (width, width))
    below_edge = slope < _SHARP * (1.0 - ratio)
    if has_hue:
        return np.asarray(slow | below_edge)
    return np.asarray(slow | ((slope < _STEEP * steepest) & below_edge & ~ridge))
