"""What is remembered of a flatbed, kept as TOML under a name; `digitize.recipe.scanner` makes it from scans."""

from __future__ import annotations

import datetime
import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from ..errors import UsageError
from ..files import number_of, read_toml, toml_text, values_of
from ..kept import all_kept, path_of
from ..records import Picture
from ..seal import BLANK, seal
from .glass import TERMS, Glass

FORMAT, ROOM = "digitize-scanner", "scanners"
OLD_DAYS = 365  # belts, rails and lamps wear slowly; common practice, no source
_SAME_DENSITY = 0.002  # part: drivers round densities
_CURVE_PLACES = 16  # of a curve from codes to light that are compared, besides its ends
_CURVE_NEAR = 0.002  # of full light


@dataclass(frozen=True, slots=True)
class ScannerProfile:
    """A flatbed's map and tone; all deviations are standard uncertainties."""

    name: str
    on: datetime.date
    device: str  # make and model, as far as the files tell
    dpi: tuple[float, float] | None  # that the files claim
    curve: tuple[float, ...]  # light at `_CURVE_PLACES` + 1 codes as the files state it, with which `tone` goes
    tone: float  # light = stated light to this power
    tone_sd: float
    glass: Glass
    measured: bool  # whether the card was, so that sizes hold
    size_sd_part: float
    axes_sd_part: float
    bend_sd_mm: float
    rest_mm: float
    covered_px: tuple[float, float, float, float]
    scans: int

    def seen(self, picture: Picture) -> Picture:
        """Return a scan of this scanner with its codes' light as the scanner has it.

        Raises
        ------
        UsageError
            If the picture is another scanner's, or was scanned or saved otherwise: the sentence says in what.
        """
        other = self._difference(picture)
        if other:
            raise UsageError(
                f"--scanner {self.name}: {other}. Scan the whole glass as its profile was made (no crop, the same dpi "
                "and colours), or make a profile of this way of scanning: digitize profile scanner."
            )
        return replace(picture, to_linear=np.power(picture.to_linear, np.float32(self.tone)), curve_stated=True)

    def _difference(self, picture: Picture) -> str:
        """In what a picture does not fit, in words; empty if in nothing."""
        size, own = (picture.width_px, picture.height_px), (self.glass.width_px, self.glass.height_px)
        dpi, device = density_of(picture), device_of(picture)
        if device and self.device and device != self.device:
            return f"the profile is of a {self.device}, this picture of a {device}"
        if dpi and self.dpi and any(abs(a / b - 1) > _SAME_DENSITY for a, b in zip(dpi, self.dpi, strict=True)):
            return f"the profile is for {self.dpi[0]:g} dpi, this picture has {dpi[0]:g}"
        if size != own:
            return f"the profile is for {own[0]} x {own[1]} px, this picture has {size[0]} x {size[1]}"
        if max(abs(a - b) for a, b in zip(curve_of(picture), self.curve, strict=True)) > _CURVE_NEAR:
            return "this picture was saved with another colour profile than the profile's scans"
        return ""

    def lines(self, today: datetime.date) -> list[str]:
        """Return the lines that say what it is, and that it is old where it is."""
        days, (x, y) = (today - self.on).days, self.glass.mm_per_px
        lines = [
            f"scanner {self.name}: {self.scans} scans on {self.on.isoformat()}, {25.4 / x:.2f} x {25.4 / y:.2f} dpi, "
            f"map +- {2000 * self.bend_sd_mm:.0f} um"
        ]
        if days > OLD_DAYS:
            lines.append(
                f"  LOOK  That is {days} days ago, and scanners wear. Make it anew: profile scanner {self.name}."
            )
        return lines


def details(profile: ScannerProfile) -> list[str]:
    """Return lines that tell a person what was found and how sure it is (k = 2)."""
    glass = profile.glass
    bend = np.abs(glass.bend(_grid(profile))).max()
    sizes = f"+- {200 * profile.size_sd_part:.3f} %" if profile.measured else "by the card's print alone, +- 0.6 %"
    return [
        f"  sizes {sizes}; one axis against the other +- {200 * profile.axes_sd_part:.3f} %",
        f"  axes {math.degrees(math.atan(glass.skew)):+.3f} degrees out of square",
        f"  bent by up to {bend:.3f} mm where the card lay, +- {2 * profile.bend_sd_mm:.3f} mm",
        f"  light is what the codes say to the power of {profile.tone:.3f} +- {2 * profile.tone_sd:.3f}",
    ]


def _grid(profile: ScannerProfile) -> Any:
    left, top, right, bottom = profile.covered_px
    x, y = np.meshgrid(np.linspace(left, right, 21), np.linspace(top, bottom, 21))
    return np.column_stack([x.ravel(), y.ravel()])


def device_of(picture: Picture) -> str:
    """Return make and model as far as the file tells."""
    tag = picture.camera
    return " ".join(part for part in ((tag.make, tag.model) if tag else ()) if part)


def density_of(picture: Picture) -> tuple[float, float] | None:
    """Return the dots an inch that the file claims."""
    claim = picture.density
    return None if claim is None else (25.4 * claim.x_px_per_mm, 25.4 * claim.y_px_per_mm)


