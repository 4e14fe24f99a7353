"""STL, binary: 80 bytes of header, the number of triangles, and each with its normal in single precision; in mm."""

from __future__ import annotations

import numpy as np

from ...seal import BLANK, __version__, seal
from .mesh import Mesh

_HEADER = 80
_TRIANGLE = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("extra", "<u2")])


def stl_bytes(mesh: Mesh) -> bytes:
    """Return a mesh as binary STL. The format has no unit; the header says mm."""
    found = np.zeros(len(mesh.triangles), dtype=_TRIANGLE)
    corners = mesh.corners_mm[mesh.triangles]
    across = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    length = np.linalg.norm(across, axis=1, keepdims=True)
    found["normal"] = across / np.where(length > 0, length, 1.0)
    found["corners"] = corners
    # a header that began with "solid" would pass for the text form
    header = f"digitize {__version__} unit mm {BLANK}".encode("ascii").ljust(_HEADER)
    return seal(header + len(found).to_bytes(4, "little") + found.tobytes())
