"""Whether a card lies there as its whole printed sheet, or was cut out of it: told by the print beside the cut line."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..reading.reduced import Reduced
from ..records import Float32Array, FloatArray

_LIKE_PAPER = 0.1  # of the square root of light: a photo's light falls off by less from a card to its sheet's rim
_PAPER_ROUND = 0.8  # part of a mark's surroundings that is paper where the sheet is; beside a cut-out card it is none
_NOT_COVERED = 0.5  # the same on a sheet known to be whole: other print comes near, an item across covers more
_INK = 0.25  # of the square root of light: ink is darker than the paper round it by more than this
_LEAST_PRINTED = 0.5  # part of the marks in the picture that must show as printed: then the sheet is whole


def printed_there(reduced: Reduced, marks_px: Sequence[FloatArray], card_px: FloatArray) -> list[FloatArray]:
    """Return the marks of a sheet that are printed where they should be; none if the card was cut out of it.

    Parameters
    ----------
    reduced
        The picture.
    marks_px
        (N, 2) polygons round each mark beside the card's cut line, ink well inside, px.
    card_px
        (N, 2) polygon on bare paper of the card, px.
    """
    paper = np.median(_root_light(reduced, card_px), axis=0)
    inside = [mark for mark in marks_px if _in_picture(reduced, mark)]
    printed = [mark for mark in inside if _is_printed(reduced, mark, paper, _PAPER_ROUND)]
    if not printed or len(printed) < _LEAST_PRINTED * len(inside):
        return []
    return [mark for mark in inside if _is_printed(reduced, mark, paper, _NOT_COVERED)]


def _is_printed(reduced: Reduced, mark: FloatArray, paper: Float32Array, least_paper: float) -> bool:
    """Whether a mark has paper round it and ink in it."""
    around = np.abs(_root_light(reduced, mark) - paper).max(axis=1) < _LIKE_PAPER
    if around.mean() < least_paper:
        return False
    x, y, w, h = _box(reduced, mark)
    within = np.sqrt(np.clip(reduced.light[y : y + h, x : x + w], 0, None)).mean(axis=2)
    return bool(within.min() < paper.mean() - _INK)


def _root_light(reduced: Reduced, places_px: FloatArray) -> Float32Array:
    """Square roots of the light at places of the picture, (N, C)."""
    height, width = reduced.light.shape[:2]
    x, y = np.rint(reduced.to_reduced(places_px)).astype(int).T
    light = reduced.light[np.clip(y, 0, height - 1), np.clip(x, 0, width - 1)]
    return np.asarray(np.sqrt(np.clip(light, 0, None)), np.float32)


def _in_picture(reduced: Reduced, mark: FloatArray) -> bool:
    height, width = reduced.light.shape[:2]
    return bool(((reduced.to_reduced(mark) >= 0) & (reduced.to_reduced(mark) <= (width - 1, height - 1))).all())


def _box(reduced: Reduced, mark: FloatArray) -> tuple[int, int, int, int]:
    low = np.floor(reduced.to_reduced(mark).min(axis=0)).astype(int)
    high = np.ceil(reduced.to_reduced(mark).max(axis=0)).astype(int) + 1
    return int(low[0]), int(low[1]), int(high[0] - low[0]), int(high[1] - low[1])