def curve_of(picture: Picture) -> tuple[float, ...]:
    """Return the light of some codes as the file states it, mean over the channels."""
    at = np.linspace(0, len(picture.to_linear) - 1, _CURVE_PLACES + 1).round().astype(int)
    return tuple(round(float(value), 5) for value in picture.to_linear[at].mean(axis=1))


# --- the file --------------------------------------------------------------------------------------------------


def scanner_tables(profile: ScannerProfile) -> dict[str, Any]:
    """Return a profile as its file's tables hold it; the inverse of `scanner_from`."""
    glass = profile.glass
    return {
        "name": profile.name,
        "on": profile.on.isoformat(),
        "device": profile.device,
        "scans": profile.scans,
        "measured": profile.measured,
        **({} if profile.dpi is None else {"dpi": list(profile.dpi)}),
        "size_px": [glass.width_px, glass.height_px],
        "covered_px": list(profile.covered_px),
        "mm_per_px": list(glass.mm_per_px),
        "skew": glass.skew,
        "bend_x_mm": [x for x, _ in glass.bend_mm],
        "bend_y_mm": [y for _, y in glass.bend_mm],
        "curve": list(profile.curve),
        "tone": profile.tone,
        "rest_mm": profile.rest_mm,
        "tone_sd": profile.tone_sd,
        "size_sd_part": profile.size_sd_part,
        "axes_sd_part": profile.axes_sd_part,
        "bend_sd_mm": profile.bend_sd_mm,
    }


def scanner_bytes(profile: ScannerProfile) -> bytes:
    """Return the profile as TOML; the same profile gives the same bytes."""
    lines = [
        "# Where a scanner's pixels lie on its glass and how its codes follow the light, for --scanner.",
        f"# {BLANK}",
        f'format = "{FORMAT}"',
        "version = 1",
        *(f"{name} = {_toml(value)}" for name, value in scanner_tables(profile).items()),
        "",
    ]
    return seal("\n".join(lines).encode())


def _toml(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, list):
        return f"[{', '.join(map(_toml, value))}]"
    if isinstance(value, str):
        return toml_text(value)
    return repr(value)


def read_scanner(name: str) -> ScannerProfile:
    """Return a profile by the name it is kept under.

    Raises
    ------
    UsageError
        If there is none, or it cannot be meant.
    """
    how = (
        "Make one from scans of the card in several places on the glass: "
        f"digitize profile scanner {name} SCANS --measured 53.90x53.80."
    )
    return _read(path_of(ROOM, name, what="profile", how=how))


def kept_scanners() -> list[ScannerProfile]:
    """Return all profiles that are kept, by name; damaged ones are passed over."""
    return all_kept(ROOM, _read)


def _read(path: Path) -> ScannerProfile:
    expected = f"expected a scanner's profile (format {FORMAT}, version 1). Make one: digitize profile scanner."
    return scanner_from(read_toml(path, option="--scanner", form=FORMAT, expected=expected), f"--scanner {path}")


def scanner_from(data: Mapping[str, Any], where: str) -> ScannerProfile:
    """Return the profile that a file's tables hold; `where` they were found stands in front of what is refused.

    Raises
    ------
    UsageError
        If a value is missing or cannot be meant.
    """
    with values_of(where):
        found = _profile_from(data)
    return found


def _profile_from(data: Mapping[str, Any]) -> ScannerProfile:
    def numbers(name: str, count: int, low: float, high: float) -> tuple[float, ...]:
        values = data[name] if count > 1 else [data[name]]
        if not isinstance(values, list | tuple) or len(values) != count:
            raise ValueError(f"{name} has not {count} numbers")
        return tuple(number_of(value, name, low, high) for value in values)

    def number(name: str, low: float, high: float) -> float:
        return numbers(name, 1, low, high)[0]

    on = data["on"] if isinstance(data["on"], datetime.date) else datetime.date.fromisoformat(data["on"])
    width, height = numbers("size_px", 2, 16, 1e6)
    sx, sy = numbers("mm_per_px", 2, 1e-4, 10.0)
    bend = zip(numbers("bend_x_mm", len(TERMS), -10, 10), numbers("bend_y_mm", len(TERMS), -10, 10), strict=True)
    left, top, right, bottom = numbers("covered_px", 4, -1e6, 1e6)
    dpi = numbers("dpi", 2, 10, 20000) if "dpi" in data else None
    return ScannerProfile(
        name=str(data["name"]),
        on=on,
        device=str(data["device"]),
        dpi=None if dpi is None else (dpi[0], dpi[1]),
        curve=numbers("curve", _CURVE_PLACES + 1, 0.0, 1.0),
        tone=number("tone", 0.2, 5.0),
        tone_sd=number("tone_sd", 0.0, 1.0),
        glass=Glass(int(width), int(height), (sx, sy), number("skew", -0.1, 0.1), tuple(bend)),
        measured=bool(data["measured"]),
        size_sd_part=number("size_sd_part", 0.0, 0.1),
        axes_sd_part=number("axes_sd_part", 0.0, 0.1),
        bend_sd_mm=number("bend_sd_mm", 0.0, 1.0),
        rest_mm=number("rest_mm", 0.0, 1.0),
        covered_px=(left, top, right, bottom),
        scans=int(number("scans", 1, 1e6)),
    )
