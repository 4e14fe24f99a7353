"""What is read of a picture and seen in it: pixels, findings, scale, edges at sub-pixel places."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal, Protocol

import numpy as np
import numpy.typing as npt

from .arrays import BoolArray, FloatArray


@dataclass(frozen=True, slots=True)
class Finding:
    """Something worth saying about a result that exists all the same."""

    code: str  # stable, lower-case-with-hyphens
    message: str  # what happened, a sentence from the table in `digitize.words`; what to do stands there by the code
    value: float | None = None
    limit: float | None = None
    place_px: tuple[float, float] | None = None
    attention: bool = True  # False: a remark; True: a person should look
    detail: str = ""  # figures for experts
    of_photo: bool = False  # else of a scan: another next step may hold; a `Result` tells its findings


Why = Literal["rim", "soft", "stain", "shade", "small", "thin", "cut", "many", "pale", "crisp"]


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A patch larger than dust that differs from the background and is no part of an item or of the card."""

    box_px: tuple[int, int, int, int]  # x0, y0, x1, y1
    place_px: tuple[float, float]  # where it is widest
    area_mm2: float
    why: Why  # rim of the picture or lid; soft-edged; a stain; an item's shade; too small; too thin; cut by the border;
    # one of too many; pale beside an item's edge; as pale as shade, but with a crisp edge
    place_mm: tuple[float, float] = (0.0, 0.0)  # that place in the sheet frame, once that is known
    along_px: tuple[tuple[float, float, float, float], ...] = ()  # of a strip along the border its middle, x0, y0, x1,


@dataclass(frozen=True, slots=True)
class Density:
    """Pixel density the file claims for the upright picture."""

    x_px_per_mm: float
    y_px_per_mm: float
    source: str  # "PNG pHYs", "JFIF", "TIFF", "EXIF", "--dpi"


@dataclass(frozen=True, slots=True)
class CameraTag:
    """What EXIF says of the camera; None where it says nothing."""

    make: str | None = None
    model: str | None = None
    focal_mm: float | None = None
    focal_35mm: float | None = None
    focal_px: float | None = None  # as long in pixels of the picture as it was taken
    taken_px: tuple[float, float] | None = None  # its width and height, as the sensor lies
    orientation: int = 1  # EXIF, 1 to 8: how the sensor's pixels were turned to stand upright


@dataclass(frozen=True, slots=True)
class Picture:
    """A decoded picture, upright, with the way from its codes to linear light."""

    name: str  # file name without folder
    sha256: str  # of the file's bytes, hex
    pixels: npt.NDArray[Any]  # (H, W, C) uint8 or uint16, C = 1 (grey) or 3 (R, G, B), C-contiguous
    to_linear: npt.NDArray[np.float32]  # (256 or 65536, C): code -> linear light, 0..1
    density: Density | None = None
    camera: CameraTag | None = None
    findings: tuple[Finding, ...] = ()
    curve_stated: bool = True  # False: the file says nothing of its curve to linear light, and sRGB's was taken
    # of a JPEG: in what steps the brightness and the colour of a block are told, codes
    block_steps: tuple[float, float] = (0.0, 0.0)

    @property
    def width_px(self) -> int:
        """Width in pixels."""
        return int(self.pixels.shape[1])

    @property
    def height_px(self) -> int:
        """Height in pixels."""
        return int(self.pixels.shape[0])


class Scale(Protocol):
    """The mapping between picture and plane; `to_px` is the inverse of `to_mm`."""

    @property
    def kind(self) -> Literal["flatbed", "camera"]:
        """Which model this is."""

    def to_mm(self, points_px: FloatArray) -> FloatArray:
        """Map (N, 2) px to (N, 2) mm in the plane frame."""

    def to_px(self, points_mm: FloatArray) -> FloatArray:
        """Map (N, 2) mm in the plane frame to (N, 2) px."""


@dataclass(frozen=True, slots=True)
class Contour:
    """One closed edge of an item in the picture, at sub-pixel places."""

    points_px: FloatArray  # (N, 2), dense (about 1 px apart)
    sd_px: FloatArray  # (N,), standard deviation across the edge, random part only
    corners: tuple[int, ...]  # indices of points restored as sharp corners
    is_hole: bool
    blur_px: float  # standard deviation of the blur, pixel aperture included
    contrast: float  # linear-light difference inside to outside, median along the edge
    shade: float = 0.0  # root mean square of the light's trend just outside, parts of the contrast per px
    shade_place_px: tuple[float, float] | None = None  # where it is steepest
    halo: float = 0.0  # how much of its square is light that grows toward a darker item: sharpened, no shade
    by_hand: BoolArray | None = None  # (N,) which points a hand set; None: none
    uneven_px: float = 0.0  # standard uncertainty of its place for light that changes along it: print, grain
    light: tuple[float, float] | None = None  # inside and outside, of full light, mean of the channels; None: not told


@dataclass(frozen=True, slots=True)
class ReferenceEdge:
    """The edges the scale counts from: where they move all round, all lengths grow or shrink with them."""

    side_mm: float
    light: tuple[float, float]  # inside and outside, of full light
    blur_px: float
    sharpened: float  # how much a driver has sharpened, 0 to 1
