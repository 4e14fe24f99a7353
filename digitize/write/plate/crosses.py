"""The sheet that shows how a printer lays ink: five crosses, each numbered, at places that are known."""

from __future__ import annotations

from ...plate.plate import Zero
from ...plate.printer import INSET_MM, crosses
from ..sheet import ADVANCE, NOTE_HEIGHT_MM, Text
from ..words import columns
from .frame import Drawing, Laid, bed_box, centred, cross, on_bed, rectangle, zero_mark
from .words import cross_words

ARM_MM = 8.0
_BESIDE_MM = 3.0


def cross_drawing(bed_mm: tuple[float, float], zero: Zero) -> Drawing:
    """Return the crosses on a page that is the bed."""
    bed = bed_box(bed_mm, zero)
    lines, texts = zero_mark(bed, zero)
    for number, at in crosses(bed_mm, zero).items():
        lines += cross(at, ARM_MM)
        words = f"x {at[0]:g}, y {at[1]:g}"
        right = at[0] < (bed.left + bed.right) / 2  # words stand on the side of the middle
        wide = ADVANCE * NOTE_HEIGHT_MM * columns(words)
        texts += [centred(str(number), (at[0] + (_BESIDE_MM if right else -_BESIDE_MM), at[1] + _BESIDE_MM))]
        x = at[0] + 1.0 if right else at[0] - 1.0 - wide
        texts += [Text("TEXT", words, (x, at[1] - 3.5), NOTE_HEIGHT_MM)]
    edge: list[Laid] = [("NOTE", rectangle(bed))]
    return on_bed("Test sheet of a printer", edge, lines, texts, cross_words(bed_mm, zero), bed, above_mm=2 * INSET_MM)
