"""What is said where no reference will do: what was seen, why it will not do, and how to go on."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from .errors import ScaleError
from .records import Density, Picture
from .reduced import Reduced
from .ring import SeenCode
from .settings import Settings
from .square import Quad, side_lengths

if TYPE_CHECKING:
    from .reference_square import Candidate


def no_reference(picture: Picture) -> str:
    """Say how to come by a scale where neither card nor square was said to be there."""
    text = (
        "The picture shows no reference card of ours and no --square was given, so its scale is unknown. "
        "Lay the printed card (digitize card) beside the item, or a plain black square and say its side: --square 50."
    )
    if picture.density is not None:
        dpi = 25.4 * picture.density.x_px_per_mm
        text += f" To trust the file's own density, to about 2 %, say --dpi {dpi:.0f}."
    return text


def require_one_card(seen: tuple[SeenCode, ...], reduced: Reduced) -> None:
    """Refuse a picture in which one ring's code stands twice.

    Raises
    ------
    ScaleError
        Naming the places.
    """
    for i, one in enumerate(seen):
        for other in seen[i + 1 :]:
            a, b = (reduced.to_full(code.corners_px.mean(axis=0)) for code in (one, other))
            if one.code == other.code and np.linalg.norm(a - b) > side_lengths(reduced.to_full(one.corners_px)).mean():
                raise ScaleError(
                    f"Two reference cards of the same kind are in the picture (at {a[0]:.0f},{a[1]:.0f} and "
                    f"{b[0]:.0f},{b[1]:.0f} px), and which of them was measured is not known. Leave one, or cover the "
                    "code of the other."
                )


def no_square(quads: tuple[Quad, ...], settings: Settings) -> str:
    """Say what was seen instead of a plain square."""
    where = "" if settings.square_at_px is None else f" at {settings.square_at_px[0]:g},{settings.square_at_px[1]:g} px"
    advice = (
        "Lay a plain square with sharp, uncovered corners flat beside the item, at least 25 px a side, well inside the "
        "picture and clear of the item."
    )
    cut = [q for q in quads if q.touches_border]
    if cut:
        x, y = cut[0].centre_px
        return f"The only square seen{where} (at {x:.0f},{y:.0f} px) is cut by the picture's border. {advice}"
    if quads:
        x, y = quads[0].centre_px
        return (
            f"No square fit to measure by was found{where}: the nearest to one, at {x:.0f},{y:.0f} px with sides of "
            f"about {quads[0].side_px:.0f} px, has rounded or covered corners, uneven colour or broken sides. {advice}"
        )
    return f"No reference square was found{where}. {advice}"


def several_squares(candidates: list[Candidate], density: Density | None) -> str:
    """Say which squares were seen where only one can be meant."""
    lines = []
    for c in candidates:
        x, y = c.quad.centre_px
        w, h = side_lengths(c.fit.corners_px)[:2]
        size = f"{w:.0f} x {h:.0f} px"
        if density is not None:
            size += f" (about {w / density.x_px_per_mm:.1f} x {h / density.y_px_per_mm:.1f} mm by the file's density)"
        lines.append(f"at {x:.0f},{y:.0f} px: {size}")
    return (
        f"{len(candidates)} shapes in the picture may be the reference square; none was picked: {'; '.join(lines)}. "
        "Point at the right one with --square-at X,Y, or cover the others."
    )
