"""A camera's lens from several photos of the mat, by one adjustment of all of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from ..camera.profile import UPRIGHT, LensProfile
from ..errors import PictureError, ScaleError
from ..steady import product

if TYPE_CHECKING:
    from ..camera.solve import Evidence, Solution
    from ..records import Picture

LEAST_PICTURES = 3  # as `make_lens_profile` says
MOST_FOCAL_SD = 0.01  # part; pictures that tell the focal length less well make no profile
_ROUNDS = 60  # at the most, of many pictures at once; chosen, no source


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
    from ..camera.estimate import SPREAD_SD_MM
    from ..camera.focal import lens_from_exif
    from ..camera.honest import solve_honestly
    from ..camera.solve import Model, Prior
    from ..reference.scale import PRINTED_SD_PART

    _require_alike(pictures)
    first = pictures[0]
    known = lens_from_exif(first.camera, first.width_px, first.height_px)
    found = [_evidence(picture) for picture in pictures]
    lens, spread = replace(found[0][1].model.lens, k3=0.0), float(np.mean([s.model.spread_mm for _, s in found]))
    poses = tuple(s.model.poses[0] for _, s in found)
    mean = np.array([np.log(known.lens.focal_px), *known.lens.centre_px, known.lens.k1, known.lens.k2, 0.0, 0.0, 0.0])
    sd = np.array([*known.sd, PRINTED_SD_PART, SPREAD_SD_MM, 0.0])  # a profile has two radial terms
    model = Model(lens, poses, 0.0, spread)
    solution = solve_honestly(tuple(e for e, _ in found), model, Prior(mean, sd), rounds=_ROUNDS)
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
    turned = np.array(UPRIGHT[_orientation(first)])
    middle = np.array([first.width_px - 1, first.height_px - 1]) / 2
    x, y = product(turned, lens.centre_px - middle) / long_side  # a turn's inverse is its transpose
    sd_x, sd_y = np.abs(product(turned, own[1:3])) / long_side
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
    from ..reading.reduced import reduce_picture
    from ..reference.codes import find_codes
    from ..reference.locate import grey
    from ..reference.photo import camera_of_rings

    reduced = reduce_picture(picture)
    seen = find_codes(grey(reduced))
    if len(seen) < 4:
        raise ScaleError(
            f"{picture.name}: {len(seen)} rings of the mat were recognised, at least 4 are needed. Photograph the "
            "whole mat (digitize card --kind mat), flat, sharp and evenly lit."
        )
    estimate = camera_of_rings(picture, reduced, seen)
    return estimate.evidence, estimate.solution
