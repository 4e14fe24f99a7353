"""What the page asks of a plate is done here: the same plate as the command's from the same documents and table."""

from __future__ import annotations

import json
import shlex
import threading
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from ...document.document import read_document
from ...document.plate import plate_bytes, read_plate
from ...errors import DigitizeError, UsageError
from ...files import safe_stem, write_files
from ...options import Said
from ...plate.asked import PlateAsked
from ...plate.check import checked, conflicts
from ...plate.keep import at_most, beside
from ...plate.lay import lay_bytes
from ...plate.layout import Block, empty, placed
from ...plate.plate import Kind, Plate
from ...records import Result
from ...run import Made
from ...run_plate import Called, Table, files_of_plate, files_of_template, kinds_of, lay, with_holes
from ...seal import mark_in
from ..bundle import files_of
from ..form import options_of
from ..shelf import Entry
from ..steps import UnseenError, Wish
from ..work import Work
from .arts import Arts
from .form import (
    holes_of,
    label_of,
    said_of_plate,
    said_of_template,
    start_words,
    still_usual,
    usual_fields,
    words_on_plate,
)
from .kept import KeptPlates
from .shown import Shown, shown_block, shown_conflict, shown_finding, shown_plate
from .wish import PlateWish, Spot, plain_spot, spots_of, wish_of


@dataclass(frozen=True, slots=True)
class Laid:
    """A plate as it is asked for."""

    plate: Plate
    blocks: tuple[Block, ...]
    by_table: bool  # whether its places are those of a table


