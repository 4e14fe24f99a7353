"""What is regular about an item, in words: its ideal shapes and its symmetry."""

from __future__ import annotations

from digitize.records import IdealShape, Item, Symmetry

_MOST_HOLES = 6


def regular_lines(item: Item, *, offer: bool = False) -> list[str]:
    """Return a sentence for the outline and each hole that is an ideal shape, and one for the symmetry.

    Parameters
    ----------
    offer
        Name the option that would write what has only been recognised.
    """
    lines = [
        f"{_ring_name(number)} is {shape_words(shape)}{_offer(offer and not shape.written, '--ideal')}"
        for number, shape in enumerate(item.shapes)
        if shape is not None
    ]
    more = len(lines) - _MOST_HOLES
    if more > 0:
        lines = [*lines[:_MOST_HOLES], f"and {more} more holes (in the JSON)"]
    if item.symmetry is not None:
        words = symmetry_words(item.symmetry, holes=bool(item.holes_mm))
        shape_written = bool(item.shapes) and item.shapes[0] is not None and item.shapes[0].written
        offered = offer and item.symmetry.moved_mm is None and not shape_written
        lines.append(f"outline is {words}{_offer(offered, '--symmetric')}")
    return lines


def shape_words(shape: IdealShape) -> str:
    """Return a shape's name, sizes and standard deviations."""
    sizes, sd = shape.sizes_mm, shape.sd_mm
    if shape.kind == "circle":
        words = f"a circle, diameter {sizes['diameter']:.3f} mm"
    elif shape.kind == "regular polygon":
        words = f"a regular polygon of {shape.sides} sides, inscribed circle {sizes['inscribed_diameter']:.3f} mm"
    else:
        words = f"a {shape.kind}, {sizes['length']:.3f} x {sizes['width']:.3f} mm"
    if "corner_radius" in sizes:
        words += f", corner radius {sizes['corner_radius']:.3f} mm"
    spread = ", ".join(f"{value:.4f}" for value in sd.values())
    done = "; written so" if shape.written else ""
    return f"{words} (sd of the fit {spread} mm; edge within {shape.deviation_mm:.3f} mm of it{done})"


def symmetry_words(symmetry: Symmetry, *, holes: bool) -> str:
    """Return what leaves the outline where it is, and how nearly."""
    parts, off = [], [*symmetry.axis_deviations_mm]
    if symmetry.turns > 1:
        parts.append("by half a turn" if symmetry.turns == 2 else f"by 1/{symmetry.turns} of a turn")
        off.append(symmetry.turn_deviation_mm)
    if symmetry.axes_deg:
        angles = ", ".join(f"{angle:.1f}" for angle in symmetry.axes_deg[:2])
        more = f" and {len(symmetry.axes_deg) - 2} more" if len(symmetry.axes_deg) > 2 else ""
        parts.append(f"about {'axes' if len(symmetry.axes_deg) > 1 else 'an axis'} at {angles}{more} degrees")
    words = f"symmetric {' and '.join(parts)} (within {max(off):.3f} mm of its image"
    if symmetry.moved_mm is not None:
        words += f"; written exactly so, up to {symmetry.moved_mm:.3f} mm from the measured edge"
    return words + (")" if symmetry.with_holes or not holes else "; its holes are not)")


def _ring_name(number: int) -> str:
    return "outline" if number == 0 else f"hole {number}"


def _offer(offered: bool, option: str) -> str:
    return f"; {option} writes it so" if offered else ""
