"""What is said where no reference will do: what was seen, why it will not do, and how to go on."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..errors import ScaleError
from ..reading.reduced import Reduced
from ..records import Density, FloatArray, Picture, eight_bit
from ..settings import Pair
from ..steady import norm
from .codes import SeenCode
from .quad import Quad, side_lengths
from .scale import MAX_AXIS_RATIO
from .square import find_quads
from .square_fit import Candidate

if TYPE_CHECKING:
    from .lookalikes import Lookalike


def no_reference(picture: Picture, reduced: Reduced) -> str:
    """Say how to come by a scale where neither card nor square was said to be there."""
    text = (
        f"The picture shows no reference card of ours{_perhaps_card(reduced)}, and no --square was given, so its scale "
        "is unknown. "
        "Lay the printed card (digitize card) beside the item, or a plain black square and say its side: --square 50."
    )
    if picture.density is not None:
        dpi = 25.4 * picture.density.x_px_per_mm
        text += f" To trust the file's own density, to about 2 %, say --dpi {dpi:.0f}."
    return text


def _perhaps_card(reduced: Reduced) -> str:
    """What may be the card all the same: a square whose code cannot be read, or one that the border cuts."""
    codes = eight_bit(reduced.codes)
    squares = [quad for quad in find_quads(codes, reduced.factor, oblique=True) if not quad.touches_border]
    from .lookalikes import find_lookalike

    cut = find_lookalike(codes, reduced.factor, aspect=1.0)
    largest = squares[0].side_px if squares else 0.0
    if cut is not None and cut.kind == "cut" and max(cut.sides_px) > largest:
        x, y = cut.centre_px
        return (
            f" that is whole (what lies at {x:.0f},{y:.0f} px is cut by the border: if it is the card, move it inward)"
        )
    if not squares:
        return ""
    x, y = squares[0].centre_px
    return f" whose code can be read (a square lies at {x:.0f},{y:.0f} px: if it is the card, clean its code)"


def card_cut(outer_px: FloatArray, picture: Picture) -> str | None:
    """Say that the picture's border cuts the card's ring; None where it does not.

    Parameters
    ----------
    outer_px
        (4, 2) outer corners of the ring, as its marker tells them.
    picture
        The picture.
    """
    out = np.concatenate([-outer_px, outer_px - (picture.width_px - 1, picture.height_px - 1)], axis=1).max(axis=0)
    if out.max() < 0:
        return None
    side = ("left", "upper", "right", "lower")[int(out.argmax())]
    return (
        f"The {side} border of the picture cuts the reference card: its square frame is not whole. Lay the whole card "
        "well inside the picture, and take it again."
    )


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
            if one.code == other.code and norm(a - b) > side_lengths(reduced.to_full(one.corners_px)).mean():
                raise ScaleError(
                    f"Two reference cards of the same kind are in the picture (at {a[0]:.0f},{a[1]:.0f} and "
                    f"{b[0]:.0f},{b[1]:.0f} px), and which of them was measured is not known. Leave one, or cover the "
                    "code of the other."
                )


_ADVICE = (
    "Lay a plain square with sharp, uncovered corners flat beside the item, at least 25 px a side, well inside the "
    "picture and clear of the item."
)


def no_square(refused: list[tuple[Quad, str]], lookalike: Lookalike | None, size_mm: Pair) -> str:
    """Say what was seen instead of a plain square.

    Parameters
    ----------
    refused
        What is nearly a square, largest first, each with what is wrong with it.
    lookalike
        Where there is none: what has a square's corners all the same.
    size_mm
        The sides that were said.
    """
    cut = [(quad, why) for quad, why in refused if quad.touches_border]
    if refused:
        quad, why = (cut or refused)[0]
        x, y = quad.centre_px
        return (
            f"No square fit to measure by was found: the nearest to one, at {x:.0f},{y:.0f} px with sides of about "
            f"{quad.side_px:.0f} px, {why}. {_ADVICE}"
        )
    if lookalike is None:
        return f"No reference square was found. {_ADVICE}"
    (x, y), (a, b) = lookalike.centre_px, lookalike.sides_px
    seen = f"No reference square was found. What comes nearest, at {x:.0f},{y:.0f} px,"
    if lookalike.kind == "cut":
        return (
            f"{seen} is cut by the picture's border: one side has {a:.0f} px, of the next {b:.0f} are seen. {_ADVICE}"
        )
    if lookalike.kind == "touched":
        return (
            f"{seen} has one free side of {a:.0f} px and runs into something else on the other: an item touches or "
            f"covers it. {_ADVICE}"
        )
    off = max(a, b) / min(a, b) / max(size_mm[0] / size_mm[1], size_mm[1] / size_mm[0]) - 1
    if abs(off) < MAX_AXIS_RATIO - 1:
        return f"{seen} is seen at an angle. Scan it flat, or say --camera if this is a photo. {_ADVICE}"
    return (
        f"{seen} has sides of {a:.0f} x {b:.0f} px, {100 * abs(off):.0f} % off what --square {size_mm[0]:g} x "
        f"{size_mm[1]:g} says (limit {100 * (MAX_AXIS_RATIO - 1):.1f} %). If it is the reference, measure both its "
        f"sides and say both: --square 49.8x48.9. Else: {_ADVICE[0].lower()}{_ADVICE[1:]}"
    )


def not_there(place_px: Pair, seen: list[Candidate], density: Density | None) -> str:
    """Say that no square lies where the user pointed, and where there are some."""
    return (
        f"No reference square was found at {place_px[0]:g},{place_px[1]:g} px. Seen in the picture: "
        f"{_listed(seen, density)}. Point inside the right one with --square-at X,Y."
    )


def several_squares(candidates: list[Candidate], density: Density | None) -> str:
    """Say which squares were seen where only one can be meant."""
    return (
        f"{len(candidates)} shapes in the picture may be the reference square; none was picked: "
        f"{_listed(candidates, density)}. Point at the right one with --square-at X,Y, or cover the others."
    )


def middles_of(candidates: list[Candidate]) -> tuple[tuple[float, float], ...]:
    """Return where squares lie, px, to be pointed at."""
    return tuple((float(x), float(y)) for x, y in (one.quad.centre_px for one in candidates))


def _listed(candidates: list[Candidate], density: Density | None) -> str:
    """Places and sizes of squares."""
    lines = []
    for c in candidates:
        x, y = c.quad.centre_px
        w, h = side_lengths(c.fit.corners_px)[:2]
        size = f"{w:.0f} x {h:.0f} px"
        if density is not None:
            size += f" (about {w / density.x_px_per_mm:.1f} x {h / density.y_px_per_mm:.1f} mm by the file's density)"
        lines.append(f"at {x:.0f},{y:.0f} px: {size}")
    return "; ".join(lines)
