"""A card in all formats asked for, by file name."""

from __future__ import annotations

from collections.abc import Iterable

from ...card.parts import CardLayout
from ...errors import UsageError
from .dxf import card_dxf
from .pdf import card_pdf
from .svg import card_svg

_WRITERS = {"pdf": card_pdf, "svg": card_svg, "dxf": card_dxf}


def card_files(layout: CardLayout, formats: Iterable[str] = ("pdf", "svg")) -> dict[str, bytes]:
    """Write a card in several formats.

    Returns
    -------
    dict
        File name such as ``ring-50-a4.pdf`` or ``mat-letter.svg`` to the file's bytes.

    Raises
    ------
    UsageError
        If a format is not pdf, svg or dxf.
    """
    side = layout.rings[0].side_mm
    stem = f"ring-{side:g}-{layout.paper}" if layout.kind == "single" else f"mat-{layout.paper}"
    wanted = list(dict.fromkeys(formats))
    unknown = [name for name in wanted if name not in _WRITERS]
    if unknown:
        raise UsageError(f"no card format {', '.join(unknown)}: choose from {', '.join(_WRITERS)}")
    return {f"{stem}.{name}": _WRITERS[name](layout) for name in wanted}
