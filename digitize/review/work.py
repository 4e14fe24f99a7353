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

from ..errors import DigitizeError, PictureError, ScaleError, UsageError
from ..files import safe_stem, write_files
from ..hand.read import corrections_toml
from ..hand.steps import Corrections, Step
from ..options import Said
from ..run import Made, Output, check_output, make_of
from ..settings import Settings
from ..spoken import Spoken
from .ahead import Ahead
from .aside import Aside
from .begin import Begin
from .bundle import files_of
from .checks import check_on_page
from .folder import Folder
from .form import command_line, said_with, start_words, typical_values, words_from
from .kept import Before, Keeps, Kept
from .on_page import words_on_page
from .shelf import Entry, Shelf
from .shown import Shown, shown_result
from .steps import Steps, UnseenError, Wish, gone_on
from .tiles import TILE, Pyramid
from .under_way import UnderWay

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
    aside: Path | None = None  # the folder of steps where there is no `to`; None: they go with the process


@dataclass(slots=True)
class Opened:
    """A picture that is decoded, and what came of it by its options."""

    pyramid: Pyramid
    results: OrderedDict[str, Made | DigitizeError] = field(default_factory=OrderedDict)


class Work:
    """All that is under way. Its methods may be called from any thread; what takes long waits for its turn."""

    def __init__(self, asked: Asked, shelf: Shelf, folder: Folder | None = None) -> None:
        self.asked, self.shelf, self.folder = asked, shelf, folder
        self._ahead: Ahead[Opened, Made | DigitizeError] = Ahead()
        self._turn, self._under_way = threading.RLock(), UnderWay()
        self._opened: OrderedDict[str, Opened] = OrderedDict()
        self._steps: dict[str, Steps] = {}
        self.kept: Keeps = Aside(asked.aside) if asked.to is None and asked.aside is not None else Kept(asked.to)
        self._before: dict[str, Before] = {}  # steps that were gone on from
        self._by_hand = asked.recipe.made().by_hand if asked.recipe.words.get("by_hand") else None
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
        """Begin to read and outline a picture that will be looked at next; False where another is in the way."""
        if entry.key in self._opened:
            return False

        def make(opened: Opened) -> tuple[str, Made | DigitizeError]:
            sha256 = opened.pyramid.picture.sha256
            wish = (self._steps.get(entry.key) or self._begun(entry, sha256)).now
            return _name(wish), self._make(opened, self._settings(entry, wish, sha256))

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
            "before": self._told_before(entry),
            "only": None if entry.begin is None or entry.begin.items is None else [*entry.begin.items],
        }

    def _told_before(self, entry: Entry) -> Shown | None:
        """Return when the steps that were gone on from were made, and how many; None where nobody had done anything."""
        before = self._before.get(entry.key)
        if before is None or before.steps.count < 2:
            return None
        return {"steps": before.steps.count - 1, "when": before.when_s}

    def add_sample(self) -> Entry:
        """Add the scan that is inside the package, once; its options say how large its square is."""
        with self._turn:
            if self._sample is None:
                path = Path(str(resources.files("digitize") / "data" / _SAMPLE))
                words = {**start_words(self.asked.recipe), "square_mm": _SAMPLE_SQUARE}
                self.shelf.add([path], begin=Begin(Spoken(words)))
                self._sample = list(self.shelf.entries.values())[-1]
            return self._sample

    def steps(self, entry: Entry) -> Steps:
        """Return the steps of a picture: those kept of it, and then what the command line said, if that is new.

        Raises
        ------
        PictureError
            If it cannot be read.
        """
        found = self._steps.get(entry.key)
        if found is None:
            found = self._steps.setdefault(entry.key, self._begun(entry, self._sha256(entry)))
        return found

    def _begun(self, entry: Entry, sha256: str) -> Steps:
        """Return the steps that a picture begins with."""
        first, before = self._first(entry, sha256), self.kept.of(sha256)
        found, is_other = Steps((first,)), True
        if before is not None:
            self._before[entry.key], found = before, gone_on(before.steps, first)
            is_other = found != before.steps
        then = None if entry.begin is None else entry.begin.then
        return found if then is None or not is_other else found.with_next(then)

    def _sha256(self, entry: Entry) -> str:
        return self.opened(entry).pyramid.picture.sha256

    def anew(self, entry: Entry) -> Shown:
        """Ask for what was asked for at first, as one step more; return all the page shows then."""
        with self._turn:
            return self._go_on(entry, self._first(entry, self._sha256(entry)))

    def _first(self, entry: Entry, sha256: str) -> Wish:
        """Return what is asked for of a picture before anybody did anything on the page."""
        if entry.begin is not None:
            return entry.begin.first
        given = self._by_hand
        hand = given.steps if given is not None and given.picture in ("", sha256) else ()
        return Wish(start_words(self.asked.recipe), hand)

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
            self._refuse_unseen(entry, seen)
            return self._go_on(entry, Wish(words_from(sent, steps.now.words), steps.now.by_hand))

    def correct(self, entry: Entry, add: object = None, without: object = None, seen: object = None) -> Shown:
        """Add a correction by hand, or leave one of them out, and return all the page shows then.

        Raises
        ------
        DigitizeError
            As `outline`.
        """
        with self._turn:
            self._refuse_unseen(entry, seen)
            now = self.steps(entry).now
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
            self._made_or_why(entry, steps.now)
            self._set(entry, steps)
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
        self._made_or_why(entry, wish)
        self._set(entry, self.steps(entry).with_next(wish))
        return self._state(entry)

    def _set(self, entry: Entry, steps: Steps) -> None:
        self._steps[entry.key] = steps
        self.kept.keep(self._sha256(entry), entry.name, steps)

    def _refuse_unseen(self, entry: Entry, seen: object) -> None:
        """Refuse what a page asks for that does not show the last step: another has gone on meanwhile."""
        steps = self.steps(entry)
        if seen is not None and seen != [steps.at, steps.count]:
            raise UnseenError("Another tab has changed this picture meanwhile. It is shown as it is now: set it again.")

    def _corrections(self, entry: Entry, wish: Wish) -> Corrections:
        return Corrections(steps=wish.by_hand, picture=self._sha256(entry))

    def as_it_stands(self, entry: Entry, seen: object) -> tuple[Wish, Made | DigitizeError, str]:
        """Return what is asked for of a picture, what came of it, and its SHA-256; also where it cannot be read.

        Raises
        ------
        UnseenError
            If it is asked for by a page that has not seen the last step.
        """
        with self._turn:
            try:
                self._refuse_unseen(entry, seen)
                now = self.steps(entry).now
                return now, self._made_or_why(entry, now), self._sha256(entry)
            except PictureError as error:
                return self._first(entry, ""), error, ""

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

    def check(self, entry: Entry, number: object, readings: object) -> Shown:
        """Return how calipers' readings of an item agree with its outline; `number` counts from 1.

        Raises
        ------
        DigitizeError
            If there is no outline, or no such item.
        """
        with self._turn:
            made, wish = self.made(entry), self.steps(entry).now
            settings = self._settings(entry, wish, self._sha256(entry))
            return check_on_page(made.result, number, readings, read_k2_mm=settings.caliper_error_mm)

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

    def _settings(self, entry: Entry, wish: Wish, sha256: str) -> Settings:
        if entry.begin is None:
            recipe = said_with(self.asked.recipe, wish.words)
            settings = replace(recipe, words={**recipe.words, "by_hand": None}).made()
        else:
            settings = entry.begin.spoken.settings(wish.words)
            if wish.by_hand == entry.begin.by_hand:
                return replace(settings, by_hand=entry.begin.corrections)
        return replace(settings, by_hand=Corrections(steps=wish.by_hand, picture=sha256) if wish.by_hand else None)

    def _made_or_why(self, entry: Entry, wish: Wish) -> Made | DigitizeError:
        """Return the result, or why there is none; an option that cannot be meant is raised."""
        with self._turn:
            settings = self._settings(entry, wish, self._sha256(entry))
            check_output(settings, self.asked.output)
            opened, key = self.opened(entry), _name(wish)

            def make() -> Made | DigitizeError:
                return self._ahead.made(entry.key, key) or self._make(opened, settings)

            if key not in opened.results:
                opened.results[key] = self._under_way.make(entry.key, make)
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
            "words": dict(steps.now.words),
            "by_hand": [step.plain() for step in steps.now.by_hand],
            "step": {"at": steps.at, "count": steps.count},
            "command": self._command(entry, steps.now),
            "typical": typical_values(self._settings(entry, steps.now, self._sha256(entry))),
            "trouble": self.kept.trouble,
            **({} if self.folder is None else self.folder.state(entry, steps.now)),
        }
        if isinstance(found, DigitizeError):
            squares = [[*at] for at in found.squares_px] if isinstance(found, ScaleError) else []
            return state | {"why": words_on_page(str(found)), "squares": squares, "result": None}
        return state | {"why": None, "result": shown_result(found.result, found.outlined.scale)}

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
