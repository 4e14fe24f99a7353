"""Irregular blanks of an invented workshop, and shapes whose sizes are published; centred near (0, 0), mm."""

from __future__ import annotations

import math

import numpy as np

from .shapes import Shape, circle, rectangle, ring, rounded, slot


def _polar(radii, degrees):
    a = np.radians(degrees)
    return np.stack([np.asarray(radii) * np.cos(a), np.asarray(radii) * np.sin(a)], 1)


def key_fob() -> Shape:
    """Return a drop-shaped fob with a ring hole."""
    body = rounded([(-16, -20), (15, -20), (17, 2), (5, 24), (-5, 24), (-18, 0)], [9, 7, 12, 5, 5, 12])
    return Shape(body, (circle(5, (0, 19)),), "key-fob")


def tag() -> Shape:
    """Return a luggage tag: two rounded corners, two cut and sharp ones, a hole."""
    body = rounded([(-30, -16), (24, -16), (33, -7), (33, 9), (26, 16), (-30, 16)], [5, 0, 0, 0, 0, 2.5])
    return Shape(body, (circle(4.2, (26, 1)),), "tag")


def star() -> Shape:
    """Return a five-pointed ornament with sharp tips and sharp inner corners."""
    radii = np.where(np.arange(10) % 2, 11.5, 26.0)
    return Shape(ring(_polar(radii, 90 + 36 * np.arange(10))), (circle(3, (0, 17)),), "star")


def scalloped() -> Shape:
    """Return an ornament edged with twelve arcs that meet in sharp notches."""
    edge = ring(_polar(np.full(12, 20.0), 30 * np.arange(12)), np.full(12, 0.62))
    return Shape(edge, (circle(4, (0, 13)),), "scalloped")


def phone_case() -> Shape:
    """Return a flat back for a case, with a camera window and a round opening."""
    return Shape(
        rectangle(71, 144, 10.5),
        (rectangle(31, 33, 6.5, (-14, 49)), circle(9.5, (20, 55)), slot(24, 3, (0, -66))),
        "phone-case",
    )


def heart() -> Shape:
    """Return a heart: two arcs, a sharp tip, a sharp notch."""
    return Shape(
        rounded([(0, -22), (26, 5), (16, 25), (0, 8), (-16, 25), (-26, 5)], [0, 11, 9, 0, 9, 11]),
        (circle(3.2, (0, 1)),),
        "heart",
    )


def gear() -> Shape:
    """Return a wheel of 16 teeth with arcs on the tips and in the gaps, all corners sharp."""
    n = 16
    step = 360 / n
    angles = (step * np.arange(n)[:, None] + np.array([-0.27, -0.13, 0.13, 0.27]) * step).ravel()
    radii = np.tile([17.0, 21.0, 21.0, 17.0], n)
    tip, gap = math.tan(math.radians(0.26 * step) / 4), math.tan(math.radians(0.46 * step) / 4)
    return Shape(ring(_polar(radii, angles), np.tile([0, tip, 0, gap], n)), (circle(8),), "gear")


def plaque() -> Shape:
    """Return a plaque with inward-curved corners (sharp both sides) and two fixing holes."""
    b = -math.tan(math.pi / 8)
    x, y, r = 35.0, 22.0, 7.0
    points = [(-x + r, -y), (x - r, -y), (x, -y + r), (x, y - r), (x - r, y), (-x + r, y), (-x, y - r), (-x, -y + r)]
    return Shape(ring(points, [0, b] * 4), (circle(3.5, (-29, 0)), circle(3.5, (29, 0))), "plaque")


def pebble() -> Shape:
    """Return an irregular smooth badge."""
    return Shape(
        rounded([(-17, -12), (4, -17), (19, -8), (16, 9), (3, 17), (-15, 12), (-22, 1)], [8, 9, 7, 8, 9, 7.5, 6]),
        (),
        "pebble",
    )


def slotted() -> Shape:
    """Return a strap end with a thin slot and a small one."""
    return Shape(rectangle(52, 24, (4, 12, 12, 4)), (slot(30, 1.2, (-6, 0)), slot(6, 2, (19, 0))), "slotted")


def hook() -> Shape:
    """Return an L-shaped hanger with an inside corner, one sharp and one rounded end."""
    return Shape(
        rounded([(-20, -20), (22, -20), (22, -8), (-6, -8), (-6, 25), (-20, 25)], [3, 6, 6, 1.5, 0, 0]),
        (circle(4.5, (-13, 18)),),
        "hook",
    )


def id1_card() -> Shape:
    """Return the ID-1 card, 85.60 x 53.98 mm, corner radius 3.18 mm (ISO/IEC 7810, from memory)."""
    return Shape(rectangle(85.60, 53.98, 3.18), (), "id1-card")


def constant_width_polygon(width: float, sides: int) -> Shape:
    """Return the curve of constant `width` on a regular polygon with an odd number of `sides`."""
    corner_radius = width / (2 * math.cos(math.pi / (2 * sides)))
    corners = _polar(np.full(sides, corner_radius), 90 + 360 / sides * np.arange(sides))
    bulge = math.tan(math.pi / sides / 4)  # each arc is seen from the opposite corner under pi / sides
    return Shape(ring(corners, np.full(sides, bulge)), (), f"constant-width-{sides}")


def heptagon_coin() -> Shape:
    """Return a seven-sided coin of constant width 27.3 mm (published size of a British coin, from memory)."""
    return constant_width_polygon(27.3, 7)


COIN_DIAMETERS_MM = {  # Council Regulation (EU) No 729/2014, annex, from memory
    "2-euro": 25.75,
    "1-euro": 23.25,
    "50-cent": 24.25,
    "20-cent": 22.25,
    "10-cent": 19.75,
    "5-cent": 21.25,
    "2-cent": 18.75,
    "1-cent": 16.25,
}


def coin(name: str) -> Shape:
    """Return a round coin by its name in `COIN_DIAMETERS_MM`."""
    return Shape(circle(COIN_DIAMETERS_MM[name]), (), name)


def a_sheet(n: int) -> Shape:
    """Return the trimmed size A`n` of ISO 216: 841 x 1189 mm halved n times, rounded down to the millimetre."""
    short, long = 841, 1189
    for _ in range(n):
        short, long = long // 2, short
    return Shape(rectangle(short, long), (), f"a{n}")


BLANKS = {
    make().name: make
    for make in (key_fob, tag, star, scalloped, phone_case, heart, gear, plaque, pebble, slotted, hook)
}
PUBLISHED = {"id1-card": id1_card, "heptagon": heptagon_coin}
PUBLISHED |= {name: (lambda n=name: coin(n)) for name in COIN_DIAMETERS_MM}
