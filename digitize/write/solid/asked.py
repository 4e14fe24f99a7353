"""What is asked of a solid, and whether the package that makes one is there."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Self

from ...errors import UsageError
from ...kinds import Number
from ...parameters import by_keyword, check_fields, declared, option

FLOOR_MM = 1.0  # left under a pocket unless its depth is said (common practice, no source)


@dataclass(frozen=True, slots=True)
class Solid:
    """What is asked of a solid."""

    thickness_mm: float = option(  # of the plate, or of the block under a plug
        None,
        Number(0.2, 200, "mm"),
        "Also STL and 3MF of a plate this thick, in mm, with the pockets in it; with --cut former the plugs, "
        "on a block this thick. Needs digitize[solid].",
        name="solid",
        keyword="solid_mm",
    )
    depth_mm: float | None = option(  # of the pockets
        None, Number(0.1, 200, "mm"), "Depth of the pockets in the solid in mm; all but a floor of 1 mm."
    )

    def __post_init__(self) -> None:
        """Refuse values that cannot be meant.

        Raises
        ------
        UsageError
            Naming the option, what was given and what is expected.
        """
        check_fields(self)
        if self.thickness_mm is None:
            raise UsageError("--depth is the depth of pockets in a solid: say the plate's thickness, --solid T.")
        if self.depth_mm is not None and self.depth_mm > self.thickness_mm:
            raise UsageError(
                f"--depth {self.depth_mm:g}: expected 0.1 mm to the plate's thickness, {self.thickness_mm:g} mm "
                "(as deep as that: through)."
            )
        if self.depth_mm is None and self.thickness_mm <= FLOOR_MM:
            raise UsageError(
                f"--solid {self.thickness_mm:g} leaves no room for a pocket on a floor of {FLOOR_MM:g} mm: say --depth."
            )

    @classmethod
    def of(cls, options: Mapping[str, object]) -> Self:
        """Return what options ask for, as `Settings.of` does."""
        values: dict[str, Any] = {declared(cls)[key].field: value for key, value in by_keyword(cls, options).items()}
        return cls(**values)

    @property
    def pocket_mm(self) -> float:
        """Depth of the pockets."""
        return self.thickness_mm - FLOOR_MM if self.depth_mm is None else self.depth_mm


def check_solid_package() -> None:
    """Refuse at once where the package that makes solids is not installed.

    Raises
    ------
    UsageError
        With the command that installs it.
    """
    import importlib.util

    if importlib.util.find_spec("manifold3d") is None:
        raise UsageError(
            "--solid needs a further package: python -m pip install 'digitize[solid]' (in the clone: '.[solid]')."
        )
