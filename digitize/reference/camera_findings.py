"""What is said of a photo's scale, and what is refused."""

from __future__ import annotations

import numpy as np

from ..camera.estimate import TO_EDGE_WIDTH, CameraEstimate, blurred_words, free_aspect
from ..camera.scale import CameraScale
from ..camera.sides import AT_LIMIT
from ..errors import ScaleError
from ..records import Finding
from ..settings import Settings
from ..words.say import SURE_MM, finding_of

MOST_TILT_DEG = 45.0  # of the camera
MOST_BLUR_PX = 4.0  # standard deviation; beyond it the edge is 10 px wide from 10 to 90 %
SOFT_BLUR_PX = 2.2  # standard deviation
NOT_FLAT_PX = 0.15  # residuals of a flat card under a radial lens are a hundredth of a pixel in renders
BENT_PX = 0.12  # of a quarter of a side; a 50 mm square that curls up by 0.5 mm at its rims, seen from 300 mm
SEEN_PX = 0.05  # of either: five times what flat references leave
# An outline's error over what the reference's edges are off, in renders of a 50 mm square curled up by 0.5 to 4 mm.
OUTLINE_TIMES = 3.0
NO_CARD_PX = 1.5
WHOLE_SIDE = 0.9  # part of a side that shows an edge
SURE_ASPECT = 0.006  # log ratio: a square's sides that differ by more from what was said are no caliper's error
MOST_ASPECT = 0.03  # and those that differ by more than this are no such square
MOST_FOCAL_SD = 0.05  # an item of some height is not corrected with a focal length known less well
_SURELY = 5.0  # standard deviations of a square's ratio, from which it is another than was said
_DISAGREES = 2.5  # standard deviations: a focal length farther from what the file says is spoken of


def require_usable(camera: CameraEstimate, settings: Settings, residual_mm: float) -> None:
    """Refuse what no honest scale follows from.

    Raises
    ------
    ScaleError
        One sentence a cause, with what to do.
    """
    solution = camera.solution
    tilt = solution.model.poses[0].tilt_deg
    most_blur = min(MOST_BLUR_PX, AT_LIMIT * camera.most_blur_px)
    if camera.blur_px > most_blur:
        raise ScaleError(blurred_words(most_blur))
    if tilt > MOST_TILT_DEG:
        raise ScaleError(
            f"The card is seen {tilt:.0f} degrees from straight above (limit {MOST_TILT_DEG:.0f}). Hold the phone "
            "level above the card and the item."
        )
    worst_px = max(solution.rms_px, camera.bend_px)
    if worst_px > NO_CARD_PX or (not solution.converged and solution.rms_px > NOT_FLAT_PX):
        worst_mm = residual_mm / solution.rms_px * worst_px
        raise ScaleError(
            f"The reference's sides miss their places by {worst_px:.1f} px ({worst_mm:.2f} mm; limit {NO_CARD_PX:g} "
            "px): it is partly covered, curled, folded, or not the square it was said to be. Uncover it, press it flat "
            "(tape, glass) and check its sides."
        )
    height = settings.item_height_mm or settings.edge_height_mm or 0.0
    if height > 0 and solution.focal_sd_part > MOST_FOCAL_SD:
        raise ScaleError(
            "The picture does not say how far away the camera was: no focal length in EXIF, and the square's "
            f"perspective leaves {100 * solution.focal_sd_part:.0f} % (limit {100 * MOST_FOCAL_SD:.0f} %). For an item "
            "with height use the phone's original file (not one sent by a messenger), the mat, or a lens profile "
            "(digitize profile lens)."
        )


def true_sides(camera: CameraEstimate, size_mm: tuple[float, float]) -> tuple[float, tuple[Finding, ...]]:
    """Tell whether a plain square's sides are in the ratio that was said, as far as perspective tells it.

    Returns
    -------
    part, findings
        Standard uncertainty that a ratio somewhat off leaves in lengths (0 where it is as said), and what is to say.

    Raises
    ------
    ScaleError
        Where the ratio is so far off that the sides cannot be meant.
    """
    aspect, sd = free_aspect(camera)
    if abs(aspect) <= max(_SURELY * sd, SURE_ASPECT):
        return 0.0, ()
    w, h = size_mm
    seen = f"was said to be {w:g} x {h:g} mm, but as this camera sees it it is about {w:g} x {h * np.exp(-aspect):.1f}"
    if abs(aspect) > MOST_ASPECT:
        raise ScaleError(
            f"The reference {seen}: it is partly covered or folded, curled, or not the square it was said to be. "
            "Measure both its sides and say --square 49.8x48.9, and press it flat."
        )
    return abs(aspect) / 2.0, (
        finding_of(
            "square-not-as-said",
            value=aspect,
            limit=SURE_ASPECT,
            said=f"{w:g} x {h:g}",
            seen=f"{w:g} x {h * np.exp(-aspect):.1f}",
        ),
    )


