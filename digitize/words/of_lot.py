"""What is said of several blanks of a lot."""

from .message import Message, Rank

OF_LOT = (
    Message(
        code="lot-odd-sample",
        rank=Rank.DOUBT,
        title="Odd sample",
        text="{who} unlike the others, by up to {value:.3f} mm: worn, chipped, of another lot, or badly scanned.",
        step="Look at its check picture; leave it out if it does not belong, or make the pocket fit it as well.",
    ),
    Message(
        code="lot-small",
        rank=Rank.REMARK,
        title="Few samples",
        text=(
            "{samples} of the lot {were} measured. For 95 % of all blanks with 95 % confidence allow {value:.3f} mm "
            "a side beyond the mean (Howe), more than the largest of these has."
        ),
        step="Measure more blanks, or raise --clearance by the difference.",
        cases={"one": "One blank alone tells nothing of how much the others of its lot differ."},
    ),
    Message(
        code="lot-holes-differ",
        rank=Rank.WHOLE,
        title="Holes differ",
        text="Not all samples have the same number of holes ({counts}): holes were left out.",
        step="Look at the check pictures of the samples for a hole that was missed.",
    ),
)
