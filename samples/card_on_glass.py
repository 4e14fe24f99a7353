"""Lays the printed ring card on the rendered glass: its paper, its ink and its words."""

from __future__ import annotations

import math

import numpy as np

from digitize.card.kinds import card_layout
from digitize.card.parts import Fill, TextLine, lies_in
from tests.truth.flatbed import Layer, Scene
from tests.truth.shapes import ring

PAPER, INK = (0.86, 0.86, 0.85), (0.035, 0.035, 0.035)
FINE = 24  # pixels a mm of the sheet on which the words are set


def lay_card(scene: Scene, centre_mm, *, angle_deg: float, printed=(1.0, 1.0)) -> None:
    """Put a cut-out single card with its middle at `centre_mm`; `printed` is true over drawn size in X and Y."""
    layout = card_layout("single", "a4")
    x0, y0, x1, y1 = layout.card_box_mm
    a = math.radians(angle_deg)
    turn = np.array([[math.cos(a), math.sin(a)], [-math.sin(a), math.cos(a)]]) * np.array(printed)[:, None]
    middle = np.array([(x0 + x1) / 2, (y0 + y1) / 2])

    def place(points):
        return (np.asarray(points, float) - middle) @ turn + centre_mm

    sheet = [(x0, y0), (x1, y0), (x1, y1), (x0, y1)]
    scene.layers.append(Layer((ring(place(sheet)),), PAPER))
    for fill in layout.fills:
        if lies_in(fill.box_mm, layout.card_box_mm):
            _print(scene, fill, place)
    for text in layout.texts:
        if lies_in(text.box_mm, layout.card_box_mm) and not text.upwards:
            _write(scene, text, place)
    scene.squares.append(ring(place(layout.rings[0].outer_corners_mm[::-1])))


def _print(scene: Scene, fill: Fill, place) -> None:
    """Paint an inked area; the first loop of each is its outside, the others are its holes."""
    scene.layers.append(Layer(tuple(ring(place(loop)) for loop in fill.loops), INK))


def _write(scene: Scene, text: TextLine, place) -> None:
    """Paint a line of text, letter by letter, from the borders of a fine raster."""
    for loops in _letters(text):
        scene.layers.append(Layer(tuple(ring(place(loop)) for loop in loops), INK))


def _letters(text: TextLine):
    """Yield the loops (outside first, then holes) of each stroke group in mm of the sheet."""
    import cv2
    from PIL import Image, ImageDraw, ImageFont

    font = ImageFont.load_default(FINE * text.size_mm)
    width = font.getlength(text.text)
    canvas = Image.new("L", (round(width) + 8, round(1.4 * FINE * text.size_mm)))
    base = round(FINE * text.size_mm)
    ImageDraw.Draw(canvas).text((4, base), text.text, 255, font, anchor="ls")
    borders, tree = cv2.findContours(np.asarray(canvas), cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
    if tree is None:
        return
    stretch = text.width_mm / width
    loops = [(b[:, 0] - (4, base)) * (stretch, -1 / FINE) + text.at_mm for b in borders]
    for i, (*_, first, parent) in enumerate(tree[0]):
        if parent >= 0 or len(loops[i]) < 3:
            continue
        yield [loops[i], *(loops[k] for k in _siblings(tree[0], first) if len(loops[k]) > 2)]


def _siblings(tree, first: int):
    while first >= 0:
        yield first
        first = tree[first][0]
