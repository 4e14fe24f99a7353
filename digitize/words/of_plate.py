"""What is said of plates and of the artwork laid on them."""

from .message import Message, Rank

OF_PLATE = (
    Message(
        code="plate-web-thin",
        rank=Rank.CUT,
        title="Thin web",
        text=(
            "{one} and {other} leave {value:.2f} mm of sheet, less than {limit:g} mm ({count} such webs): it may bend "
            "or break."
        ),
        step="Say a larger --gap, --web or --margin, fewer pockets, or the right --thickness.",
    ),
    Message(
        code="faces-uneven",
        rank=Rank.WHOLE,
        title="Faces not level",
        text=(
            "The face of {name} lies {value:.2f} mm lower than the highest, {limit:g} mm or more: it would "
            "print blurred."
        ),
        step="Lay packing of that thickness under each of them, and measure again.",
    ),
    Message(
        code="head-strike",
        rank=Rank.WHOLE,
        title="No room under the head",
        text=(
            "Proudest above the bed is {what}, {high:.2f} mm; the head is at {head:.2f} mm: {value:.2f} mm between, "
            "less than {limit:g} mm. The head may strike."
        ),
        step="Raise the head or lay less under the plate; do not print before it clears.",
    ),
    Message(
        code="printer-left-over",
        rank=Rank.WHOLE,
        title="Crosses disagree",
        text=(
            "Cross {cross} lies {value:.2f} mm from where shift, turn and scales put it, more than {limit:g} mm: one "
            "may be misread, or the printer bends."
        ),
        step="Measure that cross again; if it stays, keep artwork away from there.",
    ),
    Message(
        code="artwork-small",
        rank=Rank.WHOLE,
        title="Artwork too small",
        text="{artwork} leaves up to {value:.2f} mm of the print area of {name} bare at its sides.",
        step="Draw it larger, with bleed, or say --fit cover.",
    ),
)
