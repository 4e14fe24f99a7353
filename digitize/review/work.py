"""What the page asks for is done here: one picture at a time, by the same recipe as the command's."""

from __future__ import annotations

import json
import threading
from collections import OrderedDict
from collections.abc import Collection
from dataclasses import dataclass, field, replace
from importlib import resources
from pathlib import Path
from typing import Any

from ..errors import DigitizeError, OutlineError, PictureError, ScaleError, UsageError
from ..files import safe_stem, write_files
from ..hand.read import corrections_toml
from ..hand.steps import Corrections, Step
from ..run import Lying, Made, check_output, make_of
from ..spoken import Spoken
from .ahead import Ahead
from .asked import Asked
from .begin import Begin
from .bundle import files_of
from .checks import check_on_page
from .folder import Folder
from .form import command_line, said_with, start_words, typical_values, usual_fields, words_from
from .on_page import words_on_page
from .shelf import Entry, Shelf
from .shown import Shown, shown_result, shown_unmade
from .steps import Steps, Wish, refuse_unseen
from .tiles import TILE, Pyramid
from .under_way import UnderWay
from .wishes import Wishes

_OPEN_PICTURES = 2  # decoded in memory: 105 MB each of 35 Mpx
_SAMPLE, _SAMPLE_SQUARE = "fobs.jpg", "30"  # as `digitize demo` has it
_KEPT_RESULTS = 12  # of one picture, so that undoing costs nothing

Found = Lying | Made | DigitizeError  # what a batch has written already, what was made here, or why there is nothing


@dataclass(slots=True)
class Opened:
    """A picture that is decoded, and what came of it by its options."""

    pyramid: Pyramid
    results: OrderedDict[str, Found] = field(default_factory=OrderedDict)


