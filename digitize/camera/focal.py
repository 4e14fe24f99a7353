"""What is known of the lens before the card is looked at: from a profile, from EXIF, or only what lenses are like."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from ..records import CameraTag, FloatArray
from .lens import Lens, focal_from_35mm

# Standard uncertainties (k = 1). EXIF's 35 mm equivalent is rounded to a whole mm (1.1 % of 26), one phone differs from
# another (1 %), and near by the lens moves out, by 2 % of a focal length of 5 mm at 250 mm; the rest is
# what lenses of phones are like: common practice, no source.
EXIF_FOCAL_SD_PART = 0.026
CENTRE_SD_PART = 0.003  # principal point from the picture's middle, part of the longer side: 12 px of 4032
# Radial terms, of calibrations of phones that people publish: k1 up to 0.17, k2 down to -0.7 where it bends back what
# k1 does (repository mmamustafa/computer-vision, iPhone_Calibration.m; others from memory).
K1_SD = 0.06
K2_SD = 0.2
K3_SD = 0.2  # of the same calibrations: as much as k2, to which it runs contrary
REFOCUS_SD_PART = 0.003  # a profile's focal length at another focus distance
# What is told by the focal plane's pixels is told of cameras with lenses to be changed. Their focal length is that at
# infinity, rounded to a step of the zoom; near by, a lens that moves as a whole lies farther out by its magnification
# (a tenth at 0.6 m and 70 mm), one that focuses within is shorter. Their distortion is a part of the corner's
# distance whatever the focal length: common practice of lens tests, no source.
SENSOR_FOCAL_SD_PART = 0.08
_CORNER_SD_PART = 0.01
_SAME_SHAPE = 0.01  # of the sides' ratio: another one was cut out of what the camera took
_USUAL_35MM = 27.0  # main camera of a phone
_LENSES_35MM = 5.0, 1000.0  # what cameras are built with; anything else in a file is none
_USUAL_SD = 0.35  # of the logarithm: from 14 to 55 mm within two deviations


@dataclass(frozen=True, slots=True)
class LensKnowledge:
    """A lens and how well it is known: deviations of log focal, centre x, centre y, k1, k2."""

    lens: Lens
    sd: FloatArray  # (5,)
    source: Literal["profile", "exif", "none"]
    words: str
    k3_sd: float = 0.0


def lens_from_exif(camera: CameraTag | None, width_px: int, height_px: int) -> LensKnowledge:
    """What EXIF tells of the focal length; where it tells nothing, what phones usually have, with a wide deviation."""
    long_side = max(width_px, height_px)
    centre = ((width_px - 1) / 2.0, (height_px - 1) / 2.0)
    rest = [CENTRE_SD_PART * long_side, CENTRE_SD_PART * long_side, K1_SD, K2_SD]
    if camera is not None and camera.focal_35mm is not None and _LENSES_35MM[0] <= camera.focal_35mm <= _LENSES_35MM[1]:
        lens = Lens(focal_from_35mm(camera.focal_35mm, width_px, height_px), centre)
        words = f"EXIF, {camera.focal_35mm:g} mm equivalent"
        return LensKnowledge(lens, np.array([EXIF_FOCAL_SD_PART, *rest]), "exif", words, K3_SD)
    focal_px = None if camera is None else _focal_of_sensor(camera, width_px, height_px)
    if focal_px is not None:
        corner = (0.5 * float(np.hypot(width_px, height_px)) / focal_px) ** 2
        sd = np.array([SENSOR_FOCAL_SD_PART, *rest[:2], max(K1_SD, _CORNER_SD_PART / corner), K2_SD])
        return LensKnowledge(Lens(focal_px, centre), sd, "exif", f"EXIF, {focal_px:.0f} px", K3_SD)
    lens = Lens(focal_from_35mm(_USUAL_35MM, width_px, height_px), centre)
    return LensKnowledge(lens, np.array([_USUAL_SD, *rest]), "none", "not known beforehand", K3_SD)


def _focal_of_sensor(camera: CameraTag, width_px: int, height_px: int) -> float | None:
    """The focal length in px that the focal plane's pixels give, of the picture made smaller; None if it was cut."""
    if camera.focal_px is None or camera.taken_px is None:
        return None
    (short, long), (narrow, wide) = sorted(camera.taken_px), sorted((width_px, height_px))
    if abs(short * wide / (long * narrow) - 1.0) > _SAME_SHAPE:
        return None
    focal_px = camera.focal_px * wide / long
    least, most = (focal_from_35mm(mm, width_px, height_px) for mm in _LENSES_35MM)
    return focal_px if least <= focal_px <= most else None
