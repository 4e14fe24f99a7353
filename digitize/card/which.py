"""Which of our cards calipers may have read, where none is in a picture yet; and what is doubtful of a reading."""

from __future__ import annotations

from ..errors import UsageError
from ..records import Finding
from ..words.say import finding_of
from .kinds import OWN_SIDES_MM, CardLayout, card_layout, take_readings
from .parts import OUTER_TO_SIDE

_LIKELY_READING = 0.02  # paper and printers stay within 0.5 %; "fit to page" gives 3 to 6 %
_APART = 1.09  # two sides of one ring that differ by more are not one ring's: no printer is 9 % off


def card_read(measured_mm: tuple[float, float]) -> CardLayout | None:
    """Return the card whose print is nearest to two readings, X and Y; None for a single of a size of its own.

    Raises
    ------
    UsageError
        If no card can be meant.
    """
    found = [
        layout for layout in (card_layout("single", "a4"), card_layout("mat", "a4")) if _takes(layout, measured_mm)
    ]
    if found:
        return min(found, key=lambda layout: _off(layout, measured_mm))
    low, high = (side * OUTER_TO_SIDE for side in OWN_SIDES_MM)
    if low / _APART <= min(measured_mm) and max(measured_mm) <= min(high, min(measured_mm)) * _APART:
        return None
    single, mat = card_layout("single", "a4"), card_layout("mat", "a4")
    raise UsageError(
        f"--measured {measured_mm[0]:g}x{measured_mm[1]:g}: no card of ours has these sides. From outer edge to outer "
        f"edge the ring of the ring card is drawn {single.rings[0].outer_mm:g} mm, one of the mat's "
        f"{mat.rings[0].outer_mm:g} mm, a check bar is {mat.bars[0].length_mm:g} mm long. Measure again, X and Y, both "
        "in mm."
    )


def unlikely_readings(layout: CardLayout, measured: tuple[float, float]) -> tuple[Finding, ...]:
    """Say which readings are further from the drawing than paper and printer explain, and the likely slip."""
    ring = layout.rings[0]
    x, y = take_readings(layout, measured)
    found = []
    for axes, reading in (("X and Y", x),) if x == y else (("X", x), ("Y", y)):
        off = reading.scale - 1
        if abs(off) <= _LIKELY_READING:
            continue
        what = "the ring's outer side" if reading.of == "ring" else "the check bar"
        likely = "The card was probably printed with 'fit to page'"
        if reading.of == "ring" and reading.length_mm < 0.5 * (ring.outer_mm + ring.side_mm):
            likely = (
                f"That is nearer to the middle of the frame ({ring.side_mm:g} mm) than to its outer side: was the "
                "outer side measured, black edge to black edge? If it was, the card was printed with 'fit to page'"
            )
        found.append(
            finding_of(
                "reading-unlikely",
                value=off,
                limit=_LIKELY_READING,
                measured=reading.length_mm,
                axes=axes,
                what=what,
                drawn=reading.nominal_mm,
                likely=likely,
            )
        )
    return tuple(found)


def _takes(layout: CardLayout, measured_mm: tuple[float, float]) -> bool:
    try:
        take_readings(layout, measured_mm)
    except UsageError:
        return False
    return True


def _off(layout: CardLayout, measured_mm: tuple[float, float]) -> float:
    return max(abs(reading.scale - 1) for reading in take_readings(layout, measured_mm))
