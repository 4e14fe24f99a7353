"""A border as its pixels have it, where no edge can be followed: what a hand begins from."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from ..measure.profiles import CLEAR_BLURS, USUAL_BLUR_PX, light_between, typical_light
from ..records import Contour, Picture, frozen_array
from ..steady import norm
from .smoothing import closed_normals, correlate_closed, resample_closed
from .trace import Traced, in_direction

_SET_PX = 1.0  # what its places may be off: they are those of whole pixels
_CLEAR_PX = 3.0  # beyond the blur, where the light of either side is taken


def raw_border(
    picture: Picture, chain: npt.NDArray[np.int64], *, is_hole: bool, blur_px: float | None = None
) -> Traced:
    """Return a chain of border pixels as a contour, none of it measured.

    Parameters
    ----------
    picture
        The picture.
    chain
        (N, 2) whole px of the item's border pixels, in order.
    is_hole
        Whether it runs round a hole.
    blur_px
        Of the picture, where it is known.
    """
    start = in_direction(chain.astype(np.float64), is_hole=is_hole)
    smooth = correlate_closed(start, np.full(3, 1.0 / 3.0)) if len(start) > 3 else start
    normals, points = -closed_normals(smooth, 4), resample_closed(smooth, 1.0)
    blur = blur_px or USUAL_BLUR_PX
    away = (CLEAR_BLURS * blur + _CLEAR_PX) * normals
    inside, outside = light_between(picture, start - away), light_between(picture, start + away)
    contour = Contour(
        points_px=frozen_array(points, columns=2),
        sd_px=frozen_array(np.full(len(points), _SET_PX)),
        corners=(),
        is_hole=is_hole,
        blur_px=blur,
        contrast=norm(np.median(inside - outside, axis=0)),
        light=(typical_light(inside), typical_light(outside)),
    )
    return Traced(contour, (), 1.0, chain_px=start, is_measured=np.zeros(len(start), bool))
