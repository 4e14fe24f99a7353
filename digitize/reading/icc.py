"""Tone curves out of an ICC profile (ICC.1:2022, sections 7, 9 and 10)."""

from __future__ import annotations

import struct
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from .curve import steps

_PARAMETERS = {0: 1, 1: 3, 2: 4, 3: 5, 4: 7}  # type of a parametric curve: how many numbers it takes
_MOST_TAGS = 200  # of a profile
_LEAST_SPAN = 0.5  # of linear light between the darkest and the lightest code
_CURVE_TAGS = {"RGB": (b"rTRC", b"gTRC", b"bTRC"), "GRAY": (b"kTRC",)}

Curve = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Profile:
    """The colour space of a profile, and its tone curves if it has them (else only tables of colours)."""

    space: str  # "RGB", "GRAY", "CMYK", ...
    curves: tuple[Curve, ...]  # each (size,), codes 0..1 -> linear light


def read_profile(data: bytes, *, size: int) -> Profile:
    """Read a profile's tone curves at `size` evenly spaced codes.

    Where a profile has both curves and colour tables, the curves are taken: measuring edges needs linear
    light, not colours.

    Raises
    ------
    ValueError
        If the profile is damaged, or a curve falls, or spans less than half the range.
    """
    if len(data) < 132 or data[36:40] != b"acsp":
        raise ValueError("no profile")
    space = data[16:20].decode("latin-1").strip()
    tags = _tags(data)
    wanted = _CURVE_TAGS.get(space, ())
    if not wanted or any(tag not in tags for tag in wanted):
        return Profile(space, ())
    curves = tuple(_curve(tags[tag], steps(size)) for tag in wanted)
    if space == "GRAY" and data[20:24] == b"Lab ":
        curves = tuple(_light_of_lightness(curve) for curve in curves)
    return Profile(space, tuple(_checked(curve) for curve in curves))


def _tags(data: bytes) -> dict[bytes, bytes]:
    count = int.from_bytes(data[128:132], "big")
    if count > _MOST_TAGS or len(data) < 132 + 12 * count:
        raise ValueError("damaged list of tags")
    tags = {}
    for number in range(count):
        name, offset, length = struct.unpack_from(">4sII", data, 132 + 12 * number)
        if offset + length > len(data):
            raise ValueError(f"tag {name!r} leads outside the profile")
        tags[name] = data[offset : offset + length]
    return tags


def _curve(body: bytes, codes: Curve) -> Curve:
    if body[:4] == b"curv":
        return _sampled(body, codes)
    if body[:4] == b"para":
        return _parametric(body, codes)
    raise ValueError("unknown kind of curve")


def _sampled(body: bytes, codes: Curve) -> Curve:
    """Section 10.6: no entry is the identity, one a gamma in 1/256, more a table."""
    count = int.from_bytes(body[8:12], "big")
    if len(body) < 12 + 2 * count or len(body) < 12:
        raise ValueError("curve cut short")
    entries = np.frombuffer(body, ">u2", count, 12).astype(np.float64)
    if count == 0:
        return codes
    if count == 1:
        return np.asarray(codes ** (entries[0] / 256))
    return np.interp(codes, steps(count), entries / 65535)


def _parametric(body: bytes, codes: Curve) -> Curve:
    """Section 10.18: a power of a line above a break, a line below it."""
    kind = int.from_bytes(body[8:10], "big")
    count = _PARAMETERS.get(kind)
    if count is None or len(body) < 12 + 4 * count:
        raise ValueError("unknown or short parametric curve")
    given = [value / 65536 for value in struct.unpack_from(f">{count}i", body, 12)]
    gamma, a, b, c, d, e, f = given + [0.0] * (7 - count)
    if kind == 0:
        a = 1.0
    elif kind in (1, 2):
        if a == 0:
            raise ValueError("curve without slope")
        d, e, f, c = -b / a, c, c, 0.0
    with np.errstate(all="ignore"):
        above = np.maximum(a * codes + b, 0.0) ** gamma + e
    result: Curve = np.where(codes >= d, above, c * codes + f)
    return result


def _light_of_lightness(curve: Curve) -> Curve:
    """Return Y of L*/100 (CIE 15): a grey profile may connect through Lab."""
    cubic = (curve * 100 + 16) / 116
    return np.where(cubic > 6 / 29, cubic**3, 3 * (6 / 29) ** 2 * (cubic - 4 / 29))


def _checked(curve: Curve) -> Curve:
    if not np.isfinite(curve).all():
        raise ValueError("curve is not finite")
    curve = np.clip(curve, 0.0, 1.0)
    if curve[-1] - curve[0] < _LEAST_SPAN or np.diff(curve).min() < -1e-6:
        raise ValueError("curve falls or is flat")
    return curve
