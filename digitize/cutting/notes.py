"""What a person has to know before cutting, a sentence each, for the files and the screen."""

from __future__ import annotations

from ..records import Pocket
from .former import plug_for
from .ways import OF_WAY, Cutting


def notes_for(pocket: Pocket, cutting: Cutting) -> tuple[str, ...]:
    """Return the notes of one pocket."""
    found = [_way(cutting), _typical(cutting), _of_way(pocket, cutting), _notches(pocket), _pins(pocket)]
    return tuple(note for note in found if note)


def _way(cutting: Cutting) -> str:
    if cutting.way is None:
        return ""
    known = [cutting.said(name) for name in OF_WAY[cutting.way] if name not in cutting.typical]
    return f"Cut by {cutting.way}" + (f": {', '.join(known)}." if known else ".")


def _typical(cutting: Cutting) -> str:
    # without a way, a clearance that nobody said is none: nothing typical about it
    names = [name for name in cutting.typical if cutting.way is not None or name != "clearance_mm"]
    return f"Typical, test first: {', '.join(cutting.said(name) for name in names)}." if names else ""


def _of_way(pocket: Pocket, cutting: Cutting) -> str:
    if cutting.way == "laser" and pocket.leads:
        return "Each lead-in ends where its path begins, on the waste side: cut them as one line, the lead-in first."
    if cutting.way == "router":
        return _router(pocket, cutting)
    if cutting.way == "knife" and cutting.least_radius_mm > 0:
        return (
            f"No bend is tighter than {cutting.least_radius_mm:g} mm; where the item bends more, the pocket is wider. "
            "Sharp corners are for two strokes, each begun at the corner."
        )
    if cutting.way == "print3d":
        return (
            f"The first layer spreads by about {cutting.first_layer_mm:g} mm and makes the pocket smaller there: print "
            f"it with the opening up, or chamfer the lowest edge by {cutting.first_layer_mm:g} mm, or use the slicer's "
            "correction."
        )
    if cutting.way == "former":
        plug = plug_for(cutting)
        return (
            f"POCKET is the foot of the plug, NOTE its top {plug.height_mm:.2f} mm higher; the sheet is drawn over it. "
            f"All is {plug.scale:.5f} times the cold pocket, which is as wide as item and clearance at its floor."
        )
    return ""


def _router(pocket: Pocket, cutting: Cutting) -> str:
    words = (
        f"POCKET is the way of the centre of a cutter of {cutting.cutter_mm:g} mm: switch the machine's own offset off."
    )
    if pocket.reliefs:
        words += f" {len(pocket.reliefs)} corners are relieved ({cutting.relief})."
    if pocket.uncut:
        area, depth = sum(one.area_mm2 for one in pocket.uncut), max(one.depth_mm for one in pocket.uncut)
        words += f" Left uncut: {area:.2f} mm2 in {len(pocket.uncut)} places, at worst {depth:.2f} mm deep (on NOTE)."
    return words


def _notches(pocket: Pocket) -> str:
    if not pocket.notches:
        return ""
    angles = ", ".join(f"{notch.angle_deg:.0f}" for notch in pocket.notches)
    return f"Finger notches {pocket.notches[0].width_mm:g} mm wide at {angles} degrees."


def _pins(pocket: Pocket) -> str:
    if not pocket.pins:
        return ""
    sizes = ", ".join(f"{2 * pin.radius_mm:.2f}" for pin in pocket.pins)
    return f"Pins (layer PIN), diameter {sizes} mm: set them in the base under the sheet."
