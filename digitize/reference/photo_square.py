"""The user's plain square in a photo: what may be one, which is meant, and why none will do."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..camera.focal import LensKnowledge
from ..errors import ScaleError
from ..opencv import cv
from ..reading.reduced import Reduced
from ..records import Finding, FloatArray, Picture, eight_bit
from ..settings import Pair, Settings
from ..steady import norm, product
from .camera_findings import MOST_TILT_DEG
from .quad import Quad, side_lengths
from .refusals import middles_of, several_squares
from .scale import square_places
from .square import find_quads

LEAST_SIDE_PX = 60.0  # of a reference
_PAD = 4  # reduced px
_MOST_OF_PICTURE = 0.5  # a larger "square" is the picture itself
_SLACK, _SLACK_UNKNOWN = 0.05, 0.2  # log ratio of the sides and cosine of a square, by a lens known and by a guess
# where nothing plain is in the picture: a note with writing on it, one with a shadow along a side
_ALSO: tuple[dict[str, bool], ...] = ({}, {"written_on": True}, {"in_shade": True})
_WHOLE, _NEARLY_WHOLE = 0.9, 0.7  # part of each side that a border must back


def find_square(
    picture: Picture, reduced: Reduced, settings: Settings, size_mm: Pair, known: LensKnowledge
) -> tuple[FloatArray, tuple[Finding, ...]]:
    """Rough corners of the one square that can be meant, and what makes it doubtful."""
    from .plain_square import candidates_for, refusal_of, touched

    seen, looks = [], _looks(picture, reduced)  # squares are large as a rule
    for every in (False, True):
        for look in looks:
            quads = find_quads(look.codes, look.factor, aspect=size_mm[0] / size_mm[1], oblique=True, every=every)
            seen.append((look, quads))
            for also in _ALSO:
                found = candidates_for(picture, reduced, quads, settings, **also)
                fit = [c for c in found if _may_be(c.fit.corners_px, size_mm, known)]
                if len(fit) > 1:
                    raise ScaleError(several_squares(fit, None), squares_px=middles_of(fit))
                if fit:
                    require_size(float(side_lengths(fit[0].fit.corners_px).min()))
                    return fit[0].fit.corners_px, touched(fit[0].fit)
    look, quads = next((one for one in seen if one[1]), seen[0])
    wrong = [refusal_of(picture, reduced, quad) for quad in quads]
    raise ScaleError(_why_no_square(look, quads, wrong, size_mm, known))


@dataclass(frozen=True, slots=True)
class _Look:
    """The picture's codes, 8 bit, smaller by a whole factor."""

    codes: npt.NDArray[np.uint8]
    factor: int


def _looks(picture: Picture, reduced: Reduced) -> list[_Look]:
    """The picture as reduced, and less than half as far, for a small square."""
    codes = eight_bit(reduced.codes)
    if reduced.factor < 2:
        return [_Look(codes, reduced.factor)]
    factor = reduced.factor // 2
    h, w = picture.height_px // factor, picture.width_px // factor
    finer = picture.pixels[: h * factor, : w * factor]
    if factor > 1:
        finer = cv().resize(finer, (w, h), interpolation=cv().INTER_AREA).reshape(h, w, -1)
    return [_Look(codes, reduced.factor), _Look(np.ascontiguousarray(eight_bit(finer)), factor)]


def _may_be(corners_px: FloatArray, size_mm: Pair, known: LensKnowledge) -> bool:
    """Whether a quadrilateral can be the square under the lens that is known: its axes equal and perpendicular."""
    from ..camera.pose import plane_map

    px, mm = square_places(corners_px, size_mm)
    matrix = plane_map(known.lens.to_directions(px), mm - mm.mean(axis=0))
    a, b = matrix[:, 0], matrix[:, 1]
    ratio = float(norm(a) / norm(b))
    cosine = float(product(a, b) / (norm(a) * norm(b)))
    slack = _SLACK if known.source != "none" else _SLACK_UNKNOWN
    return abs(np.log(ratio)) < slack and abs(cosine) < slack


def require_size(side_px: float) -> None:
    """Refuse a reference that is too small in the picture.

    Raises
    ------
    ScaleError
        With the limit.
    """
    if side_px < LEAST_SIDE_PX:
        raise ScaleError(_too_small(side_px))


