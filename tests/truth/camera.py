"""A pinhole camera with a radial lens over the plane z = 0.

World: mm, x right, y up (as on the sheet), z towards the camera. Camera: x right, y down, z forward. A point
(X, Y, Z) of the camera frame goes to (X/Z, Y/Z), is stretched by 1 + k1 r^2 + k2 r^4 + k3 r^6, scaled by the focal
length and moved to the principal point; px as everywhere, (0, 0) the centre of the top-left pixel.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

DIAGONAL_35MM = math.hypot(36.0, 24.0)


@dataclass(frozen=True, eq=False)
class Camera:
    """Pose and lens; `rotation` and `translation` take world points to the camera frame."""

    width_px: int
    height_px: int
    focal_px: float
    principal_px: tuple[float, float]
    k1: float
    k2: float
    rotation: np.ndarray  # (3, 3)
    translation: np.ndarray  # (3,)
    k3: float = 0.0

    @property
    def eye_mm(self):
        """The camera's centre in the world, (3,)."""
        return -self.rotation.T @ self.translation

    @property
    def focal_35mm(self) -> float:
        """Equivalent focal length by the ratio of the diagonals."""
        return self.focal_px * DIAGONAL_35MM / math.hypot(self.width_px, self.height_px)

    def to_px(self, points_mm, z_mm=0.0):
        """Map (N, 2) points at height `z_mm` (a number or (N,)), or (N, 3) points, to px (N, 2)."""
        points = np.asarray(points_mm, float)
        if points.shape[1] == 2:
            points = np.column_stack([points, np.broadcast_to(z_mm, len(points))])
        seen = points @ self.rotation.T + self.translation
        x = seen[:, :2] / seen[:, 2:]
        r2 = (x**2).sum(1, keepdims=True)
        return self.focal_px * x * (1 + self.k1 * r2 + self.k2 * r2**2 + self.k3 * r2**3) + self.principal_px

    def to_plane(self, points_px, z_mm: float = 0.0):
        """Map px (N, 2) to the plane at height `z_mm`, (N, 2) mm."""
        d = (np.asarray(points_px, float) - self.principal_px) / self.focal_px
        ray = np.column_stack([self._straight(d), np.ones(len(d))]) @ self.rotation
        eye = self.eye_mm
        return eye[:2] + ray[:, :2] * ((z_mm - eye[2]) / ray[:, 2:])

    def _straight(self, d):
        """Undo the lens by Newton's method on the radius."""
        target = np.hypot(*d.T)
        r = target.copy()
        for _ in range(20):
            value = r * (1 + self.k1 * r**2 + self.k2 * r**4 + self.k3 * r**6) - target
            r -= value / (1 + 3 * self.k1 * r**2 + 5 * self.k2 * r**4 + 7 * self.k3 * r**6)
        return d * (r / np.maximum(target, 1e-300))[:, None]

    def raised(self, points_mm, z_mm: float):
        """Shadow of (N, 2) points at height `z_mm` on the plane z = 0, seen from the camera: what they hide there."""
        eye = self.eye_mm
        return eye[:2] + (np.asarray(points_mm, float) - eye[:2]) * (eye[2] / (eye[2] - z_mm))


def camera(
    aim_mm=(0.0, 0.0),
    distance_mm: float = 400.0,
    *,
    tilt_deg: float = 0.0,
    tilt_towards_deg: float = 0.0,
    roll_deg: float = 0.0,
    focal_px: float = 3100.0,
    size_px=(4032, 3024),
    principal_shift_px=(0.0, 0.0),
    k1: float = 0.0,
    k2: float = 0.0,
    k3: float = 0.0,
) -> Camera:
    """Return a camera that looks at `aim_mm` of the plane from `distance_mm`.

    It leans away from the vertical by `tilt_deg`, standing off in the direction `tilt_towards_deg` (counter-clockwise
    from x). Untilted and unrolled, the picture's rows run along x.
    """
    a, b, c = np.radians([tilt_deg, tilt_towards_deg, roll_deg])
    away = np.array([math.sin(a) * math.cos(b), math.sin(a) * math.sin(b), math.cos(a)])
    forward = -away
    # Lean about the horizontal axis square to the direction, which keeps x and y as upright as they can be.
    axis = np.array([-math.sin(b), math.cos(b), 0.0])
    right = _turned(np.array([1.0, 0, 0]), axis, a)
    down = np.cross(forward, right)
    right, down = right * math.cos(c) + down * math.sin(c), down * math.cos(c) - right * math.sin(c)
    rotation = np.stack([right, down, forward])
    eye = np.array([*aim_mm, 0.0]) + distance_mm * away
    w, h = size_px
    principal = ((w - 1) / 2 + principal_shift_px[0], (h - 1) / 2 + principal_shift_px[1])
    return Camera(w, h, focal_px, principal, k1, k2, rotation, -rotation @ eye, k3)


def _turned(v, axis, angle: float):
    """Rodrigues' rotation of `v` about the unit `axis`."""
    return v * math.cos(angle) + np.cross(axis, v) * math.sin(angle) + axis * (axis @ v) * (1 - math.cos(angle))
