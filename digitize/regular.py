"""What is regular about an item: ideal shapes and symmetry, told and, where asked for, written."""

from __future__ import annotations

from dataclasses import dataclass, replace

from digitize.fitting.shapes import Shape, recognise
from digitize.fitting.symmetrise import largest_move, symmetric_curve, symmetrised_rings
from digitize.fitting.symmetry import symmetries
from digitize.records import Circle, Curve, Finding, FloatArray, Pocket, Symmetry


@dataclass(frozen=True, slots=True)
class Regular:
    """What was recognised of an item's rings."""

    shapes: tuple[Shape | None, ...]  # exterior first
    symmetry: Symmetry | None  # None: there is none, or the exterior is a circle


def look(rings_mm: tuple[FloatArray, ...], *, tolerance_mm: float) -> Regular:
    """Recognise ideal shapes that explain an item's rings within the tolerance, and the exterior's symmetry."""
    shapes = tuple(recognise(ring, uncertainty_mm=tolerance_mm) for ring in rings_mm)
    if shapes[0] is not None and shapes[0].kind == "circle":
        return Regular(shapes, None)
    found = symmetries(rings_mm[0], tolerance_mm=tolerance_mm, holes_mm=rings_mm[1:])
    return Regular(shapes, found if found.turns > 1 or found.axes_deg else None)


def evened(rings_mm: tuple[FloatArray, ...], symmetry: Symmetry | None) -> tuple[FloatArray, ...]:
    """Return the rings made symmetric, as far as they have a symmetry."""
    return rings_mm if symmetry is None else symmetrised_rings(rings_mm, symmetry)


def even_curve(curve: Curve, symmetry: Symmetry, *, tolerance_mm: float) -> Curve:
    """Return a path fitted to an evened ring made exactly symmetric; as it is where that would move it too far."""
    return symmetric_curve(curve, symmetry, within_mm=2 * tolerance_mm) or curve


def even_pocket(pocket: Pocket, symmetry: Symmetry, *, tolerance_mm: float) -> Pocket:
    """Return a pocket whose outer path is exactly symmetric, unless something hangs on where it runs."""
    if pocket.leads or pocket.reliefs or pocket.notches or pocket.plug_top or len(pocket.curves) != 1:
        return pocket
    return replace(pocket, curves=(even_curve(pocket.curves[0], symmetry, tolerance_mm=tolerance_mm),))


def with_move(symmetry: Symmetry, path: Curve, ring_mm: FloatArray) -> Symmetry:
    """Return the symmetry with the largest distance of the path written from the measured ring."""
    return replace(symmetry, moved_mm=largest_move(path, ring_mm))


def about_ideal(shapes: tuple[Shape | None, ...], tolerance_mm: float) -> tuple[Finding, ...]:
    """What is to be said where ideal shapes were asked for."""
    if shapes[0] is not None:
        return ()
    text = (
        f"--ideal: the outline is no circle, rectangle, slot or regular polygon within {tolerance_mm:g} mm: "
        "it is written as measured."
    )
    return (Finding("no-ideal-shape", text, limit=tolerance_mm, attention=False),)


def about_symmetry(symmetry: Symmetry | None, path: Curve, tolerance_mm: float) -> tuple[Finding, ...]:
    """What is to be said where a symmetric outline was asked for."""
    if symmetry is None and not isinstance(path, Circle):
        text = (
            f"--symmetric: the outline has no symmetry within {2 * tolerance_mm:g} mm of its own image: "
            "it is written as measured."
        )
        return (Finding("no-symmetry", text, limit=2 * tolerance_mm, attention=False),)
    if symmetry is None or symmetry.moved_mm is None:
        return ()
    holes = "" if symmetry.with_holes else "; its holes, which do not share the symmetry, stay where they were measured"
    text = (
        f"--symmetric: the path written lies up to {symmetry.moved_mm:.3f} mm from the measured edge{holes}. "
        "The geometry in the JSON is as measured."
    )
    return (Finding("made-symmetric", text, value=symmetry.moved_mm, attention=False),)
