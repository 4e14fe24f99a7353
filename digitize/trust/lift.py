"""How far above the glass an item's edge lay, told by how much softer it is than the reference beside it.

A scanner sees sharply what lies on the glass. Of a point h above it a lens that takes in light up to an angle a from
straight up makes a disc of radius h tan(a), whose spread along a line is half its radius: sigma = h tan(a) / 2.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from ..records import Contour, Contribution, Finding
from ..words.say import finding_of

ALONG_SENSOR = "height along the sensor"  # name of the contribution
# Half-angles of rod lenses of contact sensors (as drawn in makers' data sheets; common practice, no source for the
# scanner at hand): those of 9 degrees are the usual ones, those of 20 the brightest. The lens of a CCD scanner takes in
# far less, and the same softness is then far more height; such a scanner is sharp for some mm.
USUAL_DEG, WIDEST_DEG = 9.0, 20.0
_LEAST_RATIO = 1.35  # of an item's blur to the reference's: less is the edge's own shape, dust, a card's soft toner
_LEAST_MM = 0.02  # of the softness that height leaves: less is no height that matters
# Of full light: as deep a shade as hides in an edge's softness, in renders of lifted things and of scans.
_HIDDEN = 0.3
# Times the reference's blur: what is softer by less shows most of its shade outside of its own blur.
_HIDES_ALL = 2.0
# Of the reference's blur: from here on it is in the budget. Of 30 items of random scans 1.1 to 1.35 times as soft as
# their reference the worst half millimetre of the edge lay off by 0.2 to 1.5 times what they were softer by, half of
# them by less than 0.4.
_SLIGHT_RATIO, _SLIGHT_OFF = 1.1, 0.25
_LOOK_MM = 0.05  # that an edge may be off: from here on a person is asked to look
# From the lens to the glass in a scanner with CCD, mm, at its shortest (common practice, no source): what lies h above
# the glass is seen smaller by h over this distance, along the sensor only. With a contact sensor it is not.
CCD_DISTANCE_MM = 350.0


def softness_mm(contours: tuple[Contour, ...], reference_px: float | None, mm_per_px: float) -> float:
    """Blur of an item's outer edge that the reference's does not have, mm (standard deviation); 0 if it is as sharp.

    Parameters
    ----------
    contours
        Of the item, exterior first.
    reference_px
        Blur of the reference's edges, px; None without a reference.
    mm_per_px
        Size of a pixel.
    """
    more = _softer_mm(contours, reference_px, mm_per_px, _LEAST_RATIO)
    return more if more >= _LEAST_MM else 0.0


def slight_softness(
    contours: tuple[Contour, ...], reference_px: float | None, mm_per_px: float
) -> tuple[Contribution, ...]:
    """What it adds to the budget that an edge is a little softer than the reference's: less than is put down to height.

    A rim narrower than the blur, a shade that hides in it, or some height: two steps at a distance d that have melted
    into one have a variance of up to d squared / 4 more than one, and the outer lies d / 2 off their middle.

    Parameters
    ----------
    contours, reference_px, mm_per_px
        As for `softness_mm`.
    """
    more = _softer_mm(contours, reference_px, mm_per_px, _SLIGHT_RATIO)
    if not more or softness_mm(contours, reference_px, mm_per_px):
        return ()
    off = _SLIGHT_OFF * more
    note = f"softer than one on the glass by {more:.3f} mm: a narrow rim, a shade, some height"
    return (Contribution("softness", off, math.sqrt(2.0) * off, note=note, acts="side by side"),)


def _softer_mm(
    contours: tuple[Contour, ...], reference_px: float | None, mm_per_px: float, least_ratio: float
) -> float:
    own = contours[0].blur_px
    if reference_px is None or own < least_ratio * reference_px:
        return 0.0
    return mm_per_px * math.sqrt(own**2 - reference_px**2)


def height_mm(softness: float, half_angle_deg: float = USUAL_DEG) -> float:
    """Height above the glass that leaves so much softness, by the model above."""
    return 2.0 * softness / math.tan(math.radians(half_angle_deg))


@dataclass(frozen=True, slots=True)
class SoftEdge:
    """How soft an edge is beside the reference's, and how much stands out from its ground there."""

    softness_mm: float  # from `softness_mm`
    contrast: float  # of the item to its ground, of full light
    reference_mm: float  # blur of the reference's edges

    def off_mm(self) -> float:
        """How far the edge may be off (k = 1): the half level of a soft edge moves with the shade that hides in it.

        The shade counts by how much of the contrast it is, all of it at the most, and by how much of it can hide.
        """
        hidden = min(1.0, self.softness_mm / max(_HIDES_ALL * self.reference_mm, 1e-9)) ** 2
        return self.softness_mm * hidden * min(1.0, _HIDDEN / max(self.contrast, 1e-6))


def lift_contributions(edge: SoftEdge) -> tuple[Contribution, ...]:
    """What it adds to the budget: the edge within its own softness, and a scale along the sensor that is not known."""
    softness, off = edge.softness_mm, edge.off_mm()
    if not softness:
        return ()
    height = height_mm(softness)
    return (
        Contribution(
            "lifted",
            profile_mm=off,
            length_mm=math.sqrt(2.0) * off,
            note=f"softer than one on the glass by {softness:.3f} mm: it lies in its own shade",
            acts="side by side",
        ),
        Contribution(
            ALONG_SENSOR,
            length_per_mm=height / CCD_DISTANCE_MM / math.sqrt(3.0),
            note="the direction across the scan; even between none (contact sensor) and all (CCD), JCGM 100, 4.3.7",
            acts="with length",
        ),
    )


def lift_finding(edge: SoftEdge, contours: tuple[Contour, ...]) -> tuple[Finding, ...]:
    """What to say of it."""
    softness = edge.softness_mm
    if not softness:
        return ()
    low, high = height_mm(softness, WIDEST_DEG), height_mm(softness)
    x, y = contours[0].points_px[0].tolist()
    off = 2.0 * edge.off_mm()
    return (
        finding_of(
            "edge-above-glass",
            value=off,
            limit=_LOOK_MM,
            place_px=(x, y),
            attention=off > _LOOK_MM,
            low=low,
            high=high,
        ),
    )
