"""What lines and arcs run on: endless lines and full circles with a direction, and where they cross.

Places and directions are complex numbers, x + iy, in mm: a turn by 90 degrees to the right is a product with -i.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, slots=True)
class Track:
    """A straight line or a circle, run along in one direction."""

    place: complex  # on the line; the circle's centre
    ahead: complex = 0j  # unit direction of the line; 0 for a circle
    radius: float = 0.0  # mm; 0 for a line
    turn: int = 0  # 1 counter-clockwise, -1 clockwise, 0 straight

    def bulge(self, start: complex, end: complex) -> float:
        """Return tan(sweep / 4) of the way along the track from one place to another, less than once around."""
        if self.turn == 0:
            return 0.0
        sweep = self.turn * float(np.angle((end - self.place) / (start - self.place))) % (2 * np.pi)
        return self.turn * float(np.tan(sweep / 4))

    def length(self, start: complex, end: complex) -> float:
        """Return the length of that way in mm; negative where it would go back along a line."""
        if self.turn == 0:
            return ((end - start) * self.ahead.conjugate()).real
        return 4 * float(np.arctan(abs(self.bulge(start, end)))) * self.radius


def crossings(one: Track, other: Track) -> list[complex]:
    """Return the places, none to two, where two tracks cross."""
    if one.turn == 0 and other.turn == 0:
        return _two_lines(one, other)
    if one.turn == 0:
        return _line_and_circle(one, other)
    if other.turn == 0:
        return _line_and_circle(other, one)
    return _two_circles(one, other)


def _two_lines(one: Track, other: Track) -> list[complex]:
    sine = (one.ahead.conjugate() * other.ahead).imag
    if abs(sine) < 1e-9:
        return []
    share = ((other.place - one.place).conjugate() * other.ahead).imag / sine
    return [one.place + share * one.ahead]


def _line_and_circle(line: Track, circle: Track) -> list[complex]:
    away = (circle.place - line.place) * line.ahead.conjugate()
    square = circle.radius**2 - away.imag**2
    if square < 0:
        return []
    half = float(np.sqrt(square))
    return [line.place + (away.real + step) * line.ahead for step in (-half, half)]


def _two_circles(one: Track, other: Track) -> list[complex]:
    between = other.place - one.place
    far = abs(between)
    if far < 1e-9:
        return []
    along = (far**2 + one.radius**2 - other.radius**2) / (2 * far)
    square = one.radius**2 - along**2
    if square < 0:
        return []
    half = float(np.sqrt(square))
    return [one.place + (along + 1j * step) * between / far for step in (-half, half)]


def beside(track: Track, distance: float) -> Track | None:
    """Return the track to the left by a distance (to the right if negative); None where a circle vanishes."""
    if track.turn == 0:
        return Track(track.place + 1j * distance * track.ahead, track.ahead)
    radius = track.radius - track.turn * distance
    return Track(track.place, 0j, radius, track.turn) if radius > 0 else None


def foot(track: Track, place: complex) -> complex:
    """Return the place of a track that is nearest to another place, which is not a circle's centre."""
    away = place - track.place
    if track.turn == 0:
        return track.place + (away * track.ahead.conjugate()).real * track.ahead
    return track.place + track.radius * away / abs(away)


def track_of(start: complex, end: complex, bulge: float) -> Track:
    """Return what a line or arc runs on."""
    if bulge == 0:
        return Track(start, (end - start) / abs(end - start))
    centre = (start + end) / 2 + 1j * (end - start) * (1 - bulge**2) / (4 * bulge)
    return Track(centre, 0j, abs(start - centre), 1 if bulge > 0 else -1)
