"""Pockets that stay where they are while others are laid anew, and how many of a kind there are to be."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace

from .check import needed_web_mm, openings
from .layout import placed
from .plate import Place, Plate

_ROUNDING_MM = 0.001  # of places and of chords


def beside(plate: Plate, kept: Sequence[Place]) -> Plate:
    """Return a plate with some places that stay, then those of its own that leave the web between them."""
    import shapely

    if not kept:
        return plate
    stay = placed(plate, kept).places
    _, regions = openings(replace(plate, places=(*stay, *plate.places), holes=()))
    tree = shapely.STRtree(regions[: len(stay)])
    own = regions[len(stay) :]
    near, _ = tree.query(own, predicate="dwithin", distance=needed_web_mm(plate) - _ROUNDING_MM)
    in_the_way = set(near.tolist())
    return replace(
        plate, places=(*stay, *(place for number, place in enumerate(plate.places) if number not in in_the_way))
    )


def at_most(plate: Plate, counts: Mapping[str, int]) -> Plate:
    """Return a plate with no more pockets of a kind than are wanted, the first of them; of others all.

    >>> from digitize.plate.plate import Place, Plate
    >>> places = (Place("a", 1.0, 1.0, 0.0), Place("a", 2.0, 1.0, 0.0))
    >>> two = Plate("a", (90.0, 50.0), (90.0, 50.0), "top-left", None, 5.0, (), places)
    >>> len(at_most(two, {"a": 1}).places), len(at_most(two, {"b": 1}).places)
    (1, 2)
    """
    so_far: Counter[str] = Counter()
    found = []
    for place in plate.places:
        so_far[place.kind] += 1
        if so_far[place.kind] <= counts.get(place.kind, len(plate.places)):
            found.append(place)
    return replace(plate, places=tuple(found))
