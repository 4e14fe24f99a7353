"""What is remembered of a camera's lens: made from several photos of the mat, kept as TOML."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from .errors import PictureError, ScaleError, UsageError
from .seal import BLANK, seal
from .toml_file import read_toml

if TYPE_CHECKING:
    from .camera.focal import LensKnowledge
    from .camera.solve import Evidence, Solution
    from .records import FloatArray, Picture

Pair = tuple[int, int]

FORMAT = "digitize-lens"
LEAST_PICTURES = 3
MOST_FOCAL_SD = 0.01  # part; pictures that tell the focal length less well make no profile
_SAME_SHAPE = 0.005
# EXIF orientation (CIPA DC-008, 0x0112) to where the sensor's way right and way down lead in the upright picture.
_UPRIGHT: dict[int, tuple[Pair, Pair]] = {
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
        from .camera.focal import REFOCUS_SD_PART, LensKnowledge
        from .camera.lens import Lens

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
            dx, dy = (float(v) for v in self._offset @ _UPRIGHT[orientation])
            sd[1:3] = np.abs(sd[1:3] @ _UPRIGHT[orientation])
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


def make_lens_profile(pictures: Sequence[Picture]) -> LensProfile:
    """Lens of a camera from several photos of the mat, by one adjustment of all of them.

    Parameters
    ----------
    pictures
        At least three, of one size, the mat in each, tilted to different sides by 10 to 30 degrees.

    Raises
    ------
    PictureError
        If the pictures are too few, or of different sizes or cameras.
    ScaleError
        If the mat is not found in one of them, or if they do not tell the focal length.
    """
    from .camera.focal import lens_from_exif
    from .camera.solve import Model, Prior, solve_honestly
    from .scale import PRINTED_SD_PART

    _require_alike(pictures)
    first = pictures[0]
    known = lens_from_exif(first.camera, first.width_px, first.height_px)
    found = [_evidence(picture) for picture in pictures]
    lens, spread = found[0][1].model.lens, float(np.mean([s.model.spread_mm for _, s in found]))
    poses = tuple(s.model.poses[0] for _, s in found)
    mean = np.array([np.log(known.lens.focal_px), *known.lens.centre_px, known.lens.k1, known.lens.k2, 0.0, 0.0])
    sd = np.array([*known.sd, PRINTED_SD_PART, 0.15])
    model = Model(lens, poses, 0.0, spread)
    solution = solve_honestly(tuple(e for e, _ in found), model, Prior(mean, sd), rounds=60)
    return _profile_of(first, solution, len(pictures))


def _profile_of(first: Picture, solution: Solution, count: int) -> LensProfile:
    own = np.sqrt(np.diag(solution.covariance))[:5]
    if own[0] > MOST_FOCAL_SD:
        raise ScaleError(
            f"The pictures tell the focal length to {200 * own[0]:.1f} % only (limit {200 * MOST_FOCAL_SD:.0f} %): the "
            "mat is seen too straight in all of them. Take some more tilted by 20 to 30 degrees, to different sides."
        )
    lens = solution.model.lens
    long_side = max(first.width_px, first.height_px)
    camera = first.camera
    turned = np.array(_UPRIGHT[_orientation(first)])
    middle = np.array([first.width_px - 1, first.height_px - 1]) / 2
    x, y = turned @ (lens.centre_px - middle) / long_side  # a turn's inverse is its transpose
    sd_x, sd_y = np.abs(turned @ own[1:3]) / long_side
    wide, high = (first.width_px, first.height_px)[:: -1 if _orientation(first) >= 5 else 1]
    device = " ".join(part for part in ((camera.make, camera.model) if camera else ()) if part)
    return LensProfile(
        device=device,
        width_px=wide,
        height_px=high,
        focal_per_width=lens.focal_px / long_side,
        centre_x=float(x),
        centre_y=float(y),
        k1=lens.k1,
        k2=lens.k2,
        sd=(float(own[0]), float(sd_x), float(sd_y), float(own[3]), float(own[4])),
        residual_px=solution.rms_px,
        pictures=count,
    )


def _orientation(picture: Picture) -> int:
    return 1 if picture.camera is None else picture.camera.orientation


def _require_alike(pictures: Sequence[Picture]) -> None:
    if len(pictures) < LEAST_PICTURES:
        raise PictureError(
            f"A lens profile needs at least {LEAST_PICTURES} photos of the mat, better 8; given: {len(pictures)}. Take "
            "them from different sides, tilted by 10 to 30 degrees."
        )
    sizes = {(p.width_px, p.height_px) for p in pictures}
    if len(sizes) > 1:
        names = ", ".join(f"{w} x {h}" for w, h in sorted(sizes))
        raise PictureError(f"The photos have different sizes ({names}): take all in one mode, held the same way up.")
    if len({_orientation(p) for p in pictures}) > 1:
        raise PictureError("The photos were taken with the phone turned differently: hold it the same way up in all.")
    cameras = {(p.camera.make, p.camera.model) for p in pictures if p.camera is not None}
    if len(cameras) > 1:
        raise PictureError("The photos are from different cameras: make one profile for each.")


def _evidence(picture: Picture) -> tuple[Evidence, Solution]:
    """Measured sides of one picture and its own solution to start from."""
    from .reduced import reduce_picture
    from .reference import grey
    from .reference_camera import camera_of_rings
    from .ring import find_codes

    reduced = reduce_picture(picture)
    seen = find_codes(grey(reduced))
    if len(seen) < 4:
        raise ScaleError(
            f"{picture.name}: {len(seen)} rings of the mat were recognised, at least 4 are needed. Photograph the "
            "whole mat (digitize card --kind mat), flat, sharp and evenly lit."
        )
    estimate = camera_of_rings(picture, reduced, seen)
    return estimate.evidence, estimate.solution


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
    names = ("focal_part", "centre_x", "centre_y", "k1", "k2")
    lines = [
        "# A camera's lens, for --profile. Lengths are parts of the picture's longer side.",
        f"# {BLANK}",
        f'format = "{FORMAT}"',
        "version = 1",
        f"device = {_quoted(profile.device)}",
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
        *(f"{name} = {value:.8f}" for name, value in zip(names, profile.sd, strict=True)),
        "",
    ]
    return seal("\n".join(lines).encode())


def _quoted(text: str) -> str:
    """A TOML basic string."""
    safe = "".join(c if c.isprintable() else " " for c in text)
    return '"' + safe.replace("\\", "\\\\").replace('"', '\\"') + '"'


def read_lens_profile(path: Path) -> LensProfile:
    """Read a profile written by `profile_bytes`.

    Raises
    ------
    UsageError
        If the file cannot be read or is no lens profile; the message says what is wrong.
    """
    expected = f"expected a lens profile (format {FORMAT}, version 1). Make one: digitize profile lens."
    data = read_toml(path, option="--profile", form=FORMAT, expected=expected)
    try:
        return _profile_from(data)
    except (KeyError, TypeError, ValueError) as error:
        raise UsageError(f"--profile {path}: a value is missing or cannot be meant: {error}.") from error


def _profile_from(data: dict[str, Any]) -> LensProfile:
    lens, sd = data["lens"], data["standard_uncertainty"]

    def number(table: dict[str, Any], name: str, low: float, high: float) -> float:
        value = table[name]
        if isinstance(value, bool) or not isinstance(value, (int, float)) or not low <= value <= high:
            raise ValueError(f"{name} = {value!r}, expected {low:g} to {high:g}")
        return float(value)

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
