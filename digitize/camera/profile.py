"""What is remembered of a camera's lens, kept as TOML; `digitize.recipe.lens` makes it from photos of the mat."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from ..errors import UsageError
from ..files import number_of, read_toml, toml_text, values_of
from ..seal import BLANK, seal
from ..steady import product

if TYPE_CHECKING:
    from ..records import FloatArray
    from .focal import LensKnowledge

Pair = tuple[int, int]

_OF_LENS = ("focal_per_width", "centre_x", "centre_y", "k1", "k2")
_OF_SD = ("focal_part", "centre_x", "centre_y", "k1", "k2")

FORMAT = "digitize-lens"
_SAME_SHAPE = 0.005  # of a picture's ratio of sides: what rounding to whole pixels may change
# EXIF orientation (CIPA DC-008, 0x0112) to where the sensor's way right and way down lead in the upright picture.
UPRIGHT: dict[int, tuple[Pair, Pair]] = {
    1: ((1, 0), (0, 1)),
    2: ((-1, 0), (0, 1)),
    3: ((-1, 0), (0, -1)),
    4: ((1, 0), (0, -1)),
    5: ((0, 1), (1, 0)),
    6: ((0, 1), (-1, 0)),
    7: ((0, -1), (-1, 0)),
    8: ((0, -1), (1, 0)),
}
_LEAST_SD = (
    0.0,
    2e-4,
    2e-4,
    5e-4,
    1e-3,
)  # log focal, centre x and y over the longer side, k1, k2: never trusted better


@dataclass(frozen=True, slots=True)
class LensProfile:
    """A lens, in parts of the picture's longer side, so that it serves the same picture at another size.

    Places are those of the sensor: of the picture before EXIF's orientation turned it upright.

    `sd` are standard uncertainties of: log focal length, centre x, centre y (both over the longer side), k1, k2.
    """

    device: str
    width_px: int
    height_px: int
    focal_per_width: float  # focal length over the longer side of the picture
    centre_x: float  # principal point from the picture's middle, over the longer side; right and down
    centre_y: float
    k1: float
    k2: float
    sd: tuple[float, float, float, float, float]
    residual_px: float
    pictures: int

    def knowledge(self, width_px: int, height_px: int, orientation: int = 1) -> LensKnowledge:
        """Return the lens for an upright picture of this size that EXIF's `orientation` turned.

        Raises
        ------
        UsageError
            If the picture has other proportions: it was cropped, or taken in another mode.
        """
        from .focal import REFOCUS_SD_PART, LensKnowledge
        from .lens import Lens

        own, long_side = max(self.width_px, self.height_px), max(width_px, height_px)
        shape = own / min(self.width_px, self.height_px)
        if abs(long_side / min(width_px, height_px) / shape - 1) > _SAME_SHAPE:
            raise UsageError(
                f"The lens profile is for pictures of {self.width_px} x {self.height_px} px, this one has {width_px} x "
                f"{height_px}: it was cropped or taken in another mode. Use the whole picture, or make a profile of it."
            )
        sd = np.maximum(self.sd, _LEAST_SD)
        lies = (width_px >= height_px) != (orientation >= 5)  # the sensor's rows, as far as EXIF tells
        if lies == (self.width_px >= self.height_px):
            dx, dy = (float(v) for v in product(self._offset, UPRIGHT[orientation]))
            sd[1:3] = np.abs(product(sd[1:3], UPRIGHT[orientation]))
        else:  # a program turned it by a quarter, to which side is not told: the offset becomes a deviation
            sd[1:3] = np.hypot(sd[1:3].max(), math.hypot(self.centre_x, self.centre_y))
            dx = dy = 0.0
        centre = ((width_px - 1) / 2 + dx * long_side, (height_px - 1) / 2 + dy * long_side)
        lens = Lens(self.focal_per_width * long_side, centre, self.k1, self.k2)
        deviations = np.array([math.hypot(sd[0], REFOCUS_SD_PART), sd[1] * long_side, sd[2] * long_side, sd[3], sd[4]])
        return LensKnowledge(lens, deviations, "profile", f"lens profile of {self.device or 'a camera'}")

    @property
    def _offset(self) -> FloatArray:
        """Principal point from the middle, (2,)."""
        return np.array([self.centre_x, self.centre_y])


def profile_lines(profile: LensProfile) -> list[str]:
    """Return lines that tell a person what was found and how sure it is (k = 2)."""
    sd, long_side = profile.sd, max(profile.width_px, profile.height_px)
    shift = 100 * math.hypot(profile.centre_x, profile.centre_y)
    return [
        f"{profile.device or 'camera'}: {profile.pictures} photos, edges fit within {profile.residual_px:.3f} px",
        f"  focal length {profile.focal_per_width * long_side:.1f} px +- {200 * sd[0]:.2f} %",
        f"  principal point {shift:.2f} % of the longer side off the middle, +- {200 * max(sd[1], sd[2]):.2f} %",
        f"  k1 {profile.k1:+.5f} +- {2 * sd[3]:.5f}, k2 {profile.k2:+.5f} +- {2 * sd[4]:.5f}",
    ]


# --- the file --------------------------------------------------------------------------------------------------


def profile_bytes(profile: LensProfile) -> bytes:
    """Return the profile as TOML; the same profile gives the same bytes."""
    lines = [
        "# A camera's lens, for --profile. Lengths are parts of the picture's longer side.",
        f"# {BLANK}",
        f'format = "{FORMAT}"',
        "version = 1",
        f"device = {toml_text(profile.device)}",
        f"width_px = {profile.width_px}",
        f"height_px = {profile.height_px}",
        f"pictures = {profile.pictures}",
        f"residual_px = {profile.residual_px:.4f}",
        "",
        "[lens]",
        f"focal_per_width = {profile.focal_per_width:.8f}",
        f"centre_x = {profile.centre_x:.8f}",
        f"centre_y = {profile.centre_y:.8f}",
        f"k1 = {profile.k1:.8f}",
        f"k2 = {profile.k2:.8f}",
        "",
        "[standard_uncertainty]",
        *(f"{name} = {value:.8f}" for name, value in zip(_OF_SD, profile.sd, strict=True)),
        "",
    ]
    return seal("\n".join(lines).encode())


def read_lens_profile(path: Path) -> LensProfile:
    """Read a profile written by `profile_bytes`.

    Raises
    ------
    UsageError
        If the file cannot be read or is no lens profile; the message says what is wrong.
    """
    expected = f"expected a lens profile (format {FORMAT}, version 1). Make one: digitize profile lens."
    return profile_from(read_toml(path, option="--profile", form=FORMAT, expected=expected), f"--profile {path}")


def profile_from(data: Mapping[str, Any], where: str) -> LensProfile:
    """Return the profile that a file's tables hold; `where` they were found stands in front of what is refused.

    Raises
    ------
    UsageError
        If a value is missing or cannot be meant.
    """
    with values_of(where):
        found = _profile_from(data)
    return found


def profile_tables(profile: LensProfile) -> dict[str, Any]:
    """Return a profile as its file's tables hold it, with all digits; the inverse of `profile_from`."""
    return {
        "device": profile.device,
        "width_px": profile.width_px,
        "height_px": profile.height_px,
        "pictures": profile.pictures,
        "residual_px": profile.residual_px,
        "lens": {name: getattr(profile, name) for name in _OF_LENS},
        "standard_uncertainty": dict(zip(_OF_SD, profile.sd, strict=True)),
    }


def _profile_from(data: Mapping[str, Any]) -> LensProfile:
    lens, sd = data["lens"], data["standard_uncertainty"]

    def number(table: Mapping[str, Any], name: str, low: float, high: float) -> float:
        return number_of(table[name], name, low, high)

    return LensProfile(
        device=str(data["device"]),
        width_px=int(number(data, "width_px", 16, 1e6)),
        height_px=int(number(data, "height_px", 16, 1e6)),
        focal_per_width=number(lens, "focal_per_width", 0.1, 50.0),
        centre_x=number(lens, "centre_x", -0.5, 0.5),
        centre_y=number(lens, "centre_y", -0.5, 0.5),
        k1=number(lens, "k1", -1.0, 1.0),
        k2=number(lens, "k2", -1.0, 1.0),
        sd=(
            number(sd, "focal_part", 0.0, 1.0),
            number(sd, "centre_x", 0.0, 1.0),
            number(sd, "centre_y", 0.0, 1.0),
            number(sd, "k1", 0.0, 1.0),
            number(sd, "k2", 0.0, 1.0),
        ),
        residual_px=number(data, "residual_px", 0.0, 100.0),
        pictures=int(number(data, "pictures", 1, 1e6)),
    )
