"""The drawing of a wall unrolled: what artwork covers, the seam and what runs on past it."""

from __future__ import annotations

from ...plate.unrolled import Wall, unrolled
from ..paths import Box, box_of
from ..sheet import Line, Text
from .frame import Drawing, Laid, centred, with_label
from .words import wall_words

_ROOM_MM = 5.0


def unrolled_drawing(wall: Wall, name: str) -> Drawing:
    """Return the wall flat at true size, its lower end below."""
    flat = unrolled(wall)
    curves: list[Laid] = [("OUTLINE", flat.sheet), ("PRINT", flat.wall)]
    lines: list[Line] = [("CHECK", *seam) for seam in flat.seams] + [("NOTE", *one) for one in flat.quarters]
    texts: list[Text] = [
        centred(words, ((low[0] + high[0]) / 2, (low[1] + high[1]) / 2))
        for words, (low, high) in zip(("1/4", "1/2", "3/4"), flat.quarters, strict=True)
    ]
    around = box_of([flat.sheet]).grown(_ROOM_MM)
    page = Box(around.left, around.bottom, around.right, around.top)
    return with_label(f"Unrolled: {name}", curves, lines, texts, wall_words(wall), page, "top-left")
