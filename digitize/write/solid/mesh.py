"""A closed surface of triangles, in an order that does not depend on how it was made."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ...errors import WriteError
from ...records import FloatArray

GRID_MM = 1e-4  # corners lie on it, so that what is written as text or in single precision is the same corner


@dataclass(frozen=True, slots=True)
class Mesh:
    """Triangles, counter-clockwise seen from outside; mm, z up, all coordinates 0 or more."""

    corners_mm: FloatArray  # (N, 3)
    triangles: npt.NDArray[np.int64]  # (M, 3), numbers of corners

    @property
    def volume_mm3(self) -> float:
        """Volume by the divergence theorem: a sixth of the sum of the corners' triple products."""
        a, b, c = (self.corners_mm[self.triangles[:, k]] for k in range(3))
        return float(np.sum(a * np.cross(b, c)) / 6)


def settled(corners_mm: FloatArray, triangles: npt.NDArray[np.int64]) -> Mesh:
    """Return a mesh on the grid, corners that fall together made one, everything in a fixed order.

    Raises
    ------
    WriteError
        If the surface is not closed, each edge met by exactly two triangles, or holds nothing.
    """
    places = np.rint(corners_mm / GRID_MM).astype(np.int64)
    kept, where = np.unique(places[:, ::-1], axis=0, return_inverse=True)  # by z, then y, then x
    faces = where.reshape(-1)[triangles]
    faces = faces[(faces[:, 0] != faces[:, 1]) & (faces[:, 1] != faces[:, 2]) & (faces[:, 2] != faces[:, 0])]
    first = np.argmin(faces, axis=1)[:, None]
    faces = np.take_along_axis(faces, (first + np.arange(3)) % 3, axis=1)
    mesh = Mesh(np.asarray(kept[:, ::-1] * GRID_MM, dtype=np.float64), faces[np.lexsort(faces.T[::-1])])
    if not is_closed(mesh) or mesh.volume_mm3 <= 0:
        raise WriteError(
            "the solid did not come out as a closed body: leave out --solid, or say another --tolerance or --depth; "
            "please report it with the picture"
        )
    return mesh


def is_closed(mesh: Mesh) -> bool:
    """Tell whether every edge is run through once in each direction, and corners are whole."""
    if not len(mesh.triangles):
        return False
    ends = np.concatenate([mesh.triangles[:, [k, (k + 1) % 3]] for k in range(3)])
    there = ends[:, 0] * len(mesh.corners_mm) + ends[:, 1]
    back = ends[:, 1] * len(mesh.corners_mm) + ends[:, 0]
    there.sort()
    back.sort()
    return bool(np.array_equal(there, back) and (np.diff(there) > 0).all())
