"""What the command line said when the page was begun."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from ..options import Said
from ..records import Usual
from ..run import Output
from ..settings import Settings


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What the command line said."""

    recipe: Said[Settings]
    files: Said[Output]
    output: Output  # into `to`, if there is one
    max_mpx: float
    to: Path | None = None
    aside: Path | None = None  # the folder of steps where there is no `to`; None: they go with the process
    plate: Usual | None = None  # what a workshop's file sets for plates
    template: Usual | None = None  # and for templates
