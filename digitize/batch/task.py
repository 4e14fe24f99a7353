"""What is passed between the batch, its workers and its ledger; read this module of the folder first."""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict, dataclass, field
from typing import Literal

from ..run import Output
from ..seal import __version__
from ..settings import Settings

State = Literal["done", "failed", "unwritten", "unchanged"]
# done       files are written
# failed     nothing can be got from this picture with these options: again with --retry, or when something changed
# unwritten  the machine, not the picture, was at fault (no room, no memory, process ended): again at the next run
# unchanged  same bytes as the ledger knows; nothing was done


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """What one picture is to become. Everything that shapes what is written, beside the picture."""

    settings: Settings
    output: Output = field(default_factory=Output)  # its folder and whether to force are the task's
    beside: str = ""  # hash of a further file that the settings name

    def digest(self) -> str:
        """Return a hash of all of it and of the version of digitize; another hash means: do it again."""
        shape = asdict(self)
        for name in ("folder", "force"):
            del shape["output"][name]
        del shape["settings"]["usual"]  # where an option was said makes no other outline
        text = json.dumps([__version__, shape], sort_keys=True, default=list)
        return hashlib.sha256(text.encode()).hexdigest()


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """One picture to outline; doing it twice gives the same files."""

    key: str  # names the picture in the ledger: path below the batch's folder, or its address
    source: str  # path or address (fsspec) to read
    folder: str  # path or address to write to
    wanted: Wanted
    stem: str | None = None  # name of the files if it is not the picture's own
    max_mpx: float = 400.0
    force: bool = False
    known_sha256: str | None = None  # if the picture still has it, nothing is done
    is_new: bool = False  # to the ledger: results that stand there may be what is wanted


@dataclass(frozen=True, slots=True, kw_only=True)
class Warned:
    """A finding, as the reports need it."""

    where: str  # the picture's or item's name
    code: str
    message: str
    attention: bool
    value: float | None = None
    limit: float | None = None
    of_photo: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class ItemFigures:
    """The figures of one item; mm, k = 2."""

    name: str
    width_mm: float
    height_mm: float
    area_mm2: float
    perimeter_mm: float
    holes: int
    outline_k2_mm: float
    length_k2_mm: float  # of a length as long as the longer side of the item's box
    caliper_length_mm: float
    caliper_width_mm: float
    caliper_length_k2_mm: float
    caliper_width_k2_mm: float
    rings: tuple[tuple[float, ...], ...] = ()  # on the thumbnail: x, y, x, y ... in its pixels


@dataclass(frozen=True, slots=True, kw_only=True)
class Thumb:
    """A small JPEG of the picture."""

    width: int
    height: int
    jpeg: bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What came of a task."""

    state: State
    sha256: str = ""
    reference: str = ""
    items: tuple[ItemFigures, ...] = ()
    warned: tuple[Warned, ...] = ()
    files: tuple[tuple[str, int], ...] = ()  # path below the task's folder or address, bytes
    thumb: Thumb | None = None
    problem: str = ""  # the sentence, when there are no files
    kind: str = ""  # what sort of problem: picture, scale, outline, write, memory, ended, time, defect
    exit_code: int = 0
    detail: str = ""  # where a defect struck, for whoever mends it
    seconds: float = 0.0
    adopted: bool = False  # its results stood there, the ledger had lost it
    worked: float = field(default=0.0, compare=False)  # processor seconds
    peak_mb: float = field(default=0.0, compare=False)

    @property
    def needs_person(self) -> bool:
        """Whether a person has to look."""
        return self.state != "done" or any(warned.attention for warned in self.warned)
