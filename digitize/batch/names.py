"""Names of the results: the folders of the pictures are mirrored, and no two pictures share a name.

``scan.png`` and ``scan.jpg`` in one folder become ``scan_png.*`` and ``scan_jpg.*``. A name that the ledger holds is
kept, so that a picture that comes later takes another and nothing is renamed.
"""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import PurePosixPath

from ..files import folded, safe_name, safe_stem

RESERVED = ("summary.csv", "attention.csv", "contact.html")  # stand beside the mirrored folders
ENDINGS = (".json", ".dxf", ".svg", ".pdf", ".proof.pdf", ".check.png")  # of what is written


@dataclass(frozen=True, slots=True)
class Place:
    """Where a picture's results go."""

    folder: str  # below the results' folder, with /; "" is the folder itself
    stem: str


def places_for(
    keys: Iterable[str], kept: Mapping[str, Place], *, inputs_beside: Iterable[str] = ()
) -> dict[str, Place]:
    """Return a place for every key, all different also where capitals, or ways to put an accent, are not told apart.

    Parameters
    ----------
    keys
        Paths below the batch's folder, or whole paths or addresses, which go to the results' own folder.
    kept
        Places given before.
    inputs_beside
        Paths below the results' folder of pictures that lie there: no result may have the name of one.
    """
    keys = list(keys)
    taken = {_folded(place) for place in kept.values()}
    inputs = set(map(folded, inputs_beside))
    wishes = {key: natural(key) for key in keys if key not in kept}
    crowd = Counter(_folded(place) for place in wishes.values())
    places = {key: kept[key] for key in keys if key in kept}
    for key, wish in wishes.items():
        first = crowd[_folded(wish)] == 1
        for place in _candidates(key, wish, first=first):
            if _folded(place) not in taken and not _hits(place, inputs):
                places[key] = place
                taken.add(_folded(place))
                break
    return places


def natural(key: str) -> Place:
    """Return the place a picture has when no other is in its way."""
    outside = "://" in key or os.path.isabs(key)
    folders = () if outside else PurePosixPath(key).parent.parts
    safe = [f"{part}_" if part.casefold() in RESERVED else part for part in map(safe_name, folders)]
    return Place("/".join(safe), safe_stem(PurePosixPath(key).stem))


def _candidates(key: str, wish: Place, *, first: bool) -> Iterator[Place]:
    if first:
        yield wish
    stem = f"{wish.stem}_{safe_name(PurePosixPath(key).suffix)}" if PurePosixPath(key).suffix else wish.stem
    if stem != wish.stem:
        yield Place(wish.folder, stem)
    for number in range(2, 1_000_000):
        yield Place(wish.folder, f"{stem}_{number}")


def _folded(place: Place) -> tuple[str, str]:
    return folded(place.folder), folded(place.stem)


def _hits(place: Place, inputs: set[str]) -> bool:
    below = f"{place.folder}/{place.stem}".lstrip("/")
    return any(folded(below + ending) in inputs for ending in ENDINGS)
