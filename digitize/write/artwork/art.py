"""Artwork of any kind: how large it is, and which drawings can hold it as it is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

from ...errors import UsageError

if TYPE_CHECKING:
    from pikepdf import Object, Pdf


class Art(Protocol):
    """Artwork that can be placed."""

    @property
    def name(self) -> str:
        """File name."""

    @property
    def size_mm(self) -> tuple[float, float] | None:
        """Width and height; None where the file does not tell, and only proportions are known."""

    @property
    def proportions(self) -> tuple[float, float]:
        """Width and height in any unit."""

    @property
    def formats(self) -> tuple[str, ...]:
        """Drawings that can hold it as it is."""

    def symbol(self, key: str) -> str:
        """Return it as a symbol of an SVG, with an id."""

    def pdf_object(self, pdf: Pdf) -> tuple[Object, tuple[float, float, float, float, float, float]]:
        """Return it as an XObject, and the matrix that brings what it draws to the unit square."""


@dataclass(frozen=True, slots=True)
class Unit:
    """Millimetres of the units that files count in."""

    inch: float = 25.4
    point: float = 25.4 / 72
    pixel: float = 25.4 / 96  # of CSS


UNIT = Unit()


def unreadable(name: str, why: str, instead: str) -> UsageError:
    """Return the error that says why artwork cannot be placed, and what to try."""
    return UsageError(f"The artwork {name} cannot be used: {why}. {instead}")
