"""Which places of a result deserve a look, worst first."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from digitize.records import FloatArray, Item, Result

MOST = 3
APART_PX = 60.0


@dataclass(frozen=True, slots=True)
class Place:
    """A place in the picture and why to look there."""

    at_px: tuple[float, float]
    why: str


def worst_places(result: Result) -> list[Place]:
    """Return up to three places, at least 60 px apart: where findings point, then where the edge is least sure."""
    found: list[Place] = []
    for place in [*_pointed_at(result), *_least_sure(result)]:
        if len(found) < MOST and all(np.hypot(*np.subtract(place.at_px, f.at_px)) >= APART_PX for f in found):
            found.append(place)
    return found


def _pointed_at(result: Result) -> list[Place]:
    pointed = [f for f in result.all_findings if f.place_px is not None]
    pointed.sort(key=lambda finding: not finding.attention)  # stable: else in the order of the result
    return [Place(f.place_px, f.code.replace("-", " ")) for f in pointed if f.place_px is not None]


def _least_sure(result: Result) -> list[Place]:
    """Return the least sure place of every contour, the least sure first, then their second, then their third."""
    found = [candidate for n, item in enumerate(result.items, 1) for candidate in _of_item(n, item, result)]
    return [place for _, _, place in sorted(found, key=lambda candidate: candidate[:2])]


def _of_item(number: int, item: Item, result: Result) -> list[tuple[int, float, Place]]:
    um_per_px = 500.0 * sum(result.scale.mm_per_px)
    found: list[tuple[int, float, Place]] = []
    for contour in item.contours:
        for rank, index in enumerate(_peaks(contour.sd_px)):
            x, y = contour.points_px[index].tolist()
            sd = float(contour.sd_px[index])
            found.append((rank, -sd, Place((x, y), f"item {number}, least sure edge: sd {sd * um_per_px:.1f} um")))
    return found


def _peaks(sd_px: FloatArray) -> list[int]:
    """Return the highest places of as many equal stretches of a contour as there are windows, highest first."""
    stretches = np.array_split(np.arange(len(sd_px)), MOST)
    peaks = [int(stretch[np.argmax(sd_px[stretch])]) for stretch in stretches if len(stretch)]
    return sorted(peaks, key=lambda index: -float(sd_px[index]))
