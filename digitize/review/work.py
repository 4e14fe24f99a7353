"""What the page asks for is done here: one picture at a time, by the same recipe as the command's."""

from __future__ import annotations

import json
import threading
from collections import OrderedDict
from collections.abc import Collection
from dataclasses import dataclass, field
from importlib import resources
from pathlib import Path
from typing import Any

from ..errors import DigitizeError, UsageError
from ..files import write_files
from ..options import Said
from ..run import Made, Output, check_output, make_of
from ..settings import Settings
from .bundle import files_of
from .form import command_line, said_with, start_words, typical_values, words_from
from .shelf import Entry, Shelf
from .shown import Shown, shown_result
from .steps import Steps, Words
from .tiles import TILE, Pyramid

_OPEN_PICTURES = 2  # decoded in memory: 105 MB each of 35 Mpx
_SAMPLE, _SAMPLE_SQUARE = "fobs.jpg", "30"  # as `digitize demo` has it
_KEPT_RESULTS = 12  # of one picture, so that undoing costs nothing


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What the command line said."""

    recipe: Said[Settings]
    files: Said[Output]
    output: Output  # into `to`, if there is one
    max_mpx: float
    to: Path | None = None


@dataclass(slots=True)
class Opened:
    """A picture that is decoded, and what came of it by its options."""

    pyramid: Pyramid
    results: OrderedDict[str, Made | DigitizeError] = field(default_factory=OrderedDict)


class Work:
    """All that is under way. Its methods may be called from any thread; what takes long waits for its turn."""

    def __init__(self, asked: Asked, shelf: Shelf) -> None:
        self.asked, self.shelf = asked, shelf
        self._turn = threading.RLock()
        self._opened: OrderedDict[str, Opened] = OrderedDict()
        self._steps: dict[str, Steps] = {}
        self._sample: Entry | None = None

    def opened(self, entry: Entry) -> Opened:
        """Return a picture decoded.

        Raises
        ------
        PictureError
            If it cannot be read.
        """
        found = self._opened.get(entry.key)
        if found is not None:
            return found
        with self._turn:
            if entry.key not in self._opened:
                from ..reading.picture import read_picture

                picture = read_picture(entry.path, max_mpx=self.asked.max_mpx)
                while len(self._opened) >= _OPEN_PICTURES:
                    self._opened.popitem(last=False)
                self._opened[entry.key] = Opened(Pyramid(picture))
            return self._opened[entry.key]

    def sight(self, entry: Entry) -> Shown:
        """Return what is to be known of a picture before there is an outline."""
        pyramid = self.opened(entry).pyramid
        width, height = pyramid.picture.width_px, pyramid.picture.height_px
        steps = self.steps(entry)
        return {
            "key": entry.key,
            "name": entry.name,
            "size": [width, height],
            "levels": pyramid.count,
            "tile": TILE,
            "words": dict(steps.now),
        }

    def add_sample(self) -> Entry:
        """Add the scan that is inside the package, once; its options say how large its square is."""
        with self._turn:
            if self._sample is None:
                path = Path(str(resources.files("digitize") / "data" / _SAMPLE))
                self.shelf.add([path])
                self._sample = list(self.shelf.entries.values())[-1]
                words = {**start_words(self.asked.recipe), "square_mm": _SAMPLE_SQUARE}
                self._steps[self._sample.key] = Steps((words,))
            return self._sample

    def steps(self, entry: Entry) -> Steps:
        """Return the steps of a picture; the first is what the command line said."""
        return self._steps.setdefault(entry.key, Steps((start_words(self.asked.recipe),)))

    def outline(self, entry: Entry, sent: object = None) -> Shown:
        """Outline a picture with the options sent, or as they stand, and return all the page shows of it.

        Raises
        ------
        DigitizeError
            If the picture cannot be read or an option cannot be meant; the steps stay as they were then.
        """
        with self._turn:
            steps = self.steps(entry)
            words = steps.now if sent is None else words_from(sent, steps.now)
            self._made_or_why(entry, words)
            self._steps[entry.key] = steps.with_next(words)
            return self._state(entry)

    def move(self, entry: Entry, by: int) -> Shown:
        """Undo or do again so many steps."""
        with self._turn:
            self._steps[entry.key] = self.steps(entry).moved(by)
            return self._state(entry)

    def made(self, entry: Entry) -> Made:
        """Return the result as the options stand.

        Raises
        ------
        DigitizeError
            If there is none.
        """
        found = self._made_or_why(entry, self.steps(entry).now)
        if isinstance(found, DigitizeError):
            raise found
        return found

    def files(self, entry: Entry, dropped: Collection[int]) -> dict[str, bytes]:
        """Return the files of a result."""
        with self._turn:
            return files_of(self.made(entry), self.asked.output, dropped=dropped)

    def write(self, entry: Entry, dropped: Collection[int]) -> list[Path]:
        """Write the files into the folder that the command line named.

        Raises
        ------
        UsageError
            If it named none.
        WriteError
            As `digitize.files.write_files`.
        """
        if self.asked.to is None:
            raise UsageError("No folder was named to write to: take the files as a zip, or start with --to FOLDER.")
        with self._turn:
            made, output = self.made(entry), self.asked.output
            files = files_of(made, output, dropped=dropped)
            return write_files(output.folder, files, force=output.force, keep=made.keep)

    def _made_or_why(self, entry: Entry, words: Words) -> Made | DigitizeError:
        """Return the result, or why there is none; an option that cannot be meant is raised."""
        with self._turn:
            settings = said_with(self.asked.recipe, words).made()
            check_output(settings, self.asked.output)
            opened, key = self.opened(entry), json.dumps(words, sort_keys=True)
            if key not in opened.results:
                opened.results[key] = self._make(opened, settings)
                while len(opened.results) > _KEPT_RESULTS:
                    opened.results.popitem(last=False)
            return opened.results[key]

    def _make(self, opened: Opened, settings: Settings) -> Made | DigitizeError:
        try:
            return make_of(opened.pyramid.picture, settings, max_mpx=self.asked.max_mpx)
        except DigitizeError as error:
            return error

    def _state(self, entry: Entry) -> Shown:
        """Return what the page shows: the options that hold, and the result or why there is none."""
        steps = self.steps(entry)
        found = self._made_or_why(entry, steps.now)
        state: dict[str, Any] = {
            "words": dict(steps.now),
            "step": {"at": steps.at, "count": steps.count},
            "command": self._command(entry, steps.now),
            "typical": typical_values(said_with(self.asked.recipe, steps.now).made()),
        }
        if isinstance(found, DigitizeError):
            return state | {"why": str(found), "result": None}
        return state | {"why": None, "result": shown_result(found.result, found.outlined.scale)}

    def _command(self, entry: Entry, words: Words) -> str:
        to = None if self.asked.to is None else str(self.asked.to)
        groups = (said_with(self.asked.recipe, words), self.asked.files)
        return command_line(entry.name, groups, to=to)
