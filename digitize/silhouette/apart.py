"""What differs from one background: told from it, its shade let go, and the paper it lies across left out."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import numpy as np

from ..reading.reduced import Reduced
from ..records import BoolArray, Float32Array
from .background import Background, Fitted
from .candidates import Settled, settle
from .card_place import CardPlace
from .left_out import even_parts
from .paper import without_paper
from .shade import above_blocks, departure_from, departure_from_shade, let_shade_go, with_own_hue
from .ways import Ask


def told_apart(
    reduced: Reduced, card_at: CardPlace, faint: bool, field: BoolArray, fitted: Fitted, ask: Ask
) -> tuple[Float32Array, Settled, BoolArray, BoolArray]:
    """Return how far pixels depart from a background, what differs at first, less its shade, and less paper too.

    Each step makes the background's light anew: to hold it takes more memory than all else that a look holds.
    """
    pixel_mm = ask.mm_per_px * reduced.factor
    fitted = above_blocks(fitted, reduced, faint=faint)
    departure = departure_from(reduced.light, Background(fitted), faint=faint)
    departure[~field | card_at.whole] = 0.0
    is_rim_none = ask.background is None and ask.item_at_px is None
    has_hues = reduced.light.shape[2] == 3 and not faint
    settled = settle(
        departure,
        field,
        pixel_mm=pixel_mm,
        dust_mm=ask.dust_mm,
        border_is_rim=is_rim_none,
        from_shade=partial(departure_from_shade, reduced.light, Background(fitted)) if has_hues else None,
    )
    settled = _with_own_hue(settled, reduced, Background(fitted))
    lit = let_shade_go(
        reduced.light, Background(fitted), settled.differs, field, pixel_mm=pixel_mm, of_photo=ask.of_photo
    )
    if ask.of_photo and (settled.differs & ~lit).any():  # once a large shadow's soft part is gone, things stand alone
        lit = let_shade_go(reduced.light, Background(fitted), lit, field, pixel_mm=pixel_mm, of_photo=True)
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
