"""Where the camera stands over the card, and a first guess of it from a few known places."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..records import FloatArray


@dataclass(frozen=True, slots=True)
class Pose:
    """Takes card places (mm, x right, y up, z towards the camera) to the camera frame (x right, y down, z ahead)."""

    rotation: FloatArray  # (3, 3)
    shift_mm: FloatArray  # (3,)

    @property
    def eye_mm(self) -> FloatArray:
        """The camera's centre in the card frame, (3,)."""
        return np.asarray(-self.rotation.T @ self.shift_mm)

    @property
    def tilt_deg(self) -> float:
        """Angle between the optical axis and the card's normal."""
        return float(np.degrees(np.arccos(np.clip(-self.rotation[2, 2], -1.0, 1.0))))

    def moved(self, turn: FloatArray, shift: FloatArray) -> Pose:
        """Return the pose with the card turned about its origin by `turn` (rotation vector, camera axes), then shifted.

        Turning about the card's origin, not the eye, keeps turn and shift nearly independent.
        """
        return Pose(turning(turn) @ self.rotation, self.shift_mm + shift)

    def about(self, centre_mm: FloatArray) -> Pose:
        """Return the pose for card places counted from `centre_mm` (2,)."""
        return Pose(self.rotation, self.shift_mm + self.rotation[:, :2] @ centre_mm)

    def with_axes_turned(self, angle: float) -> Pose:
        """Return the pose for card axes turned counter-clockwise by `angle` (rad)."""
        c, s = np.cos(angle), np.sin(angle)
        return Pose(self.rotation @ np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]]), self.shift_mm)


def turning(vector: FloatArray) -> FloatArray:
    """Rotation matrix of a rotation vector (3,), radians, by Rodrigues' formula."""
    angle = float(np.linalg.norm(vector))
    x, y, z = vector
    cross = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    if angle < 1e-12:
        return np.asarray(np.eye(3) + cross)
    return np.asarray(np.eye(3) + np.sin(angle) / angle * cross + (1.0 - np.cos(angle)) / angle**2 * (cross @ cross))


def plane_map(directions: FloatArray, points_mm: FloatArray) -> FloatArray:
    """3 x 3 projective map from plane mm to directions by least squares on N >= 4 places (data centred and scaled)."""
    to_a, a = _centred(points_mm)
    to_b, b = _centred(directions)
    x, y = a.T
    u, v = b.T
    zero, one = np.zeros_like(x), np.ones_like(x)
    rows = np.vstack(
        [
            np.column_stack([x, y, one, zero, zero, zero, -u * x, -u * y, -u]),
            np.column_stack([zero, zero, zero, x, y, one, -v * x, -v * y, -v]),
        ]
    )
    matrix = np.linalg.eigh(rows.T @ rows)[1][:, 0].reshape(3, 3)
    return np.asarray(np.linalg.inv(to_b) @ matrix @ to_a)


def _centred(points: FloatArray) -> tuple[FloatArray, FloatArray]:
    """3 x 3 that centres and scales (N, 2) points, and the points after it: the equations are ill set otherwise."""
    middle = points.mean(axis=0)
    size = max(float(np.sqrt(((points - middle) ** 2).mean())), 1e-12)
    matrix = np.array([[1 / size, 0.0, -middle[0] / size], [0.0, 1 / size, -middle[1] / size], [0.0, 0.0, 1.0]])
    return matrix, (points - middle) / size


def pose_from_map(matrix: FloatArray) -> Pose:
    """Pose whose plane map is nearest to `matrix` (3, 3): the first two columns made orthonormal, the card ahead."""
    matrix = matrix * np.sign(matrix[2, 2]) if matrix[2, 2] != 0 else matrix
    scale = 2.0 / (np.linalg.norm(matrix[:, 0]) + np.linalg.norm(matrix[:, 1]))
    first, second, shift = scale * matrix.T
    u, _, vt = np.linalg.svd(np.column_stack([first, second]), full_matrices=False)
    pair = u @ vt
    rotation = np.column_stack([pair, np.cross(pair[:, 0], pair[:, 1])])
    return Pose(rotation, shift)


def focal_from_map(matrix_px: FloatArray, centre_px: tuple[float, float]) -> float | None:
    """Focal length (px) at which a plane map in px has perpendicular axes of equal scale; None when it is not told.

    Two linear conditions in 1 / f^2, weighted by how much they say (Zhang, IEEE PAMI 22 (2000), section 3.1).
    """
    away = np.array([[1.0, 0.0, -centre_px[0]], [0.0, 1.0, -centre_px[1]], [0.0, 0.0, 1.0]])
    a, b = (away @ matrix_px)[:, :2].T
    slope = np.array([a[0] * b[0] + a[1] * b[1], a[0] ** 2 + a[1] ** 2 - b[0] ** 2 - b[1] ** 2])
    level = np.array([-a[2] * b[2], b[2] ** 2 - a[2] ** 2])
    power = float(slope @ slope)
    inverse_square = float(slope @ level) / power if power > 0 else 0.0
    return float(inverse_square**-0.5) if inverse_square > 1e-12 else None
