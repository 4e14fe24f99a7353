"""Rings for tests: outlines of known lines and arcs, sampled with noise, and random rings.

Written without a word of the package: arcs are given by centre, radius and angles, not by bulges.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from hypothesis import strategies as st
from numpy.typing import NDArray

Ring = NDArray[np.float64]


@dataclass(frozen=True)
class Line:
    start: tuple[float, float]
    end: tuple[float, float]

    @property
    def length(self) -> float:
        return float(np.hypot(self.end[0] - self.start[0], self.end[1] - self.start[1]))

    def at(self, share: Ring) -> Ring:
        a, b = np.array(self.start), np.array(self.end)
        return a + share[:, None] * (b - a)

    def normal(self, share: Ring) -> Ring:
        d = (np.array(self.end) - self.start) / self.length
        return np.tile([d[1], -d[0]], (len(share), 1))


@dataclass(frozen=True)
class Arc:
    centre: tuple[float, float]
    radius: float
    begin: float  # radians
    sweep: float  # radians, counter-clockwise positive

    @property
    def length(self) -> float:
        return abs(self.sweep) * self.radius

    def at(self, share: Ring) -> Ring:
        angle = self.begin + share * self.sweep
        return np.array(self.centre) + self.radius * np.column_stack([np.cos(angle), np.sin(angle)])

    def normal(self, share: Ring) -> Ring:
        angle = self.begin + share * self.sweep
        return np.sign(self.sweep) * np.column_stack([np.cos(angle), np.sin(angle)])


@dataclass(frozen=True)
class Outline:
    """A closed outline of known pieces, counter-clockwise."""

    name: str
    pieces: tuple[Line | Arc, ...]
    tangent: bool  # all joints tangent

    def __str__(self) -> str:
        return self.name

    @property
    def count(self) -> int:
        return len(self.pieces)

    @property
    def length(self) -> float:
        return sum(piece.length for piece in self.pieces)

    def starts(self) -> Ring:
        return np.array([piece.at(np.zeros(1))[0] for piece in self.pieces])

    def sampled(
        self,
        *,
        spacing: float = 0.042,
        noise: float = 0.0,
        seed: int = 0,
        angle: float = 0.0,
        corners: bool = False,
        shift: float = 0.37,
    ) -> tuple[Ring, tuple[int, ...]]:
        """Points `spacing` apart with Gaussian noise across the edge; with `corners` the exact joints too."""
        rng = np.random.default_rng(seed)
        ends = np.cumsum([piece.length for piece in self.pieces])
        places = np.arange(shift * spacing, ends[-1] - 0.2 * spacing, spacing)
        parts, marks, so_far = [], [], 0
        for piece, end in zip(self.pieces, ends, strict=True):
            share = (places[(places >= end - piece.length) & (places < end)] - (end - piece.length)) / piece.length
            points = piece.at(share) + noise * rng.standard_normal((len(share), 1)) * piece.normal(share)
            if corners:
                points = np.vstack([piece.at(np.zeros(1)), points])
                marks.append(so_far)
            parts.append(points)
            so_far += len(points)
        ring = np.vstack(parts)
        turn = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
        return ring @ turn, tuple(marks)


def polygon(name: str, points: Ring) -> Outline:
    corners = [(float(x), float(y)) for x, y in points]
    ends = corners[1:] + corners[:1]
    return Outline(name, tuple(Line(a, b) for a, b in zip(corners, ends, strict=True)), tangent=False)


def star(tips: int, outer: float, inner: float) -> Outline:
    angle = np.pi * np.arange(2 * tips) / tips
    radius = np.where(np.arange(2 * tips) % 2 == 0, outer, inner)
    return polygon(f"star {tips}", radius[:, None] * np.column_stack([np.cos(angle), np.sin(angle)]))


def rounded_rectangle(width: float, height: float, radius: float, name: str = "") -> Outline:
    x, y = width / 2 - radius, height / 2 - radius
    pieces: list[Line | Arc] = []
    spots = [(x, -y), (x, y), (-x, y), (-x, -y)]
    for k, (cx, cy) in enumerate(spots):
        begin = -np.pi / 2 + k * np.pi / 2
        pieces.append(Arc((cx, cy), radius, begin, np.pi / 2))
        nx, ny = spots[(k + 1) % 4]
        out = (radius * np.cos(begin + np.pi / 2), radius * np.sin(begin + np.pi / 2))
        pieces.append(Line((cx + out[0], cy + out[1]), (nx + out[0], ny + out[1])))
    return Outline(name or f"rounded {width:g} x {height:g} R {radius:g}", tuple(pieces), tangent=True)


def slot(length: float, width: float) -> Outline:
    """Overall length and width; two half circles and two lines."""
    r, half = width / 2, (length - width) / 2
    pieces = (
        Arc((half, 0), r, -np.pi / 2, np.pi),
        Line((half, r), (-half, r)),
        Arc((-half, 0), r, np.pi / 2, np.pi),
        Line((-half, -r), (half, -r)),
    )
    return Outline(f"slot {length:g} x {width:g}", pieces, tangent=True)


def constant_width(sides: int, width: float) -> Outline:
    """Regular Reuleaux polygon: arcs about the opposite corner, radius = width."""
    # width = R (1 + cos(pi / 2n)) ... the corner opposite a side is at distance `width` from that side's two corners
    around = width / (2 * np.cos(np.pi / (2 * sides)))
    angle = 2 * np.pi * np.arange(sides) / sides
    corner = around * np.column_stack([np.cos(angle), np.sin(angle)])
    pieces = []
    for k in range(sides):
        opposite = corner[(k + (sides + 1) // 2) % sides]
        away = corner[k] - opposite
        pieces.append(Arc(tuple(opposite), width, float(np.arctan2(away[1], away[0])), np.pi / sides))
    return Outline(f"constant width {sides}", tuple(pieces), tangent=False)


def scallops(count: int, radius: float, bite: float) -> Outline:
    """Arcs only, bulging outward, meeting in inward cusps on a circle of the given radius."""
    angle = 2 * np.pi * np.arange(count) / count
    tip = radius * np.column_stack([np.cos(angle), np.sin(angle)])
    half_chord = radius * np.sin(np.pi / count)
    r = (half_chord**2 + bite**2) / (2 * bite)
    pieces = []
    for k in range(count):
        middle = (tip[k] + tip[(k + 1) % count]) / 2
        centre = middle * (1 - (r - bite) / -np.hypot(*middle) * -1)
        away, sweep = tip[k] - centre, 2 * np.arcsin(min(1.0, half_chord / r))
        pieces.append(Arc(tuple(centre), r, float(np.arctan2(away[1], away[0])), float(sweep)))
    return Outline(f"scallops {count}", tuple(pieces), tangent=False)


def wave(count: int, radius: float, lobe: float) -> Outline:
    """Outward and inward arcs in turn, all tangent (a flower without cusps)."""
    # centres of lobes (radius `lobe`) on a circle; between them hollows of a radius that makes them tangent
    step = np.pi / count
    # the joint lies on the line between neighbouring centres; choose hollow centres on a larger circle
    outer = radius * 1.25
    gap = np.sqrt(radius**2 + outer**2 - 2 * radius * outer * np.cos(step))
    hollow = gap - lobe
    pieces: list[Line | Arc] = []
    for k in range(count):
        here = np.array([np.cos(2 * k * step), np.sin(2 * k * step)]) * radius
        before = np.array([np.cos((2 * k - 1) * step), np.sin((2 * k - 1) * step)]) * outer
        after = np.array([np.cos((2 * k + 1) * step), np.sin((2 * k + 1) * step)]) * outer
        following = np.array([np.cos((2 * k + 2) * step), np.sin((2 * k + 2) * step)]) * radius
        a0, a1 = (float(np.arctan2(*(p - here)[::-1])) for p in (before, after))
        pieces.append(Arc(tuple(here), lobe, a0, (a1 - a0) % (2 * np.pi)))
        h0, h1 = (float(np.arctan2(*(p - after)[::-1])) for p in (here, following))
        pieces.append(Arc(tuple(after), hollow, h0, -((h0 - h1) % (2 * np.pi))))
    return Outline(f"wave {count}", tuple(pieces), tangent=True)


def tag_with_lug(radius: float = 20.0, lug: float = 5.0, width: float = 60.0) -> Outline:
    """A half-round-ended plate with one square end: mixed tangent joints and corners."""
    pieces = (
        Line((0, -radius), (width, -radius)),
        Arc((width, 0), radius, -np.pi / 2, np.pi),
        Line((width, radius), (0, radius)),
        Line((0, radius), (0, lug)),
        Arc((0, 0), lug, np.pi / 2, np.pi),
        Line((0, -lug), (0, -radius)),
    )
    return Outline("tag with lug", pieces, tangent=False)


def id1_card() -> Outline:
    """ISO/IEC 7810 ID-1: 85.60 x 53.98 mm, corner radius 2.88 to 3.48, here 3.18."""
    return rounded_rectangle(85.60, 53.98, 3.18, "ID-1 card")


def zoo() -> tuple[Outline, ...]:
    return (
        id1_card(),
        rounded_rectangle(40, 25, 1.0),
        slot(30, 8),
        constant_width(7, 27.3),
        star(5, 30, 13),
        star(12, 40, 32),
        scallops(12, 30, 3.0),
        scallops(24, 30, 2.0),
        wave(8, 20, 6.0),
        tag_with_lug(),
        polygon("rectangle", np.array([[0, 0], [70, 0], [70, 33.0], [0, 33]])),
    )


def even(points: Ring, spacing: float = 0.042) -> Ring:
    """The same ring with points evenly spaced along it."""
    closed = np.vstack([points, points[:1]])
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(closed, axis=0).T))])
    count = max(8, int(along[-1] / spacing))
    places = np.arange(count) * along[-1] / count
    return np.column_stack([np.interp(places, along, closed[:, k]) for k in (0, 1)])


def lobed(amplitudes: tuple[float, ...], radius: float, squash: float, spacing: float = 0.042) -> Ring:
    """A smooth ring with no lines or arcs in it: a circle with waves of order 2, 3, ..., squashed."""
    angle = np.linspace(0, 2 * np.pi, 20_000, endpoint=False)
    r = radius * (1 + sum(a * np.cos((k + 2) * angle + k) for k, a in enumerate(amplitudes)))
    return even(np.column_stack([r * np.cos(angle), squash * r * np.sin(angle)]), spacing)


def across(ring: Ring) -> Ring:
    """Unit vectors across the edge, to the right of its direction."""
    along = np.roll(ring, -1, axis=0) - np.roll(ring, 1, axis=0)
    return np.column_stack([along[:, 1], -along[:, 0]]) / np.hypot(*along.T)[:, None]


def uneven(radius: float, sd: float, length: float, seed: int) -> Ring:
    """A lobed ring whose edge wanders by `sd`, correlated over about `length` mm, as torn or sanded wood does."""
    ring = lobed((0.03, 0.05, 0.02, 0.02), radius, 0.8)
    waves = np.fft.rfft(np.random.default_rng(seed).standard_normal(len(ring)))
    waves *= np.exp(-((2 * np.pi * np.fft.rfftfreq(len(ring), 0.042) * length) ** 2) / 4)
    wander = np.fft.irfft(waves, len(ring))
    return ring + sd * (wander / wander.std())[:, None] * across(ring)


def ellipse(a: float, b: float, spacing: float = 0.042) -> Ring:
    angle = np.linspace(0, 2 * np.pi, 100_000, endpoint=False)
    return even(np.column_stack([a * np.cos(angle), b * np.sin(angle)]), spacing)


def rings() -> st.SearchStrategy[Ring]:
    """Random simple rings of 5 to 25 mm radius: smooth ones, and star-shaped polygons with sharp corners."""
    size = st.floats(5, 25)
    smooth = st.builds(
        lobed,
        st.tuples(*[st.floats(-0.08 / (k + 1), 0.08 / (k + 1)) for k in range(4)]),
        size,
        st.floats(0.6, 1.0),
    )
    tips = st.lists(st.floats(0.55, 1.0), min_size=3, max_size=9)
    return st.one_of(smooth, st.builds(_jagged, tips, size))


def _jagged(radii: list[float], size: float) -> Ring:
    angle = 2 * np.pi * np.arange(len(radii)) / len(radii)
    points = size * np.array(radii)[:, None] * np.column_stack([np.cos(angle), np.sin(angle)])
    return polygon("jagged", points).sampled(corners=True)[0]


def regular(sides: int, around: float) -> Outline:
    """Regular polygon by the radius of the circle through its corners."""
    angle = 2 * np.pi * np.arange(sides) / sides
    return polygon(f"regular {sides}", around * np.column_stack([np.cos(angle), np.sin(angle)]))
