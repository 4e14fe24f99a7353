"""What a draft can do without: joints of two lines where one line does, arcs too small to be made."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np

from ..records import BoolArray, FloatArray
from .draft import Draft, kinks_of, preceding, shares_of
from .fillets import DOUBTFUL, LEAST_RADIUS_MM
from .goal import ROUGH
from .polish import polish
from .repair import HOPELESS, levelled, spread
from .tangent import split

_FEWEST = 3  # pieces
_FEW = 6  # arcs that are tried one by one, where not all together can be lines
_FAR = 2.5  # limits: a draft so far off is not worth a fit


def small_arcs(draft: Draft) -> BoolArray:
    """Return (K,) which pieces are arcs of too small a radius; chord (1 + bulge^2) / (4 |bulge|) is the radius."""
    size, chord = np.abs(draft.bulges), draft.lengths
    return np.asarray((size > 0) & (chord * (1 + size**2) < 4 * size * LEAST_RADIUS_MM))


async def with_whole_lines(draft: Draft, ring: FloatArray, limit_mm: FloatArray) -> Draft:
    """Return the draft with one line for two that hardly bend where they meet, if it keeps to the limit."""
    lines = draft.straight & preceding(draft.straight) & ~draft.fixed
    for at in np.flatnonzero(lines & (np.abs(kinks_of(draft)) < DOUBTFUL))[::-1].tolist():
        if len(draft.bulges) > _FEWEST:
            keep = np.arange(len(draft.bulges)) != at
            one = await _fitted(Draft(*(getattr(draft, column.name)[keep] for column in fields(Draft))), ring, limit_mm)
            draft = one if spread(one, ring, limit_mm)[1].max() <= 1 else draft
    return draft


async def without_small(draft: Draft, ring: FloatArray, limit_mm: FloatArray) -> Draft:
    """Return the draft with a line, or two, for each arc of too small a radius for which they keep to the limit."""
    for lines in (1, 2):
        small = np.flatnonzero(small_arcs(draft))[::-1].tolist()
        for which in (small, *([at] for at in small if 1 < len(small) <= _FEW)):
            lined = _lined(draft, which, lines, len(ring)) if small_arcs(draft)[which].any() else draft
            if lined is draft:
                continue
            fitted = await _fitted(lined, ring, limit_mm)
            if spread(fitted, ring, limit_mm)[1].max() <= 1:
                draft = fitted
                if which is small:
                    break
    return draft


def _lined(draft: Draft, which: list[int], lines: int, points: int) -> Draft:
    """Return the draft with some pieces, the last first, as one line or two."""
    for at in which:
        if lines > 1:
            _, counts = shares_of(draft, points)
            draft = split(draft, at, int(counts[at]) // 2, points)
        new = (np.arange(len(draft.bulges)) >= at) & (np.arange(len(draft.bulges)) < at + lines)
        joints = new | preceding(new)
        draft = replace(
            draft,
            straight=draft.straight | new,
            bulges=np.where(new, 0.0, draft.bulges),
            smooth=draft.smooth & ~joints,
        )
    return draft


async def _fitted(draft: Draft, ring: FloatArray, limit_mm: FloatArray) -> Draft:
    if spread(draft, ring, limit_mm)[1].max() > _FAR:
        return draft
    draft = await polish(draft, ring, ROUGH)
    return await levelled(draft, ring, limit_mm) if spread(draft, ring, limit_mm)[1].max() < HOPELESS else draft
