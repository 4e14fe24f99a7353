"""Numbers as text for drawings: plain decimals, the same bytes for the same value everywhere."""

from __future__ import annotations


def plain_number(value: float, digits: int) -> str:
    """Return the shortest plain decimal with at most `digits` (1 or more) after the point; never "-0"."""
    text = f"{value:.{digits}f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text
