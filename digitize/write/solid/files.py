"""The files of a solid: STL and 3MF of the same mesh."""

from __future__ import annotations

from collections.abc import Sequence

from ...records import Item, Result
from ..cautions import FORMER, GOVERNS, MILLING, PRINT_3D
from ..words import chain, plain, title
from .asked import Solid
from .make import make_solid
from .stl import stl_bytes
from .threemf import threemf_bytes


def solid_files(result: Result, items: Sequence[Item], solid: Solid, *, stem: str) -> dict[str, bytes]:
    """Return STL and 3MF by name.

    Raises
    ------
    UsageError
        If there is no pocket to make, or the package that makes solids is missing.
    WriteError
        If no closed body came out.
    """
    made = make_solid(result, items, solid)
    x, y = made.zero_mm
    chains = [f"{plain(item.name)}: {chain(item.pocket)}." for item in items if item.pocket is not None]
    words = [
        made.says,
        f"The drawings' zero lies at x = {x:.3f}, y = {y:.3f} mm.",
        *chains,
        PRINT_3D,
        MILLING,
        *([FORMER] if any(item.pocket is not None and item.pocket.way == "former" for item in items) else []),
        GOVERNS,
    ]
    return {
        f"{stem}.stl": stl_bytes(made.mesh),
        f"{stem}.3mf": threemf_bytes(made.mesh, title=title(result), description=" ".join(words)),
    }
