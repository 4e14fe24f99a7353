"""What an item's outline owes to each unknown of the camera: the covariance carried to its place.

The covariance is split into independent parts in a fixed order: what the focal length moves (everything else
following as it is correlated), then lens and principal point, then the pose and the print. Their squares add up to
the whole. An outline may lie anywhere, so a shift and a turn of all of it are no error and are taken out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..records import Contribution, FloatArray
from .estimate import CameraEstimate
from .scale import CameraScale

_MOST_POINTS = 240
_GROUPS = (("focal length", (0,)), ("lens", (1, 2, 3, 4, 7)), ("pose", None))


@dataclass(frozen=True, slots=True)
class SeenRing:
    """A ring's places in the picture and the plane that each was mapped on."""

    points_px: FloatArray  # (N, 2)
    height_mm: FloatArray  # (N,)


def item_budget(
    estimate: CameraEstimate, rings: tuple[SeenRing, ...], *, height_within_mm: float | None
) -> tuple[Contribution, ...]:
    """Budget lines of one item.

    Parameters
    ----------
    estimate
        The camera.
    rings
        Exterior first, then holes.
    height_within_mm
        How well the height is known that the planes come from, either way; None where there is none.
    """
    places = _Places.of(estimate.scale, rings)
    lines = []
    for name, columns in _independent_steps(estimate.solution.covariance):
        errors = [places.error(_moved(estimate, step)) for step in columns]
        lines.append(places.contribution(name, errors, _note(name, estimate)))
    if height_within_mm is not None:
        # evenly distributed (JCGM 100, 4.3.7)
        raised = places.error(estimate.scale, lift_mm=height_within_mm / np.sqrt(3.0))
        note = f"known to {height_within_mm:g} mm either way"
        lines.append(places.contribution("item height", [raised], note))
    return tuple(lines)


def _note(name: str, estimate: CameraEstimate) -> str:
    if name == "focal length":
        return f"{estimate.start_lens.words}; {100 * estimate.solution.focal_sd_part:.2g} % after the fit"
    return "print's shape included" if name == "pose" else ""


def _independent_steps(covariance: FloatArray) -> list[tuple[str, list[FloatArray]]]:
    """Independent steps of all unknowns, one standard deviation each, in the order of `_GROUPS`."""
    size = len(covariance)
    rest = covariance.copy()
    found = []
    for name, own in _GROUPS:
        columns = []
        for k in own if own is not None else range(5, size):
            if rest[k, k] > 1e-30:
                step = rest[:, k] / np.sqrt(rest[k, k])
                columns.append(step)
                rest = rest - np.outer(step, step)
                rest[k, :] = rest[:, k] = 0.0
        found.append((name, columns))
    return found


def _moved(estimate: CameraEstimate, step: FloatArray) -> CameraScale:
    model = estimate.solution.model.moved(step)
    return CameraScale(model.lens, model.poses[0])


@dataclass(frozen=True, slots=True)
class _Places:
    """Thinned places of an item with their normals in the card frame."""

    points_px: FloatArray
    height_mm: FloatArray
    points_mm: FloatArray
    normals: FloatArray

    @classmethod
    def of(cls, scale: CameraScale, rings: tuple[SeenRing, ...]) -> _Places:
        total = sum(len(r.points_px) for r in rings)
        stride = max(1, total // _MOST_POINTS)
        px, height, mm, normals = [], [], [], []
        for ring in rings:
            points = _mapped(scale, ring.points_px, ring.height_mm)
            along = np.roll(points, -3, axis=0) - np.roll(points, 3, axis=0)
            normal = np.column_stack([along[:, 1], -along[:, 0]])
            normal /= np.maximum(np.linalg.norm(normal, axis=1), 1e-12)[:, None]
            px.append(ring.points_px[::stride])
            height.append(ring.height_mm[::stride])
            mm.append(points[::stride])
            normals.append(normal[::stride])
        return cls(np.concatenate(px), np.concatenate(height), np.concatenate(mm), np.concatenate(normals))

    def error(self, scale: CameraScale, *, lift_mm: float = 0.0) -> FloatArray:
        """Movement (N, 2) of the places under another scale, freed of shift and turn."""
        is_raised = self.height_mm > 0  # what is seen of an upright wall's foot stays on the ground
        height = self.height_mm + lift_mm * (is_raised if is_raised.any() else 1.0)
        moved = _mapped(scale, self.points_px, height) - self.points_mm
        return _freed(self.points_mm, moved)

    def contribution(self, name: str, errors: list[FloatArray], note: str) -> Contribution:
        """Root sum of squares over independent errors: along the normals, and of a length as long as the longer side.

        Width and height err by parts of their own; the mean square of both parts is taken.
        """
        across = sum(((e * self.normals).sum(axis=1) ** 2).mean() for e in errors)
        low, high = self.points_mm.argmin(axis=0), self.points_mm.argmax(axis=0)
        extent = np.maximum(np.ptp(self.points_mm, axis=0), 1e-9)
        parts = [(e[high[k], k] - e[low[k], k]) / extent[k] for e in errors for k in range(2)]
        length = float(extent.max()) * math.hypot(*parts) / np.sqrt(2.0)
        return Contribution(name, float(np.sqrt(across)), float(length), note=note, acts="with length")


def _mapped(scale: CameraScale, points_px: FloatArray, height_mm: FloatArray) -> FloatArray:
    """Map each place on its own plane."""
    mm = np.empty_like(points_px)
    for height in np.unique(height_mm):
        on = height_mm == height
        mm[on] = scale.at_height(float(height)).to_mm(points_px[on])
    return mm


def _freed(points: FloatArray, moved: FloatArray) -> FloatArray:
    """Take the best shift and turn out of a movement."""
    arm = points - points.mean(axis=0)
    moved = moved - moved.mean(axis=0)
    around = np.column_stack([-arm[:, 1], arm[:, 0]])
    turn = float((around * moved).sum() / max(float((around**2).sum()), 1e-12))
    return np.asarray(moved - turn * around)