def camera_findings(
    camera: CameraEstimate,
    scale: CameraScale,
    settings: Settings,
    residual_mm: float,
    places: dict[int, tuple[float, float]],
    why: str,
) -> tuple[Finding, ...]:
    """Everything worth saying about the scale of a photo."""
    found = [_taken_as_photo(camera, scale, why)]
    found += _left_out(camera, places)
    found += _half_covered(camera, places)
    found += _not_flat(camera, residual_mm)
    found += _soft(camera)
    found += _focal(camera)
    found += _height_missing(scale, settings)
    return tuple(found)


def _taken_as_photo(camera: CameraEstimate, scale: CameraScale, why: str) -> Finding:
    solution = camera.solution
    lens = {"profile": "lens profile", "exif": "lens fitted", "none": "lens fitted"}[camera.start_lens.source]
    used = [r for r in camera.rings if r.used]
    rings = f"{len(used)} rings within {min(r.rms_px for r in used):.3f} to {max(r.rms_px for r in used):.3f} px"
    detail = (
        f"tilted {solution.model.poses[0].tilt_deg:.1f} degrees; focal length {solution.model.lens.focal_px:.0f} px +- "
        f"{200 * solution.focal_sd_part:.1f} % ({camera.start_lens.words}), {lens}, "
        f"{rings if len(camera.rings) > 1 else f'sides within {solution.rms_px:.3f} px'}"
    )
    return finding_of(
        "taken-as-photo",
        value=solution.rms_px,
        attention=False,
        detail=detail,
        why=why,
        distance_mm=scale.distance_mm,
        tilt_deg=solution.model.poses[0].tilt_deg,
    )


def _left_out(camera: CameraEstimate, places: dict[int, tuple[float, float]]) -> list[Finding]:
    found = []
    for ring in camera.rings:
        if ring.used:
            continue
        x, y = places[ring.ring]
        found.append(
            finding_of(
                "ring-left-out",
                value=None if np.isnan(ring.rms_px) else ring.rms_px,
                place_px=(x, y),
                attention=not np.isnan(ring.rms_px),
                case=_CASES.get(ring.reason, "other"),
                x=x,
                y=y,
                why=ring.reason,
            )
        )
    return found


def _half_covered(camera: CameraEstimate, places: dict[int, tuple[float, float]]) -> list[Finding]:
    """A lone reference of which a part of a side is not seen; of many rings it does not matter."""
    if len(camera.rings) > 1 or camera.rings[0].support >= WHOLE_SIDE:
        return []
    x, y = places[camera.rings[0].ring]
    return [finding_of("reference-covered", value=camera.rings[0].support, limit=WHOLE_SIDE, place_px=(x, y), x=x, y=y)]


_CASES = {"covered or cut off": None, "does not fit the others": "bent"}


def _not_flat(camera: CameraEstimate, residual_mm: float) -> list[Finding]:
    """A reference whose edges miss their places: a person looks where that may move an outline by some mm."""
    rms, bend = camera.solution.rms_px, camera.bend_px
    if rms <= SEEN_PX and bend <= SEEN_PX:
        return []
    bent = bend / BENT_PX > rms / NOT_FLAT_PX
    off_mm = residual_mm / rms * bend if bent else residual_mm
    possible_mm = OUTLINE_TIMES * off_mm
    look = possible_mm > SURE_MM
    if not look and rms <= NOT_FLAT_PX and bend <= BENT_PX:
        return []
    return [
        finding_of(
            "card-not-flat",
            value=possible_mm,
            limit=SURE_MM,
            case="bent" if bent else None,
            attention=look,
            detail=f"{bend if bent else rms:.2f} px off (limit {BENT_PX if bent else NOT_FLAT_PX:g} px)",
            off_mm=off_mm,
        )
    ]


def _soft(camera: CameraEstimate) -> list[Finding]:
    if camera.blur_px <= SOFT_BLUR_PX:
        return []
    width = TO_EDGE_WIDTH * camera.blur_px
    return [finding_of("picture-soft", value=width, limit=TO_EDGE_WIDTH * SOFT_BLUR_PX)]


def _focal(camera: CameraEstimate) -> list[Finding]:
    """EXIF or profile against what the card's perspective says."""
    known, solution = camera.start_lens, camera.solution
    if known.source == "none":
        sd = solution.focal_sd_part
        return [finding_of("focal-unknown", value=2 * sd, attention=sd > MOST_FOCAL_SD)]
    off = float(np.log(solution.model.lens.focal_px / known.lens.focal_px))
    limit = _DISAGREES * float(known.sd[0])
    if abs(off) <= limit:
        return []
    return [finding_of("focal-disagrees", value=off, limit=limit, source=known.source)]


def _height_missing(scale: CameraScale, settings: Settings) -> list[Finding]:
    """The size of the error that a forgotten height may cause."""
    if settings.item_height_mm is not None or settings.edge_height_mm is not None:
        return []
    per_mm = 100.0 / scale.distance_mm
    return [finding_of("item-height-missing", value=per_mm)]
