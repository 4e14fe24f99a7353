"""What differs from one background: told from it, its shade let go, and the paper it lies across left out."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import numpy as np

from ..reading.reduced import Reduced
from ..records import BoolArray, Float32Array
from .background import Background
from .candidates import Settled, settle
from .card_place import CardPlace
from .left_out import even_parts
from .paper import without_paper
from .shade import departure_from, departure_from_shade, let_shade_go, with_own_hue
from .ways import Ask


def told_apart(
    reduced: Reduced, card_at: CardPlace, faint: bool, field: BoolArray, background: Background, ask: Ask
) -> tuple[Float32Array, Settled, BoolArray, BoolArray]:
    """Return how far pixels depart from a background, what differs at first, less its shade, and less paper too."""
    pixel_mm = ask.mm_per_px * reduced.factor
    departure = departure_from(reduced.light, background, faint=faint)
    departure[~field | card_at.whole] = 0.0
    is_rim_none = ask.background is None and ask.item_at_px is None
    from_shade = partial(departure_from_shade, reduced.light, background)
    settled = settle(
        departure,
        field,
        pixel_mm=pixel_mm,
        dust_mm=ask.dust_mm,
        border_is_rim=is_rim_none,
        from_shade=from_shade if reduced.light.shape[2] == 3 and not faint else None,
    )
    settled = _with_own_hue(settled, reduced, background)
    lit = let_shade_go(reduced.light, background, settled.differs, field, pixel_mm=pixel_mm)
    if not ask.of_photo:  # there shade may be even and have a crisp edge
        gone = settled.differs & ~lit
        lit |= even_parts(gone, lit, departure, pixel_mm=pixel_mm, dust_mm=ask.dust_mm)
    differs = lit
    if not ask.of_photo:  # there paper has many shades
        differs = without_paper(lit, reduced.light, departure, pixel_mm=pixel_mm, dust_mm=ask.dust_mm)
    return departure, settled, lit, differs


def _with_own_hue(settled: Settled, reduced: Reduced, background: Background) -> Settled:
    """Give items back the pale places of their own hue that a high cut took off with their shade."""
    dropped = np.zeros_like(settled.differs)
    for one in settled.dropped:
        if one.reason == "soft":
            x, y, w, h = one.box
            dropped[y : y + h, x : x + w] |= one.mask
    differs = with_own_hue(reduced.light, background, settled.differs, dropped & ~settled.differs)
    return replace(settled, differs=differs)
