"""Where the camera stands over the card, and a first guess of it from a few known places."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..errors import ScaleError
from ..opencv import cv
from ..records import FloatArray
from ..steady import nearest_turn, norm, product


@dataclass(frozen=True, slots=True)
class Pose:
    """Takes card places (mm, x right, y up, z towards the camera) to the camera frame (x right, y down, z ahead)."""

    rotation: FloatArray  # (3, 3)
    shift_mm: FloatArray  # (3,)

    @property
    def eye_mm(self) -> FloatArray:
        """The camera's centre in the card frame, (3,)."""
        return np.asarray(product(-self.rotation.T, self.shift_mm))

    @property
    def tilt_deg(self) -> float:
        """Angle between the optical axis and the card's normal."""
        return float(np.degrees(np.arccos(np.clip(-self.rotation[2, 2], -1.0, 1.0))))

    def moved(self, turn: FloatArray, shift: FloatArray) -> Pose:
        """Return the pose with the card turned about its origin by `turn` (rotation vector, camera axes), then shifted.

        Turning about the card's origin, not the eye, keeps turn and shift nearly independent.
        """
        return Pose(product(turning(turn), self.rotation), self.shift_mm + shift)

    def with_axes_turned(self, angle: float) -> Pose:
        """Return the pose for card axes turned counter-clockwise by `angle` (rad)."""
        c, s = np.cos(angle), np.sin(angle)
        return Pose(product(self.rotation, np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])), self.shift_mm)


def turning(vector: FloatArray) -> FloatArray:
    """Rotation matrix of a rotation vector (3,), radians."""
    return np.asarray(cv().Rodrigues(np.asarray(vector, dtype=np.float64))[0])


def plane_map(directions: FloatArray, points_mm: FloatArray) -> FloatArray:
    """3 x 3 projective map from plane mm to directions by least squares on N >= 4 places.

    A first guess: OpenCV takes the places in single precision, which turns a pose by some 3e-7 rad.

    Raises
    ------
    ScaleError
        If three of four places lie on one line as they are seen.
    """
    matrix, _ = cv().findHomography(points_mm, directions, 0)
    if matrix is None:
        raise ScaleError(
            "The reference is seen from so far aside that its corners lie on one line. Hold the camera straight above "
            "it and take the photo again."
        )
    return np.asarray(matrix, dtype=np.float64)


def pose_from_map(matrix: FloatArray) -> Pose:
    """Pose whose plane map is nearest to `matrix` (3, 3): the first two columns made orthonormal, the card ahead."""
    matrix = matrix * np.sign(matrix[2, 2]) if matrix[2, 2] != 0 else matrix
    scale = 2.0 / (norm(matrix[:, 0]) + norm(matrix[:, 1]))
    first, second, shift = scale * matrix.T
    pair = nearest_turn(np.column_stack([first, second]))
    rotation = np.column_stack([pair, np.cross(pair[:, 0], pair[:, 1])])
    return Pose(rotation, shift)


def focal_from_map(matrix_px: FloatArray, centre_px: tuple[float, float]) -> float | None:
    """Focal length (px) at which a plane map in px has perpendicular axes of equal scale; None when it is not told.

    Two linear conditions in 1 / f^2, weighted by how much they say (Zhang, IEEE PAMI 22 (2000), section 3.1).
    """
    away = np.array([[1.0, 0.0, -centre_px[0]], [0.0, 1.0, -centre_px[1]], [0.0, 0.0, 1.0]])
    a, b = product(away, matrix_px)[:, :2].T
    slope = np.array([a[0] * b[0] + a[1] * b[1], a[0] ** 2 + a[1] ** 2 - b[0] ** 2 - b[1] ** 2])
    level = np.array([-a[2] * b[2], b[2] ** 2 - a[2] ** 2])
    power = float(product(slope, slope))
    inverse_square = float(product(slope, level)) / power if power > 0 else 0.0
    return float(inverse_square**-0.5) if inverse_square > 1e-12 else None