class PlateWork:
    """The one plate that is laid on the page; its methods may be called from any thread."""

    def __init__(self, work: Work) -> None:
        self._work, self._turn = work, threading.RLock()
        self.arts = Arts()
        self._start = start_words(work.asked.plate, work.asked.template)
        self._wish, self._count = PlateWish(words=self._start), 0
        self._kept = KeptPlates(work.asked.aside if work.asked.to is None else work.asked.to)
        self._before_s: int | None = None  # when a plate that was taken up was laid; None once it is changed
        self._results: dict[str, tuple[Wish, Result]] = {}
        self._laid: tuple[str, Laid] | None = None

    # --- what is asked ----------------------------------------------------------------------------------------------

    def state(self) -> Shown:
        """Return all the page shows of the plate; the first time that of before, if its pictures are here."""
        with self._turn:
            if self._count == 0:
                before = self._kept.of(self._work.shelf.entries.values(), self.arts)
                if before is not None:
                    self._wish, self._before_s, self._count = before.wish, before.when_s, 1
            return self._state()

    def ask(self, sent: dict[str, Any]) -> Shown:
        """Ask for another plate; return all the page shows of it.

        Raises
        ------
        UsageError
            If it cannot be read, or the page has not seen what another tab has asked for meanwhile.
        """
        with self._turn:
            if sent.get("seen") != self._count:
                raise UnseenError("Another tab has changed the plate meanwhile. It is shown as it is now.")
            wish = wish_of(sent, self._start)
            results = self._documents(wish)
            self._wish, self._count, self._before_s = wish, self._count + 1, None
            keys = dict.fromkeys(key for key, _ in wish.items)
            pictures = {key: (one.source_sha256, self._entry(key)) for key, one in zip(keys, results, strict=True)}
            self._kept.keep(wish, pictures, self.arts)
            return self._state()

    def held_against(self, sent: dict[str, Any]) -> Shown:
        """Return what is wrong with spots that are being moved.

        Raises
        ------
        UsageError
            If they cannot be read.
        """
        with self._turn:
            wish = replace(self._wish, by_hand=True, spots=spots_of(sent.get("spots")))
            return {"conflicts": [*map(shown_conflict, conflicts(self._made(wish).plate))]}

    # --- what is made -----------------------------------------------------------------------------------------------

    def files(self) -> tuple[str, dict[str, bytes]]:
        """Return the plate's files, and what their names begin with.

        Raises
        ------
        DigitizeError
            If there is no plate that can be cut.
        """
        with self._turn:
            plate = self._made(self._wish).plate
            checked(plate)
            return safe_stem(plate.name), files_of_plate(plate)

    def template(self) -> tuple[str, dict[str, bytes]]:
        """Return the template's files, and what their names begin with.

        Raises
        ------
        DigitizeError
            If there is none.
        """
        with self._turn:
            plate = read_plate(plate_bytes(self._made(self._wish).plate))
            checked(plate)
            asked = said_of_template(self._wish.words).made()
            files, _ = files_of_template(plate, mark_in(plate_bytes(plate)), asked, self.arts.of(self._wish.arts))
            return safe_stem(plate.name), files

    def write(self, *, template: bool) -> list[Path]:
        """Write the plate's files, or its template's, into the folder that the command line named.

        Raises
        ------
        DigitizeError
            If it named none, or as `digitize.files.write_files`.
        """
        if self._work.asked.to is None:
            raise UsageError("No folder was named to write to: take the files as a zip, or start with --to FOLDER.")
        _, files = self.template() if template else self.files()
        output = self._work.asked.output
        return write_files(output.folder, files, force=output.force)

    def _made(self, wish: PlateWish) -> Laid:
        """Return the plate of a wish; the last one is kept, for fitting as many as there is room for takes long."""
        results = self._documents(wish)
        told = json.dumps([wish.plain(), [result.source_sha256 for result in results]], sort_keys=True)
        key = f"{told}{[id(result) for result in results]}"
        if self._laid is None or self._laid[0] != key:
            laid = self._lay(wish, results)
            usual = still_usual(self._work.asked.plate, wish.words)
            self._laid = key, replace(laid, plate=replace(laid.plate, usual=usual))
        return self._laid[1]

    def _lay(self, wish: PlateWish, results: list[Result]) -> Laid:
        called = _called(wish)
        kinds = self._kinds(wish, results)
        rows = said_of_plate(wish.words, by_hand=False).made()
        holes = holes_of(wish.words)
        _check_kinds(wish, kinds)
        if wish.by_hand:
            blocks: list[Block] = []
            moved = placed(empty(kinds, rows, name=called.name), [spot.place for spot in wish.spots])
        else:
            moved, blocks = lay(kinds, rows, called)
            first = moved
            moved = at_most(beside(moved, wish.stay), wish.counts)
            if moved == first:
                return Laid(with_holes(moved, holes), tuple(blocks), by_table=False)
        if not moved.places:
            return Laid(with_holes(moved, holes), (), by_table=True)
        table = Table(lay_bytes(moved).decode(), f"{called.stem}.lay.csv")
        plate, _ = lay(kinds, _by_table(wish), called, table=table, holes=holes)
        return Laid(plate, tuple(blocks), by_table=True)

    def _kinds(self, wish: PlateWish, results: list[Result]) -> list[Kind]:
        if not results:
            raise UsageError("Nothing lies on the plate yet: choose an item.")
        upright = not said_of_plate(wish.words, by_hand=True).made().as_laid
        return kinds_of(results, self._only(wish, results), upright=upright)

    def _only(self, wish: PlateWish, results: list[Result]) -> tuple[str, ...]:
        """Return the items to name; none where all of all documents are meant."""
        names = tuple(name for _, name in wish.items)
        every = tuple(item.name for result in results for item in result.items)
        return () if set(every) <= set(names) else names

    def _documents(self, wish: PlateWish) -> list[Result]:
        """Return the outline documents that the items come from, as the command would read them."""
        return [self._result(self._entry(key)) for key in dict.fromkeys(key for key, _ in wish.items)]

    def _entry(self, key: str) -> Entry:
        found = self._work.shelf.entries.get(key)
        if found is None:
            raise UsageError("A picture on the plate is not here any more. Choose its items again.")
        return found

    def _result(self, entry: Entry) -> Result:
        """Return the outline document of a picture, read; made anew only where its options have changed."""
        now = self._work.steps(entry).now
        held = self._results.get(entry.key)
        if held is None or held[0] != now:
            held = self._results[entry.key] = (now, self._told(entry))
        return held[1]

    def _told(self, entry: Entry) -> Result:
        found = self._work.shown(entry)
        if not isinstance(found, Made):
            return found.result
        output = replace(self._work.asked.output, formats=("json",), separate=False, solid=None)
        (document,) = files_of(found, output).values()
        return read_document(document).result

    # --- what is shown ----------------------------------------------------------------------------------------------

    def _state(self) -> Shown:
        wish = self._wish
        told: Shown = {"seen": self._count, "wish": wish.plain(), "arts": self.arts.names(), "why": None, "plate": None}
        told |= {"before": self._before_s, "trouble": self._kept.trouble}
        asked = self._work.asked
        told["usual"] = {
            "plate-form": usual_fields(still_usual(asked.plate, wish.words)),
            "template-form": usual_fields(still_usual(asked.template, wish.words)),
        }
        told |= {"spots": [], "conflicts": [], "said": [], "blocks": [], "by_hand": wish.by_hand, "command": []}
        try:
            laid = self._made(wish)
        except DigitizeError as error:
            return told | {"why": words_on_plate(str(error))}
        stay = {_near(place.kind, place.x_mm, place.y_mm) for place in wish.stay}
        spots = [Spot(one, _near(one.kind, one.x_mm, one.y_mm) in stay) for one in laid.plate.places]
        found = conflicts(laid.plate)
        is_sound = all(one.what == "thin" for one in found)
        return told | {
            "plate": shown_plate(laid.plate),
            "spots": [*map(plain_spot, spots)],
            "conflicts": [*map(shown_conflict, found)],
            "said": [*map(shown_finding, checked(laid.plate))] if is_sound else [],
            "sound": is_sound and bool(spots),
            "blocks": [*map(shown_block, laid.blocks)],
            "command": [*self._commands(wish, laid)],
        }

    def _commands(self, wish: PlateWish, laid: Laid) -> Iterator[str]:
        """Yield the commands that write the same files: the outlines, the plate, its template with artwork."""
        entries = [self._entry(key) for key in dict.fromkeys(key for key, _ in wish.items)]
        yield from filter(None, (self._work.command(entry) for entry in entries))
        names = (Path(result.source_name).stem for result in self._documents(wish))
        documents = [self._at(f"{safe_stem(name)}.json") for name in names]
        called = _called(wish)
        words = [*documents, *_options(said_of_plate(wish.words, by_hand=laid.by_table))]
        for name in self._only(wish, self._documents(wish)):
            words += ["--item", shlex.quote(name)]
        if laid.by_table:
            words += ["--lay", self._at(f"{called.stem}.lay.csv")]
        for hole in holes_of(wish.words):
            words += ["--plate-hole", shlex.quote(hole)]
        if called.name != Called().name:
            words += ["--name", shlex.quote(called.name)]
        for one in called.label:
            words += ["--label", shlex.quote(one)]
        yield " ".join(["digitize", "plate", *words, *self._to()])
        arts = [f"{kind}={art.name}" for kind, art in self.arts.of(wish.arts).items()]
        asked = said_of_template(wish.words)
        if arts or asked.said():
            words = [self._at(f"{called.stem}.json"), *(f"--artwork {shlex.quote(one)}" for one in arts)]
            yield " ".join(["digitize", "template", *words, *_options(asked), *self._to()])

    def _at(self, name: str) -> str:
        to = self._work.asked.to
        return shlex.quote(name if to is None else str(to / name))

    def _to(self) -> list[str]:
        to = self._work.asked.to
        return [] if to is None else ["--to", shlex.quote(str(to))]


def _check_kinds(wish: PlateWish, kinds: list[Kind]) -> None:
    """Refuse spots of what does not lie on the plate."""
    names = {kind.name for kind in kinds}
    for spot in wish.spots:
        if spot.place.kind not in names:
            raise UsageError(
                f"A pocket is for {spot.place.kind}, which is not on the plate: choose that item too, or lay anew."
            )


def _called(wish: PlateWish) -> Called:
    name = wish.words["name"]
    return Called(str(name) if name else Called().name, label_of(wish.words))


def _by_table(wish: PlateWish) -> PlateAsked:
    return said_of_plate(wish.words, by_hand=True).made()


def _options(said: Said[Any]) -> list[str]:
    return [*options_of(said)]


def _near(kind: str, x_mm: float, y_mm: float) -> tuple[str, float, float]:
    return kind, round(x_mm, 3), round(y_mm, 3)
