"""What is said where no disc will do as a reference: what was seen, why it will not do, and how to go on."""

from __future__ import annotations

from ..records import Density, FloatArray
from ..settings import Pair

Seen = tuple[FloatArray, Pair]  # middle (2,) px, and px across along rows and columns

_ADVICE = (
    "Lay one round disc flat beside the item, its whole edge to be seen, at least 25 px across, well inside the "
    "picture and clear of the item."
)
IN_PHOTO = (
    "--disc is for scans: a circle alone does not tell from where a photo was taken. Scan disc and item, or lay the "
    "printed card (digitize card) or a plain square (--square 50) beside the item; if this is a scan, say --flatbed."
)


def no_disc(refused: list[tuple[FloatArray, float, str]], diameter_mm: float) -> str:
    """Say what was seen instead of a disc.

    Parameters
    ----------
    refused
        What is nearly one, largest first: its middle, how many px across, and what is wrong with it.
    diameter_mm
        What was said.
    """
    if not refused:
        return f"Nothing round was found that the disc of {diameter_mm:g} mm can be. {_ADVICE}"
    (x, y), across, why = refused[0]
    return (
        f"No disc fit to measure by was found: the nearest to one, at {x:.0f},{y:.0f} px and about {across:.0f} px "
        f"across, {why}. {_ADVICE}"
    )


def disc_not_there(place_px: Pair, seen: list[Seen], density: Density | None) -> str:
    """Say that no disc lies where the user pointed, and where there are some."""
    return (
        f"No disc was found at {place_px[0]:g},{place_px[1]:g} px. Seen in the picture: {_listed(seen, density)}. "
        "Point inside the right one with --square-at X,Y."
    )


def several_discs(seen: list[Seen], density: Density | None) -> str:
    """Say which round things were seen where only one can be meant."""
    return (
        f"{len(seen)} round things in the picture may be the disc; none was picked: {_listed(seen, density)}. Point at "
        "the right one with --square-at X,Y, or cover the others."
    )


def _listed(seen: list[Seen], density: Density | None) -> str:
    """Places and sizes."""
    lines = []
    for (x, y), (wide, high) in seen:
        size = f"{wide:.0f} x {high:.0f} px"
        if density is not None:
            mean = 0.5 * (wide / density.x_px_per_mm + high / density.y_px_per_mm)
            size += f" (about {mean:.1f} mm across by the file's density)"
        lines.append(f"at {x:.0f},{y:.0f} px: {size}")
    return "; ".join(lines)
