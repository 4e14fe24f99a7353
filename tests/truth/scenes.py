"""Random flatbed scans within stated limits, one a seed, with their truth.

``flatbed_case(seed)`` is the scan of the accuracy figures: 600 dpi, blur 0.6 to 1.2 px, noise 1 to 3 codes, contrast
from 0.9/0.05 to 0.8/0.45 and coloured pairs, dust, a square of 30 to 50 mm turned by any angle, x and y scales up
to 1 % apart, a little skew. ``hard=True`` adds what the figures leave out: grain, a contact shadow, a light gradient.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from . import zoo
from .flatbed import Rendered, Scene
from .shapes import Ring, Shape

GAP_MM = 6.0
PAPER_MM = (18.0, 8.0)  # so much wider and higher than its square; not a square itself
WHITE = 0.88


@dataclass(frozen=True)
class Look:
    """Reflectances of lid and item, and whether the square lies on white paper of its own."""

    name: str
    lid: tuple[float, float, float]
    item: tuple[float, float, float]
    paper: bool = False


def grey(name: str, lid: float, item: float, paper: bool = False) -> Look:
    return Look(name, (lid,) * 3, (item,) * 3, paper)


LOOKS = (
    grey("90/05", 0.90, 0.05),
    grey("85/20", 0.85, 0.20),
    grey("80/45", 0.80, 0.45),
    grey("90/10", 0.90, 0.10),
    Look("wood on white", (0.88, 0.88, 0.86), (0.42, 0.24, 0.11)),
    Look("blue on white", (0.86, 0.86, 0.86), (0.08, 0.14, 0.45)),
    grey("85/35", 0.85, 0.35),
    grey("light on black", 0.04, 0.62, paper=True),
    Look("blue on blue", (0.22, 0.36, 0.62), (0.03, 0.07, 0.28), paper=True),
    Look("red on white", (0.85, 0.84, 0.82), (0.55, 0.05, 0.04)),
    grey("80/42", 0.80, 0.42),
    Look("white on green", (0.12, 0.35, 0.16), (0.78, 0.76, 0.70), paper=True),
)
SHAPES = (*(name for name in zoo.BLANKS if name != "phone-case"), "id1-card", "heptagon", "1-euro")


@dataclass(frozen=True, eq=False)
class FlatbedCase:
    """A scan and what is true of it."""

    name: str
    picture: Rendered
    truth: Shape  # as placed, mm
    square: Ring
    square_mm: float
    look: Look
    blur_px: float
    noise_codes: float
    scales_dpi: tuple[float, float]

    @property
    def contrast(self) -> float:
        """Largest difference of lid and item in one colour."""
        return float(np.abs(np.subtract(self.look.lid, self.look.item)).max())


def shape_of(name: str) -> Shape:
    return {**zoo.BLANKS, **zoo.PUBLISHED}[name]()


def flatbed_case(seed: int, *, hard: bool = False, dpi: float = 600.0) -> FlatbedCase:
    """Return the scan number `seed`; shapes and looks go round, everything else is drawn."""
    rng = np.random.default_rng([seed, 7621])
    shape, look = shape_of(SHAPES[seed % len(SHAPES)]), LOOKS[seed % len(LOOKS)]
    side, turn = rng.uniform(30, 50), rng.uniform(0, 360)
    blur, noise = rng.uniform(0.6, 1.2), rng.uniform(1, 3)
    stretch = rng.uniform(-0.005, 0.005, 2)
    angle = rng.uniform(0, 360)
    places, size = _layout(shape, angle, side, turn, rng)
    scene = Scene(
        *size,
        dpi_x=dpi * (1 + stretch[0]),
        dpi_y=dpi * (1 + stretch[1]),
        skew_deg=rng.uniform(-0.1, 0.1),
        background=look.lid,
        gradient=rng.uniform(-0.04, 0.04, 2) * (2 if hard else 0.5),
        blur_px=blur,
        noise_codes=noise,
        seed=seed,
    )
    if look.paper:
        scene.add_paper(side + PAPER_MM[0], side + PAPER_MM[1], places[0], turn, WHITE)
    square = scene.add_square(side, places[0], turn)
    extra = {"grain": 0.06, "grain_deg": angle, "shadow": 0.25, "shadow_shift_mm": (0.4, -0.3)} if hard else {}
    truth = scene.add_item(shape, places[1], angle, look.item, **extra)
    scene.add_dust(20, 3)
    name = f"{seed:02d} {shape.name} {look.name}"
    return FlatbedCase(name, scene.render(), truth, square, side, look, blur, noise, scene.dpi)


def _layout(shape: Shape, angle: float, side: float, turn: float, rng):
    """Return the places (square, item) and the picture's size in mm, the square on the left."""
    a = math.radians(turn)
    half = (side + max(PAPER_MM)) / 2 * (abs(math.cos(a)) + abs(math.sin(a)))
    x0, y0, x1, y1 = shape.placed((0, 0), angle).bounds()
    height = max(2 * half, y1 - y0) + 2 * GAP_MM
    square = (GAP_MM + half, rng.uniform(GAP_MM + half, height - GAP_MM - half))
    left = 2 * half + 2 * GAP_MM
    item = (left - x0, rng.uniform(GAP_MM - y0, height - GAP_MM - y1))
    return (square, item), (left + (x1 - x0) + GAP_MM, height)
