"""The lens: focal length, principal point and radial distortion with three terms, and its exact inverse."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..records import FloatArray

DIAGONAL_35MM = float(np.hypot(36.0, 24.0))  # mm; the frame that "35 mm equivalent" refers to (Exif 2.3, 0xA405)
_NEWTON_STEPS = 12  # at most
_LEAST_SLOPE = 0.05  # a radial curve flatter than this has folded: no lens of a phone does
_FOLDS_WITHIN = 1.6  # of the farthest radius seen: beyond, where a curve folds is of no concern
_RADII = 64  # at which it is looked for


@dataclass(frozen=True, slots=True)
class Lens:
    """Maps directions (x / z, y / z) of the camera frame to px: ``f * d * (1 + k1 r^2 + k2 r^4 + k3 r^6) + centre``.

    The radial polynomial of D. C. Brown, Photogrammetric Engineering 37 (1971), applied from the ideal to the
    distorted place, as camera calibration commonly has it.
    """

    focal_px: float
    centre_px: tuple[float, float]
    k1: float = 0.0
    k2: float = 0.0
    k3: float = 0.0

    def to_px(self, directions: FloatArray) -> FloatArray:
        """Map (N, 2) directions to (N, 2) px."""
        r2 = (directions**2).sum(axis=1, keepdims=True)
        stretch = 1.0 + r2 * (self.k1 + r2 * (self.k2 + r2 * self.k3))
        return np.asarray(self.focal_px * directions * stretch + self.centre_px)

    def to_directions(self, points_px: FloatArray) -> FloatArray:
        """Map (N, 2) px to (N, 2) directions: Newton's method on the radius, exact to rounding.

        A lens told by a small reference may fold within the picture's corners, where nothing has told it: from there
        outward radii go on as by a lens without distortion.
        """
        distorted = (points_px - np.asarray(self.centre_px)) / self.focal_px
        if self.k1 == self.k2 == self.k3 == 0.0:
            return np.asarray(distorted)
        target = np.hypot(distorted[:, 0], distorted[:, 1])
        fold = self._fold(float(target.max(initial=0.0)))
        within = target if fold is None else np.minimum(target, fold)
        r = self._radii(within) + (target - within)
        return np.asarray(distorted * (r / np.maximum(target, 1e-300))[:, None])

    def _fold(self, farthest: float) -> float | None:
        """The last radius before the curve folds, as it is seen, if it does near what is looked at."""
        r = np.linspace(0.0, _FOLDS_WITHIN * farthest, _RADII)
        r2 = r * r
        folded = 1.0 + r2 * (3.0 * self.k1 + r2 * (5.0 * self.k2 + 7.0 * self.k3 * r2)) < _LEAST_SLOPE
        if not folded.any():
            return None
        last = float(r[max(int(folded.argmax()) - 1, 0)])
        return last * (1.0 + last**2 * (self.k1 + last**2 * (self.k2 + last**2 * self.k3)))

    def _radii(self, target: FloatArray) -> FloatArray:
        """Ideal radii of distorted ones, (N,), none of them beyond a fold."""
        r = target.copy()
        for _ in range(_NEWTON_STEPS):
            r2 = r * r
            step = (r * (1.0 + r2 * (self.k1 + r2 * (self.k2 + r2 * self.k3))) - target) / np.maximum(
                1.0 + r2 * (3.0 * self.k1 + r2 * (5.0 * self.k2 + 7.0 * self.k3 * r2)), _LEAST_SLOPE
            )
            r -= step
            if np.abs(step).max(initial=0.0) < 1e-14:
                break
        return r


def focal_from_35mm(focal_35mm: float, width_px: int, height_px: int) -> float:
    """Focal length in px of a 35 mm equivalent, by the ratio of the diagonals."""
    return focal_35mm * float(np.hypot(width_px, height_px)) / DIAGONAL_35MM