def _too_small(side_px: float) -> str:
    return (
        f"The reference is only {side_px:.0f} px a side in the picture (limit {LEAST_SIDE_PX:.0f}): too small to "
        "measure by. Go nearer, or use a larger square."
    )


_SQUARE_ADVICE = (
    "Lay a plain square with sharp, uncovered corners flat beside the item, whole in view, and photograph both from "
    "above."
)


def _why_no_square(look: _Look, quads: tuple[Quad, ...], wrong: list[str], size_mm: Pair, known: LensKnowledge) -> str:
    """Say what was seen instead of a square; `wrong` is what is wrong with each, empty if nothing but its shape."""
    aspect = size_mm[0] / size_mm[1]
    whole = look.codes.shape[0] * look.codes.shape[1] * look.factor**2
    likely = [(q, why) for q, why in zip(quads, wrong, strict=True) if q.side_px**2 < _MOST_OF_PICTURE * whole]
    quads = tuple(q for q, _ in likely)
    cut = _cut_square(look.codes, look.factor, aspect)
    if cut is not None and not any(min(q.support) > _WHOLE for q in quads):
        x, y = cut
        return f"The square at {x:.0f},{y:.0f} px is cut off by the picture's border. {_SQUARE_ADVICE}"
    if quads and quads[0].side_px < LEAST_SIDE_PX:
        return _too_small(quads[0].side_px)
    if quads:
        return _unfit(*likely[0], size_mm)
    long_ones = find_quads(look.codes, look.factor, aspect=2 * aspect, oblique=True)
    plain = [q for q in long_ones if not q.touches_border and min(q.support) > _NEARLY_WHOLE]
    if plain:
        return _long_one(plain[0], size_mm, known)
    return f"No reference square was found in the photo. {_SQUARE_ADVICE}"


def _unfit(quad: Quad, wrong: str, size_mm: Pair) -> str:
    """Say what is wrong with the one that comes nearest to what was said."""
    (x, y), (w, h) = quad.centre_px, side_lengths(quad.corners_px)[:2]
    what = "square" if size_mm[0] == size_mm[1] else f"{size_mm[0]:g} x {size_mm[1]:g} mm sheet"
    wrong = wrong or "is curled, or has not the sides that were said as this camera sees it"
    return (
        f"No {what} fit to measure by was found: the nearest to one, at {x:.0f},{y:.0f} px with sides of about "
        f"{w:.0f} x {h:.0f} px, {wrong}. {_SQUARE_ADVICE}"
    )


def _long_one(quad: Quad, size_mm: Pair, known: LensKnowledge) -> str:
    """Say what a quadrilateral twice as long as wide is: a square from far aside, or half of one."""
    x, y = quad.centre_px
    w, h = side_lengths(quad.corners_px)[:2]
    if known.source != "none" and _may_be(quad.corners_px, size_mm, known):
        return (
            f"The square at {x:.0f},{y:.0f} px is seen from too far aside: it looks {w:.0f} x {h:.0f} px, more than "
            f"{MOST_TILT_DEG:.0f} degrees from straight above. Hold the phone level above the card and the item."
        )
    return (
        f"No square was found; the sheet at {x:.0f},{y:.0f} px is about {w:.0f} x {h:.0f} px, half a square: it is "
        f"folded, cut in half or partly covered. Use a whole square; or, if its four corners are sharp, measure both "
        f"sides and say them, such as --square {size_mm[0] / 2:g}x{size_mm[1]:g}."
    )


def _cut_square(codes: npt.NDArray[np.uint8], factor: int, aspect: float) -> Pair | None:
    """Middle of something square that the picture's border cuts, px: seen with the border widened by light or dark."""
    h, w = codes.shape[:2]
    for level in (255, 0):
        wide = np.pad(codes, ((_PAD, _PAD), (_PAD, _PAD), (0, 0)), constant_values=level)
        for quad in find_quads(wide, factor, aspect=aspect, oblique=True):
            corners = quad.corners_px / factor - _PAD
            at_border = (corners < 4).any() or (corners > (w - 5, h - 5)).any()
            if at_border and quad.side_px**2 < _MOST_OF_PICTURE * w * h * factor**2:
                x, y = factor * corners.mean(axis=0)
                return float(x), float(y)
    return None
