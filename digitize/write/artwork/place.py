"""Artwork at every item's place and turn, clipped to its print area: under the guides of a template."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from ...plate.artwork import ArtPlace
from ..numbers import plain_number
from ..paths import Box
from ..pdf import closed_path
from ..svg import path_data
from .art import Art, unreadable
from .of_svg import SvgArt

if TYPE_CHECKING:
    from pikepdf import Dictionary, Pdf

Spot = tuple[float, float, float]  # x, y of the drawing, turn in degrees counter-clockwise
_LINKS = 'xmlns:xlink="http://www.w3.org/1999/xlink"'  # SVG 1.1, which older programs read
_ORIGIN = Box(0.0, 0.0, 0.0, 0.0)


@dataclass(frozen=True, slots=True)
class Placed:
    """One artwork on all items of a kind."""

    art: Art
    on_item: ArtPlace
    spots: tuple[Spot, ...]


def svg_under(placed: Sequence[Placed], page: Box) -> list[str]:
    """Return the elements of an SVG: each artwork once as a symbol, used at every place."""
    arts = _each_once(placed)
    _check_together([art for art in arts if isinstance(art, SvgArt)])
    found = [f"<defs {_LINKS}>", *(art.symbol(f"digitize-artwork-{number}") for number, art in enumerate(arts, 1))]
    for number, one in enumerate(placed, 1):
        shapes = "".join(path_data(curve, _ORIGIN) for curve in one.on_item.clip)
        found.append(f'<clipPath id="digitize-clip-{number}"><path clip-rule="evenodd" d="{shapes}"/></clipPath>')
    found += ["</defs>", f'<g id="ARTWORK" {_LINKS}>']
    for number, one in enumerate(placed, 1):
        at, key = one.on_item, arts.index(one.art) + 1
        use = (
            f'<use xlink:href="#digitize-artwork-{key}" x="{_n(at.left)}" y="{_n(-at.bottom - at.height)}" '
            f'width="{_n(at.width)}" height="{_n(at.height)}"/>'
        )
        for x, y, turn in one.spots:
            move = f"translate({_n(x - page.left)} {_n(page.top - y)}) rotate({plain_number(-turn, 9)})"
            found.append(f'<g transform="{move}" clip-path="url(#digitize-clip-{number})">{use}</g>')
    return [*found, "</g>"]


def pdf_under(placed: Sequence[Placed], pdf: Pdf) -> tuple[bytes, Dictionary]:
    """Return the operators of a PDF in the drawing's mm, and the XObjects they name: each artwork once."""
    from pikepdf import Dictionary

    arts = _each_once(placed)
    made = [art.pdf_object(pdf) for art in arts]
    objects = Dictionary({f"/Art{number}": form for number, (form, _) in enumerate(made, 1)})
    found = []
    for one in placed:
        number, at = arts.index(one.art) + 1, one.on_item
        clip = closed_path(at.clip)
        draw = (
            f"{_matrix((at.width, 0.0, 0.0, at.height, at.left, at.bottom))} {_matrix(made[number - 1][1])} "
            f"/Art{number} Do"
        )
        for x, y, turn in one.spots:
            cos, sin = math.cos(math.radians(turn)), math.sin(math.radians(turn))
            found.append(f"q {_matrix((cos, sin, -sin, cos, x, y))} {clip} W* n {draw} Q")
    return "\n".join(found).encode("ascii"), objects


def _each_once(placed: Sequence[Placed]) -> list[Art]:
    found: list[Art] = []
    for one in placed:
        if one.art not in found:
            found.append(one.art)
    return found


def _check_together(arts: Sequence[SvgArt]) -> None:
    """Refuse several SVGs that would change one another in one file.

    Raises
    ------
    UsageError
        If two have an id in common, or one has a style sheet.
    """
    seen: set[str] = set()
    for art in arts:
        if len(arts) > 1 and (art.has_styles or art.ids & seen):
            what = "a style sheet" if art.has_styles else f"the id {min(art.ids & seen)} in common with another"
            raise unreadable(
                art.name, f"it has {what}, and in one file both would change", "Make one at a time: --only."
            )
        seen |= art.ids


def _matrix(values: Sequence[float]) -> str:
    return " ".join(f"{value:.10f}" for value in values) + " cm"


def _n(value: float) -> str:
    return plain_number(value, 6)
