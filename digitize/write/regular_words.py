"""What is regular about an item, in words: its ideal shapes and its symmetry."""

from __future__ import annotations

from collections.abc import Sequence

from ..records import IdealShape, Item, ShapeKind, Symmetry

_MOST_HOLES = 6
_MOST_LINES = 12


def regular_lines(item: Item, *, offer: bool = False, detailed: bool = True) -> list[str]:
    """Return a sentence for the outline and each hole that is an ideal shape, and one for the symmetry.

    Parameters
    ----------
    offer
        Name the option that would write what has only been recognised.
    detailed
        Also the standard deviations of the fit.
    """
    lines = [
        f"{_ring_name(number)} is {shape_words(shape, detailed=detailed)}"
        f"{_offer(offer and not shape.written, '--ideal')}"
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


def regular_summary(items: Sequence[Item], *, detailed: bool = False) -> list[str]:
    """Return what is regular about several items, like things in one line; one item's in full.

    Every item's own figures stand in the document and on the drawing.
    """
    if len(items) == 1:
        return [f"{items[0].name} {line}" for line in regular_lines(items[0], offer=True, detailed=detailed)]
    shapes: dict[tuple[str, ShapeKind, int | None, bool], list[tuple[str, IdealShape]]] = {}
    symmetries: dict[bool, list[tuple[str, Symmetry]]] = {}
    for item in items:
        for number, shape in enumerate(item.shapes):
            if shape is not None:
                key = (_ring_name(number), shape.kind, shape.sides, shape.written)
                shapes.setdefault(key, []).append((item.name, shape))
        if item.symmetry is not None:
            shape_written = bool(item.shapes) and item.shapes[0] is not None and item.shapes[0].written
            offered = item.symmetry.moved_mm is None and not shape_written
            symmetries.setdefault(offered, []).append((item.name, item.symmetry))
    lines = [
        f"{ring} of {some_names([n for n, _ in found], len(items))} is {_shapes_words([one for _, one in found])}"
        for (ring, *_), found in sorted(shapes.items(), key=lambda pair: _number(pair[0][0]))
    ]
    if len(lines) > _MOST_LINES:
        lines = [*lines[:_MOST_LINES], f"and {len(lines) - _MOST_LINES} more kinds of holes (in the JSON)"]
    for offered, found in symmetries.items():
        names = some_names([name for name, _ in found], len(items))
        off = max(_off(symmetry) for _, symmetry in found)
        offer = _offer(offered, "--symmetric")
        lines.append(f"outline of {names} is symmetric (within {off:.3f} mm of its image){offer}")
    return lines


def some_names(names: Sequence[str], of: int) -> str:
    """Return the names of those of `of` items that something is said of, in few words."""
    if len(names) == of > 1:
        return "all items"
    shown = ", ".join(names[:3])
    return shown if len(names) <= 3 else f"{shown} and {len(names) - 3} more"


def _number(ring: str) -> int:
    return 0 if ring == "outline" else int(ring.removeprefix("hole "))


def _shapes_words(shapes: Sequence[IdealShape]) -> str:
    """Return the name of shapes of one kind with the span of each of their sizes."""
    one = shapes[0]
    sizes = [f"{name.replace('_', ' ')} {_span([s.sizes_mm[name] for s in shapes])} mm" for name in one.sizes_mm]
    kind = f"regular polygon of {one.sides} sides" if one.kind == "regular polygon" else one.kind
    within = max(shape.deviation_mm for shape in shapes)
    done = "; written so" if one.written else ""
    words = f"a {kind}, {', '.join(sizes)} (edge within {within:.3f} mm of it{done})"
    return words + _offer(not one.written, "--ideal")


def _span(values: Sequence[float]) -> str:
    low, high = f"{min(values):.3f}", f"{max(values):.3f}"
    return low if low == high else f"{low} to {high}"


def shape_words(shape: IdealShape, *, detailed: bool = True) -> str:
    """Return a shape's name and sizes, and their standard deviations."""
    sizes, sd = shape.sizes_mm, shape.sd_mm
    if shape.kind == "circle":
        words = f"a circle, diameter {sizes['diameter']:.3f} mm"
    elif shape.kind == "regular polygon":
        words = f"a regular polygon of {shape.sides} sides, inscribed circle {sizes['inscribed_diameter']:.3f} mm"
    else:
        words = f"a {shape.kind}, {sizes['length']:.3f} x {sizes['width']:.3f} mm"
    if "corner_radius" in sizes:
        words += f", corner radius {sizes['corner_radius']:.3f} mm"
    spread = f"sd of the fit {', '.join(f'{value:.4f}' for value in sd.values())} mm; " if detailed else ""
    done = "; written so" if shape.written else ""
    return f"{words} ({spread}edge within {shape.deviation_mm:.3f} mm of it{done})"


def symmetry_words(symmetry: Symmetry, *, holes: bool) -> str:
    """Return what leaves the outline where it is, and how nearly."""
    parts = []
    if symmetry.turns > 1:
        parts.append("by half a turn" if symmetry.turns == 2 else f"by 1/{symmetry.turns} of a turn")
    if symmetry.axes_deg:
        angles = ", ".join(f"{angle:.1f}" for angle in symmetry.axes_deg[:2])
        more = f" and {len(symmetry.axes_deg) - 2} more" if len(symmetry.axes_deg) > 2 else ""
        parts.append(f"about {'axes' if len(symmetry.axes_deg) > 1 else 'an axis'} at {angles}{more} degrees")
    words = f"symmetric {' and '.join(parts)} (within {_off(symmetry):.3f} mm of its image"
    if symmetry.moved_mm is not None:
        words += f"; written exactly so, up to {symmetry.moved_mm:.3f} mm from the measured edge"
    return words + (")" if symmetry.with_holes or not holes else "; its holes are not)")


def _off(symmetry: Symmetry) -> float:
    """Return how far the outline lies from its image at worst."""
    turned = [symmetry.turn_deviation_mm] if symmetry.turns > 1 else []
    return max([*symmetry.axis_deviations_mm, *turned])


def _ring_name(number: int) -> str:
    return "outline" if number == 0 else f"hole {number}"


def _offer(offered: bool, option: str) -> str:
    return f"; {option} writes it so" if offered else ""
