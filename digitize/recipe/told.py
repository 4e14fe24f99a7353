"""A result that is known by its document alone, laid back into its picture."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import partial

import numpy as np

from ..records import FloatArray, Item, Result, Scale, frozen_array
from ..reference.scale import FlatbedScale


def laid_back(result: Result) -> tuple[Result, Scale] | None:
    """Return a result with what a hand set as lines in the picture, and the mapping between picture and plane.

    Of a flatbed a document tells both scales and the skew, which is all of it but where the plane begins: that no place
    in the picture depends on. None of photos and of scans by a scanner's profile, whose mapping it does not tell.

    Examples
    --------
    >>> from digitize.api import outline
    >>> from digitize.document.document import document_bytes, read_document
    >>> made = outline("samples/ornament.png", square_mm=30).result
    >>> read, scale = laid_back(read_document(document_bytes(made)).result)
    >>> [item.name for item in read.items], scale.kind
    (['ornament-1'], 'flatbed')
    >>> laid_back(replace(made, scale=replace(made.scale, kind="camera"))) is None
    True
    """
    if result.scale.kind == "camera" or result.options.get("scanner") is not None:
        return None
    x_mm, y_mm = result.scale.mm_per_px
    matrix = np.array([[x_mm, y_mm * math.tan(math.radians(result.scale.skew_deg))], [0.0, -y_mm]])
    scale = FlatbedScale(frozen_array(matrix), frozen_array([0.0, 0.0]))
    items = (replace(item, by_hand_px=tuple(map(partial(_px, scale, item), item.by_hand_mm))) for item in result.items)
    return replace(result, items=tuple(items)), scale


def _px(scale: FlatbedScale, item: Item, line_mm: FloatArray) -> FloatArray:
    return scale.to_px(item.as_laid(line_mm) + scale.to_mm(np.array([item.origin_px])))
