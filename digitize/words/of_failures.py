"""What to do where a picture of a folder has no result."""

from __future__ import annotations

from .message import Message, Rank


def _row(code: str, title: str, step: str) -> Message:
    return Message(code=code, rank=Rank.SIZE, title=title, text="{why}", step=step)


OF_FAILURES = (
    _row("defect", "Defect", "Report the defect with this picture; measure the item by hand meanwhile."),
    _row("work-ended", "Work ended", "Save the picture in another format and run the same command again with --retry."),
    _row("unreadable", "Unreadable", "Copy the picture or take it again, then run the same command again."),
    _row(
        "took-too-long",
        "Took too long",
        "Scan a smaller area or save the photo smaller, then run the same command again.",
    ),
    _row(
        "no-scale",
        "No scale",
        "Lay the reference beside the item and take the picture again, or give options in a manifest.",
    ),
    _row(
        "no-outline",
        "No outline",
        "Lay the item on paper of another colour, or give background or item-at in a manifest.",
    ),
    _row("wrong-option", "Wrong option", "Correct the option named."),
    _row("not-written", "Not written", "Make room or move the file named, then run the same command again."),
    _row("out-of-memory", "Out of memory", "Close programs or use a smaller --jobs, then run the same command again."),
    _row("machine", "Machine", "Mend what is named, then run the same command again."),
)
