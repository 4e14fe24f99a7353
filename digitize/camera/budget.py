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
from ..steady import least_squares
from .estimate import CameraEstimate
from .scale import CameraScale

_MOST_POINTS = 240  # round all items, at which a card's errors are carried over to them
_GROUPS = (("focal length", (0,)), ("lens", (1, 2, 3, 4, 7)), ("pose", None))


@dataclass(frozen=True, slots=True)
class MixedCorner:
    """A sharp corner between a wall that is seen and one that is not: of the sides one moves with the item's height."""

    place_mm: FloatArray  # (2,)
    moved_mm: FloatArray  # (2, 2): where to, if the height is less, and if it is more, by all that was said


@dataclass(frozen=True, slots=True)
class SeenRing:
    """A ring's places in the picture and the plane that each was mapped on."""

    points_px: FloatArray  # (N, 2)
    height_mm: FloatArray  # (N,)
    mixed: tuple[MixedCorner, ...] = ()


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
        lines += _at_corners(estimate.scale, rings, places, height_within_mm)
    return tuple(lines)


def _at_corners(
    scale: CameraScale, rings: tuple[SeenRing, ...], places: _Places, within_mm: float
) -> tuple[Contribution, ...]:
    """What a wrong height does at mixed corners, where it does more there than elsewhere.

    Where both sides are seen on one plane the corner moves with them. Where one is not, that side stays and the other
    moves by d: the corner of the two, of an angle a, moves by d / sin a along the side that stays, far at a sharp tip.
    """
    corners = [corner for ring in rings for corner in ring.mixed]
    if not corners:
        return ()
    at = np.array([corner.place_mm for corner in corners])
    tip, more = 0.0, np.zeros(2)
    for way, lift in enumerate((-within_mm, within_mm)):
        moved = places.moved(scale, lift)
        motion = _Motion.of_edges(places.points_mm, places.normals, moved)
        sides = motion.freed(places.points_mm, moved)
        tips = motion.freed(at, np.array([corner.moved_mm[way] for corner in corners]))
        if (off := _longest(tips)) > _longest(sides):
            tip = max(tip, off)
            # the extents, of which a corner may be an end
            ends = _stretched(np.vstack([places.points_mm, at]), np.vstack([sides, tips]))
            more = np.maximum(more, np.abs(ends - _stretched(places.points_mm, sides)))
    if not tip:
        return ()
    even = np.sqrt(3.0)  # JCGM 100, 4.3.7
    note = "a wall that is seen meets one that is not"
    name = "item height at corners"
    return (Contribution(name, float(tip / even), float(more.max() / even), note=note, acts="side by side"),)


def _longest(moved: FloatArray) -> float:
    return float(np.hypot(moved[:, 0], moved[:, 1]).max())


def _stretched(points: FloatArray, moved: FloatArray) -> FloatArray:
    """How much longer a movement makes the extent along x and y."""
    low, high = points.argmin(axis=0), points.argmax(axis=0)
    return np.array([moved[high[k], k] - moved[low[k], k] for k in range(2)])


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
        moved = self.moved(scale, lift_mm)
        return _Motion.of(self.points_mm, moved).freed(self.points_mm, moved)

    def moved(self, scale: CameraScale, lift_mm: float) -> FloatArray:
        """Movement (N, 2) of the places under another scale, and with what is raised lifted."""
        is_raised = self.height_mm > 0  # what is seen of an upright wall's foot stays on the ground
        height = self.height_mm + lift_mm * (is_raised if is_raised.any() else 1.0)
        return _mapped(scale, self.points_px, height) - self.points_mm

    def contribution(self, name: str, errors: list[FloatArray], note: str) -> Contribution:
        """Root sum of squares over independent errors: along the normals, and of a length as long as the longer side.

        Width and height err by parts of their own; the mean square of both parts is taken.
        """
        across = sum(((e * self.normals).sum(axis=1) ** 2).mean() for e in errors)
        extent = np.maximum(np.ptp(self.points_mm, axis=0), 1e-9)
        parts = [part for e in errors for part in (_stretched(self.points_mm, e) / extent).tolist()]
        length = float(extent.max()) * math.hypot(*parts) / np.sqrt(2.0)
        return Contribution(name, float(np.sqrt(across)), float(length), note=note, acts="with length")


def _mapped(scale: CameraScale, points_px: FloatArray, height_mm: FloatArray) -> FloatArray:
    """Map each place on its own plane."""
    mm = np.empty_like(points_px)
    for height in np.unique(height_mm):
        on = height_mm == height
        mm[on] = scale.at_height(float(height)).to_mm(points_px[on])
    return mm


@dataclass(frozen=True, slots=True)
class _Motion:
    """The best shift and turn of a movement."""

    middle: FloatArray
    shift: FloatArray
    turn: float

    @classmethod
    def of(cls, points: FloatArray, moved: FloatArray) -> _Motion:
        middle, shift = points.mean(axis=0), moved.mean(axis=0)
        arm = points - middle
        around = np.column_stack([-arm[:, 1], arm[:, 0]])
        turn = float((around * (moved - shift)).sum() / max(float((around**2).sum()), 1e-12))
        return cls(middle, shift, turn)

    @classmethod
    def of_edges(cls, points: FloatArray, normals: FloatArray, moved: FloatArray) -> _Motion:
        """Of outlines laid on one another, of which it is no matter how far they move along themselves."""
        middle = points.mean(axis=0)
        arm = points - middle
        around = arm[:, 0] * normals[:, 1] - arm[:, 1] * normals[:, 0]
        x, y, turn = least_squares(np.column_stack([normals, around]), (moved * normals).sum(axis=1)).tolist()
        return cls(middle, np.array([x, y]), turn)

    def freed(self, points: FloatArray, moved: FloatArray) -> FloatArray:
        """Take them out of the movement of some places."""
        arm = points - self.middle
        around = np.column_stack([-arm[:, 1], arm[:, 0]])
        return np.asarray(moved - self.shift - self.turn * around)