class Work:
    """All that is under way. Its methods may be called from any thread; what takes long waits for its turn."""

    def __init__(self, asked: Asked, shelf: Shelf, folder: Folder | None = None) -> None:
        self.asked, self.shelf, self.folder = asked, shelf, folder
        self._ahead: Ahead[Opened, Found] = Ahead()
        self._turn, self._under_way = threading.RLock(), UnderWay()
        self._opened: OrderedDict[str, Opened] = OrderedDict()
        self._wishes = Wishes(asked)
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
                found = self._ahead.read(entry.key) or self._read(entry)
                while len(self._opened) >= _OPEN_PICTURES:
                    self._opened.popitem(last=False)
                self._opened[entry.key] = found
            return self._opened[entry.key]

    def _read(self, entry: Entry) -> Opened:
        from ..reading.picture import read_picture

        return Opened(Pyramid(read_picture(entry.path, max_mpx=self.asked.max_mpx)))

    def prepare(self, entry: Entry) -> bool:
        """Begin to read and outline a picture that will be looked at next; False where another is in the way.

        It is not outlined where a batch has done so.
        """
        if entry.key in self._opened:
            return False

        def make(opened: Opened) -> tuple[str, Found]:
            wish = self._wishes.steps(entry, opened.pyramid.picture.sha256, is_shown=False).now
            return _name(wish), self._find(entry, opened, wish)

        return self._ahead.begin(entry.key, lambda: self._read(entry), make)

    def sight(self, entry: Entry) -> Shown:
        """Return what is to be known of a picture before there is an outline."""
        pyramid = self.opened(entry).pyramid
        width, height = pyramid.picture.width_px, pyramid.picture.height_px
        with self._turn:
            steps = self.steps(entry)
        return {
            "key": entry.key,
            "name": entry.name,
            "size": [width, height],
            "levels": pyramid.count,
            "tile": TILE,
            "words": dict(steps.now.words),
            "before": self._wishes.told_before(entry),
            "only": None if entry.begin is None or entry.begin.items is None else [*entry.begin.items],
        }

    def add_sample(self) -> Entry:
        """Add the scan that is inside the package, once; its options say how large its square is."""
        with self._turn:
            if self._sample is None:
                path = Path(str(resources.files("digitize") / "data" / _SAMPLE))
                words = {**start_words(self.asked.recipe), "square_mm": _SAMPLE_SQUARE}
                usual = said_with(self.asked.recipe, words).still_usual()
                self.shelf.add([path], begin=Begin(Spoken(words, usual=usual)))
                self._sample = list(self.shelf.entries.values())[-1]
            return self._sample

    def steps(self, entry: Entry) -> Steps:
        """Return the steps of a picture: those kept of it, and then what the command line said, if that is new.

        Raises
        ------
        PictureError
            If it cannot be read.
        """
        return self._wishes.steps(entry, self._sha256(entry))

    def _sha256(self, entry: Entry) -> str:
        return self.opened(entry).pyramid.picture.sha256

    def anew(self, entry: Entry) -> Shown:
        """Ask for what was asked for at first, as one step more; return all the page shows then."""
        with self._turn:
            return self._go_on(entry, self._wishes.first(entry, self._sha256(entry)))

    def outline(self, entry: Entry, sent: object = None, seen: object = None) -> Shown:
        """Outline a picture with the options sent, or as they stand, and return all the page shows of it.

        Raises
        ------
        DigitizeError
            If the picture cannot be read or an option cannot be meant; the steps stay as they were then. Also where
            options are sent by a page that has not seen the last step.
        """
        with self._turn:
            steps = self.steps(entry)
            if sent is None:
                return self._state(entry)
            refuse_unseen(steps, seen)
            return self._go_on(entry, Wish(words_from(sent, steps.now.words), steps.now.by_hand))

    def correct(self, entry: Entry, add: object = None, without: object = None, seen: object = None) -> Shown:
        """Add a correction by hand, or leave one of them out, and return all the page shows then.

        Raises
        ------
        DigitizeError
            As `outline`.
        """
        with self._turn:
            steps = self.steps(entry)
            refuse_unseen(steps, seen)
            now = steps.now
            hand = now.by_hand if add is None else (*now.by_hand, Step.of(add))
            if without is not None:
                if not isinstance(without, int) or isinstance(without, bool) or not 0 <= without < len(now.by_hand):
                    raise UsageError("There is no such correction.")
                hand = (*hand[:without], *hand[without + 1 :])
            return self._go_on(entry, Wish(now.words, hand))

    def move(self, entry: Entry, by: int) -> Shown:
        """Undo or do again so many steps."""
        with self._turn:
            steps = self.steps(entry).moved(by)
            self._found(entry, steps.now)
            self._wishes.keep(entry, self._sha256(entry), steps)
            return self._state(entry)

    def stop(self, entry: Entry) -> bool:
        """Stop the outline that is being made of a picture; False if there is none. Who asked for it is told."""
        return self._under_way.stop(entry.key)

    def corrections(self, entry: Entry) -> tuple[str, bytes]:
        """Return the corrections by hand as a file, and its name."""
        with self._turn:
            name = _steps_name(entry)
            return name, corrections_toml(self._corrections(entry, self.steps(entry).now))

    def _go_on(self, entry: Entry, wish: Wish) -> Shown:
        self._found(entry, wish)
        self._wishes.keep(entry, self._sha256(entry), self.steps(entry).with_next(wish))
        return self._state(entry)

    def _corrections(self, entry: Entry, wish: Wish) -> Corrections:
        return Corrections(steps=wish.by_hand, picture=self._sha256(entry))

    def as_it_stands(self, entry: Entry, seen: object) -> tuple[Wish, str]:
        """Return what is asked for of a picture, and its SHA-256; also where it cannot be read.

        Raises
        ------
        UnseenError
            If it is asked for by a page that has not seen the last step.
        """
        with self._turn:
            try:
                refuse_unseen(self.steps(entry), seen)
                return self.steps(entry).now, self._sha256(entry)
            except PictureError:
                return self._wishes.first(entry, ""), ""

    def shown(self, entry: Entry) -> Lying | Made:
        """Return what is shown of a picture as the options stand: what a batch has written, else what is made here.

        Raises
        ------
        DigitizeError
            If there is nothing.
        """
        found = self._found(entry, self.steps(entry).now)
        if isinstance(found, DigitizeError):
            raise found
        return found

    def made(self, entry: Entry) -> Made:
        """Return the result as the options stand, made here.

        Raises
        ------
        DigitizeError
            If there is none.
        """
        return self.made_of(entry, self.steps(entry).now)

    def made_of(self, entry: Entry, wish: Wish) -> Made:
        """Return the result of what is asked for, made here.

        Raises
        ------
        DigitizeError
            If there is none.
        """
        with self._turn:
            found = self._found(entry, wish)
            if isinstance(found, Lying):
                opened = self.opened(entry)
                made = self._under_way.make(entry.key, lambda: self._make(entry, opened, wish))
                found = opened.results[_name(wish)] = made
            if isinstance(found, DigitizeError):
                raise found
            return found

    def check(self, entry: Entry, number: object, readings: object) -> Shown:
        """Return how calipers' readings of an item agree with its outline; `number` counts from 1.

        Raises
        ------
        DigitizeError
            If there is no outline, or no such item.
        """
        with self._turn:
            result, wish = self.shown(entry).result, self.steps(entry).now
            settings = self._wishes.settings(entry, wish, self._sha256(entry))
            return check_on_page(result, number, readings, read_k2_mm=settings.caliper_error_mm)

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

    def _found(self, entry: Entry, wish: Wish) -> Found:
        """Return what there is of a picture, or why there is nothing; an option that cannot be meant is raised."""
        with self._turn:
            check_output(self._wishes.settings(entry, wish, self._sha256(entry)), self.asked.output)
            opened, key = self.opened(entry), _name(wish)

            def find() -> Found:
                return self._ahead.made(entry.key, key) or self._find(entry, opened, wish)

            if key not in opened.results:
                opened.results[key] = self._under_way.make(entry.key, find)
                while len(opened.results) > _KEPT_RESULTS:
                    opened.results.popitem(last=False)
            return opened.results[key]

    def _find(self, entry: Entry, opened: Opened, wish: Wish) -> Found:
        """Return what a batch has written of a picture; else outline it."""
        sha256 = opened.pyramid.picture.sha256
        lying = None if self.folder is None else self.folder.lying(entry, wish, sha256)
        return lying or self._make(entry, opened, wish)

    def _make(self, entry: Entry, opened: Opened, wish: Wish) -> Made | DigitizeError:
        picture = opened.pyramid.picture
        try:
            return make_of(picture, self._wishes.settings(entry, wish, picture.sha256), max_mpx=self.asked.max_mpx)
        except DigitizeError as error:
            return error

    def _state(self, entry: Entry) -> Shown:
        """Return what the page shows: the options that hold, and the result or why there is none."""
        steps = self.steps(entry)
        found = self._found(entry, steps.now)
        settings = self._wishes.settings(entry, steps.now, self._sha256(entry))
        state: dict[str, Any] = {
            "words": dict(steps.now.words),
            "by_hand": [step.plain() for step in steps.now.by_hand],
            "step": {"at": steps.at, "count": steps.count},
            "command": self._command(entry, steps.now),
            "typical": typical_values(settings),
            "usual": usual_fields(settings),
            "trouble": self._wishes.trouble,
            **({} if self.folder is None else self.folder.state(entry, steps.now)),
        }
        if isinstance(found, DigitizeError):
            squares = [[*at] for at in found.squares_px] if isinstance(found, ScaleError) else []
            there = shown_unmade(found) if isinstance(found, OutlineError) else None
            return state | {"why": words_on_page(str(found)), "squares": squares, "there": there, "result": None}
        return state | {"why": None, "result": shown_result(found.result, found.scale)}

    def command(self, entry: Entry) -> str:
        """Return the command that writes a picture's files as they are."""
        with self._turn:
            return self._command(entry, self.steps(entry).now)

    def _command(self, entry: Entry, wish: Wish) -> str:
        """Return the command that writes the same; "" where options came with a document that no command line says."""
        if entry.begin is not None and entry.begin.spoken.held:
            return ""
        to = None if self.asked.to is None else str(self.asked.to)
        recipe = said_with(self.asked.recipe, wish.words)
        recipe = replace(recipe, words={**recipe.words, "by_hand": _steps_name(entry) if wish.by_hand else None})
        return command_line(entry.name, (recipe, self.asked.files), to=to)


def _name(wish: Wish) -> str:
    """Return what tells one thing asked for from every other."""
    return json.dumps([dict(wish.words), [step.plain() for step in wish.by_hand]], sort_keys=True)


def _steps_name(entry: Entry) -> str:
    return f"{safe_stem(entry.path.stem)}.by-hand.toml"
