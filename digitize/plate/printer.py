"""How a printer lays ink on its bed: shift, turn and two scales from crosses that were measured, and their undoing.

Frame: the drawings' one, mm, zero in the zero corner, x right, y up.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from ..errors import UsageError
from ..records import Finding, FloatArray, turning
from ..steady import eigen, least_squares, product
from ..words.say import finding_of
from .plate import Point, Zero, corner

INSET_MM = 15.0  # of the crosses from the bed's edges, where printers still print (common practice, no source)
LARGEST_SHIFT_MM = 25.0  # more is another place on the bed, no printer's error
LARGEST_TURN_DEG, LARGEST_SCALE = 3.0, 0.05  # beyond them something was misread
LEFT_OVER_MM = 0.1  # that a shift, a turn and two scales leave unexplained, from which it is said
LEAST = 3  # crosses: two coordinates each for five unknowns


@dataclass(frozen=True, slots=True)
class Printer:
    """A printer as its crosses show it: what is drawn at p is printed at R(turn) (scale * p) + shift."""

    name: str
    bed_mm: tuple[float, float]
    zero: Zero
    shift_mm: Point  # of the zero corner
    turn_deg: float  # counter-clockwise
    scale: Point  # along x and y
    left_over_mm: Mapping[int, float]  # by cross: how far from where these five put it

    def undone(self) -> tuple[FloatArray, FloatArray]:
        """Return matrix (2, 2) and shift (2,): p is printed at p if it is drawn at p @ matrix + shift."""
        matrix = turning(-math.radians(self.turn_deg)) / np.array(self.scale)
        return matrix, product(-np.array(self.shift_mm), matrix)

    def words(self) -> str:
        """Return what was found, as a person would check it."""
        (x, y), (across, up) = self.shift_mm, self.scale
        return (
            f"shift {x:+.2f}, {y:+.2f} mm at zero, turn {self.turn_deg:+.3f} degrees, scale {across:.5f} in x and "
            f"{up:.5f} in y; {max(self.left_over_mm.values()):.2f} mm at most left over"
        )


def crosses(bed_mm: tuple[float, float], zero: Zero) -> dict[int, Point]:
    """Return where the five crosses stand: 1 at zero, 2 along x, 3 along y, 4 opposite zero, 5 in the middle."""
    width, height = bed_mm
    zero_x, zero_y = corner(zero, bed_mm)
    x, y = (min(INSET_MM, side / 4) for side in bed_mm)
    near = (x if zero.endswith("left") else width - x, y if zero.startswith("bottom") else height - y)
    far = (width - near[0], height - near[1])
    places = [near, (far[0], near[1]), (near[0], far[1]), far, (width / 2, height / 2)]
    return {number: (at[0] - zero_x, at[1] - zero_y) for number, at in enumerate(places, 1)}


def fitted(
    name: str, bed_mm: tuple[float, float], zero: Zero, shifts_mm: Mapping[int, Point]
) -> tuple[Printer, tuple[Finding, ...]]:
    """Return a printer from how far its crosses lie from where they should, by least squares.

    Parameters
    ----------
    shifts_mm
        By the number of the cross, right and up from its true place; of at least three that are not in line.

    Raises
    ------
    UsageError
        If a cross is none, they are too few or in line, or what comes out is no printer's error.
    """
    places = crosses(bed_mm, zero)
    _check(shifts_mm, places)
    numbers = sorted(shifts_mm)
    drawn = np.array([places[number] for number in numbers])
    printed = drawn + np.array([shifts_mm[number] for number in numbers])
    found = _least_squares(drawn, printed)
    apart = np.linalg.norm(_printed(found, drawn) - printed, axis=1)
    turn, across, up = math.degrees(found[2]), float(found[3]), float(found[4])
    if abs(turn) > LARGEST_TURN_DEG or max(abs(across - 1), abs(up - 1)) > LARGEST_SCALE:
        raise UsageError(
            f"These shifts mean a turn of {turn:.2f} degrees and scales of {across:.3f} and {up:.3f}: no printer is so "
            "far off. Was the sheet fitted to the page? Print it at 100 %, and look at the signs: right and up are +."
        )
    left = {number: round(float(one), 4) for number, one in zip(numbers, apart, strict=True)}
    shift = (round(float(found[0]), 4) + 0.0, round(float(found[1]), 4) + 0.0)
    made = Printer(name, bed_mm, zero, shift, round(turn, 6) + 0.0, (round(across, 8), round(up, 8)), left)
    worst = max(left, key=lambda number: left[number])
    if left[worst] <= LEFT_OVER_MM:
        return made, ()
    return made, (finding_of("printer-left-over", value=left[worst], limit=LEFT_OVER_MM, cross=worst),)


def _check(shifts_mm: Mapping[int, Point], places: Mapping[int, Point]) -> None:
    unknown = sorted(set(shifts_mm) - set(places))
    if unknown:
        raise UsageError(f"--shift {unknown[0]}=...: the crosses are numbered 1 to {len(places)}.")
    if len(shifts_mm) < LEAST:
        raise UsageError(
            f"Say the shifts of at least {LEAST} crosses, better of all {len(places)}: --shift 1=0.12,-0.05 and so on."
        )
    far = [number for number, shift in shifts_mm.items() if math.hypot(*shift) > LARGEST_SHIFT_MM]
    if far:
        raise UsageError(
            f"--shift {far[0]}=...: more than {LARGEST_SHIFT_MM:g} mm. Say how far the cross lies from its place, "
            "not where."
        )
    chosen = np.array([places[number] for number in shifts_mm])
    away = chosen - chosen.mean(axis=0)
    if eigen(product(away.T, away))[0][0] < 1e-6:  # mm squared, across the line that is nearest
        raise UsageError("These crosses stand in line: one beside them is needed, better all five.")


def _printed(found: FloatArray, drawn: FloatArray) -> FloatArray:
    return np.asarray(product(drawn * found[3:], turning(float(found[2]))) + found[:2])


def _least_squares(drawn: FloatArray, printed: FloatArray) -> FloatArray:
    """Return shift x and y, turn in radians, scale in x and y, by Gauss-Newton: the turn is not linear."""
    middle = drawn.mean(axis=0)  # about the middle the unknowns hardly depend on one another
    size = float(np.abs(drawn - middle).max())
    places, goal = (drawn - middle) / size, (printed - middle) / size
    found = np.array([0.0, 0.0, 0.0, 1.0, 1.0])
    for _ in range(5):
        matrix = turning(float(found[2]))
        model = product(places * found[3:], matrix) + found[:2]
        slope = np.zeros((len(places), 2, 5))
        slope[:, 0, 0] = slope[:, 1, 1] = 1.0
        slope[:, :, 2] = product(places * found[3:], product(matrix, np.array([[0.0, 1.0], [-1.0, 0.0]])))
        slope[:, :, 3] = places[:, :1] * matrix[0]
        slope[:, :, 4] = places[:, 1:] * matrix[1]
        found += least_squares(slope.reshape(-1, 5), (goal - model).ravel())
    found[:2] = middle + found[:2] * size - product(middle * found[3:], turning(float(found[2])))
    return found
