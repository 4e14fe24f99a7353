"""What a workshop's file set, as documents tell it."""

from __future__ import annotations

from typing import Annotated, Literal

from .. import records
from .form import Part, about


class Usual(Part, frozen=True, kw_only=True):
    """What a workshop's file of usual options set, where nobody said otherwise."""

    made_of = records.Usual
    file: Annotated[str, about("File name without folder.")]
    folder: Annotated[
        Literal["working", "settings"], about("Where it lay: in the working folder, or in the user's settings folder.")
    ]
    options: Annotated[
        dict[str, str | bool],
        about(
            "By the option's name, the words of the file; with a card's name the reading that is kept under it. They "
            "tell where options came from, not what holds."
        ),
    ]
