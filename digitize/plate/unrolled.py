"""The wall of a cylinder or a cone unrolled: the flat shape whose artwork goes round it, by calipers' readings."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..errors import UsageError
from ..kinds import Number
from ..parameters import Declared, check_fields, option
from ..records import FloatArray, Path, frozen_array

ROUND_MM = 0.005  # of difference between both diameters, up to which it is a cylinder


@dataclass(frozen=True, slots=True, kw_only=True)
class Wall(Declared):
    """A round wall, as calipers read it."""

    diameter_mm: float | None = option(None, Number(1.0, 2000.0, "mm"), "Of the wall at its lower end, outside, mm.")
    other_mm: float | None = option(
        None, Number(0.5, 2000.0, "mm"), "The same at its upper end, of a cone; the lower one's unless said."
    )
    length_mm: float | None = option(
        None, Number(1.0, 2000.0, "mm"), "From end to end along the wall, mm: calipers or rule laid on it, not upright."
    )
    overlap_mm: float = option(5.0, Number(0.0, 200.0, "mm"), "How far the sheet runs on past the seam, mm.")
    sheet_mm: float = option(
        0.0, Number(0.0, 5.0, "mm"), "Thickness of the sheet that goes round: artwork runs in its middle, mm."
    )

    def __post_init__(self) -> None:
        """Refuse what is no wall.

        Raises
        ------
        UsageError
            Naming what is missing or cannot be.
        """
        check_fields(self)
        for name, value in (("--diameter", self.diameter_mm), ("--length", self.length_mm)):
            if value is None:
                raise UsageError(f"Say the wall's diameter and its length along the wall: {name} is missing.")
        lower, upper = self.ends_mm
        if abs(lower - upper) / 2 >= self.along_mm:
            raise UsageError(
                f"A wall {self.along_mm:g} mm long cannot lead from a diameter of {lower:g} to {upper:g} mm. Measure "
                "the length along the wall."
            )
        if self.overlap_mm >= math.pi * min(lower, upper) / 2:
            raise UsageError(f"--overlap {self.overlap_mm:g} is half the way round or more: say some mm.")

    @property
    def ends_mm(self) -> tuple[float, float]:
        """Diameters at the lower and the upper end, in the middle of the sheet."""
        lower = self.diameter_mm or 0.0
        return lower + self.sheet_mm, (self.other_mm if self.other_mm is not None else lower) + self.sheet_mm

    @property
    def along_mm(self) -> float:
        """Length along the wall."""
        return self.length_mm or 0.0

    @property
    def is_cone(self) -> bool:
        """Whether it narrows."""
        return abs(self.ends_mm[0] - self.ends_mm[1]) > ROUND_MM


@dataclass(frozen=True, slots=True)
class Unrolled:
    """The wall laid flat, mm, y up; the seam's middle of the way round lies on x = 0."""

    wall: Path  # from seam to seam
    sheet: Path  # with what runs on past the seam, on the right
    seams: tuple[tuple[tuple[float, float], tuple[float, float]], ...]
    quarters: tuple[tuple[tuple[float, float], tuple[float, float]], ...]  # lines up the wall at a quarter, half, three


def unrolled(wall: Wall) -> Unrolled:
    """Return a wall laid flat.

    A cone's wall is a part of a ring: its arcs are as long as the ends' circumferences and as far apart as the wall is
    long, so that radii are as diameters: the lower one is length times diameter over the difference of diameters.
    """
    lower, upper = wall.ends_mm
    past = wall.overlap_mm / (math.pi * max(lower, upper))  # of the way round
    ends = (-0.5, 0.5)
    return Unrolled(
        _part(wall, *ends),
        _part(wall, ends[0], ends[1] + past),
        tuple(_up(wall, end) for end in ends),
        tuple(_up(wall, end) for end in (-0.25, 0.0, 0.25)),
    )


def _up(wall: Wall, share: float) -> tuple[tuple[float, float], tuple[float, float]]:
    """Return a line up the wall at a share of the way round, from its lower end."""
    low, high = (_place(wall, share, end).tolist() for end in (0, 1))
    return (low[0], low[1]), (high[0], high[1])


def _place(wall: Wall, share: float, end: int) -> FloatArray:
    """Return where a place of the lower (0) or upper end lies."""
    lower, upper = wall.ends_mm
    if not wall.is_cone:
        return np.array([share * math.pi * lower, end * wall.along_mm])
    radius, angle = _ring(wall)
    up = (
        1.0 if lower > upper else -1.0
    )  # the ring's middle lies above, or below, and the wall leads towards it, or away
    at, turn = radius - up * end * wall.along_mm, share * angle
    return np.array([at * math.sin(turn), up * (radius - at * math.cos(turn))])


def _ring(wall: Wall) -> tuple[float, float]:
    """Return the radius of the lower end's arc and the angle of the whole wall."""
    lower, upper = wall.ends_mm
    radius = wall.along_mm * lower / abs(lower - upper)
    return radius, math.pi * lower / radius


def _part(wall: Wall, begin: float, end: float) -> Path:
    """Return the edge of the wall between two shares of the way round, counter-clockwise."""
    if not wall.is_cone:
        low, high = ([_place(wall, share, one) for share in (begin, end)] for one in (0, 1))
        return Path(frozen_array([low[0], low[1], high[1], high[0]], columns=2), frozen_array([0.0] * 4))
    lower, upper = wall.ends_mm
    turn = (end - begin) * _ring(wall)[1] / 2  # of half an arc: a bulge is the tangent of a quarter of it
    half = math.tan(turn / 4) * (1.0 if lower > upper else -1.0)
    middle = (begin + end) / 2  # two arcs each: one of nearly a full turn would have hardly a chord
    steps = [(end, 0, 0), (end, 1, -1), (middle, 1, -1), (begin, 1, 0), (begin, 0, 1), (middle, 0, 1)]
    points = [_place(wall, share, one) for share, one, _ in steps]
    return Path(frozen_array(points, columns=2), frozen_array([half * sense for _, _, sense in steps]))
