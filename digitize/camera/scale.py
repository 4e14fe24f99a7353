"""The mapping between a photo and planes parallel to the card."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from ..records import FloatArray
from ..steady import norm, product
from .lens import Lens
from .pose import Pose

_LEAST_SLOPE = 1e-3  # of a line of sight to the plane: what looks above the horizon is mapped far away, not behind


@dataclass(frozen=True, slots=True)
class CameraScale:
    """Lens and pose over the plane `height_mm` above the card."""

    lens: Lens
    pose: Pose
    height_mm: float = 0.0
    top_mm: float = 0.0  # how high the items' outlines lie above the card, for the view of their plan

    @property
    def kind(self) -> Literal["flatbed", "camera"]:
        """Always "camera"."""
        return "camera"

    def at_height(self, height_mm: float) -> CameraScale:
        """Return the mapping on the plane z = `height_mm` of the card frame."""
        return replace(self, height_mm=height_mm)

    def to_mm(self, points_px: FloatArray) -> FloatArray:
        """Map (N, 2) px to (N, 2) mm in the plane frame."""
        directions = self.lens.to_directions(np.asarray(points_px, dtype=np.float64))
        rays = product(np.column_stack([directions, np.ones(len(directions))]), self.pose.rotation)
        eye = self.pose.eye_mm
        down = np.minimum(rays[:, 2], -_LEAST_SLOPE)
        return np.asarray(eye[:2] + rays[:, :2] * ((self.height_mm - eye[2]) / down)[:, None])

    def to_px(self, points_mm: FloatArray) -> FloatArray:
        """Map (N, 2) mm in the plane frame to (N, 2) px."""
        turn = self.pose.rotation
        seen = product(np.asarray(points_mm), turn[:, :2].T) + (self.pose.shift_mm + self.height_mm * turn[:, 2])
        return self.lens.to_px(seen[:, :2] / seen[:, 2:])

    @property
    def distance_mm(self) -> float:
        """How high the camera stands above this plane."""
        return float(self.pose.eye_mm[2]) - self.height_mm

    def mm_per_px_at(self, place_px: FloatArray) -> tuple[float, float]:
        """Scale along the picture's rows and columns near a place (2,)."""
        step = np.array([[-0.5, 0.0], [0.5, 0.0], [0.0, -0.5], [0.0, 0.5]])
        left, right, up, down = self.to_mm(place_px + step)
        return norm(right - left), norm(down - up)
