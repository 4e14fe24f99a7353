"""A person's desk: a folder's pictures, the worst first, accepted or rejected one by one, put down as it is said."""

from __future__ import annotations

import contextlib
import json
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TypeVar

from ..errors import DigitizeError, PictureError, UsageError
from ..files import safe_stem
from ..options import Said
from ..run import Made, Output, make_files
from ..settings import Settings
from ..write.preview.thumb import thumbnail
from . import store
from .advice import attention_of, badness
from .decided import Change, Decision
from .drive import Batch, are_there, claim, make_house, places_of, record, rows_of, same_names
from .figures import outcome_of
from .find import Found
from .ledger import HOUSE, Ledger
from .lock import only_run
from .names import Place
from .reports import check_reports, write_reports
from .row import Row
from .sweep import drop_stale
from .task import Outcome, Task, Wanted
from .work import failed, renamed, thumb_of

T = TypeVar("T")
_UNKNOWN = 500  # between what calls for a look (1 to 7) and what is fine (1000)


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One picture on the desk."""

    key: str
    source: Path
    place: Place
    settings: Settings  # that the batch asks of it
    max_mpx: float
    row: Row | None = None  # what is known of it
    decision: Decision | None = None

    @property
    def said(self) -> str:
        """What was decided of what is there: accepted, rejected, or nothing ("")."""
        return "" if self.row is None else self.row.decided

    @property
    def why(self) -> str:
        """What calls for a look, the worst of it; "" where nothing does or nobody knows yet."""
        found = [] if self.row is None else attention_of([replace(self.row, decided="")])
        return found[0].reason if found else ""


class Desk:
    """The pictures of one folder of results; the ledger is used in one thread, whoever asks."""

    def __init__(self, batch: Batch, ledger: Ledger, thread: ThreadPoolExecutor) -> None:
        self._batch, self._ledger, self._thread = batch, ledger, thread
        self.is_changed = False  # whether anything was put down
        self._places = self._in_thread(lambda: places_of(ledger.places(), batch))

    @property
    def results(self) -> Path:
        """The folder that accepted pictures' files lie in."""
        return Path(self._batch.results)

    def cases(self) -> list[Case]:
        """Return all pictures: what calls for a look, the worst first, then what is not known yet, then the others."""
        return sorted(map(self.case, self._batch.found), key=_rank)

    def case(self, one: Found) -> Case:
        """Return what is known of a picture."""
        row, decision = self._in_thread(lambda: (self._ledger.row(one.key), self._ledger.decision(one.key)))
        return Case(
            key=one.key,
            source=Path(one.source),
            place=self._places[one.key],
            settings=self._batch.wanted(one).settings,
            max_mpx=self._batch.max_mpx,
            row=row,
            decision=decision,
        )

    def accept(self, case: Case, made: Made, change: Change) -> Case:
        """Write a picture's files, if they do not lie there already, and put down that they are right.

        Raises
        ------
        PictureError
            If the picture is another one than was looked at.
        WriteError
            If files or ledger cannot be written.
        """
        task = self._task(case, change)
        stat = self._same(case, made.picture.sha256)
        row = self._in_thread(lambda: self._ledger.row(case.key))
        if row is None or not self._lies_there(row, task, made.picture.sha256):
            self._record(case, task, stat, self._written(task, made))
        return self._decide(case, "accepted", task, made.picture.sha256, change)

    def reject(self, case: Case, sha256: str, made: Made | DigitizeError, change: Change) -> Case:
        """Put down that no result of a picture will do; its files are removed. One that cannot be read has no `sha256`.

        Raises
        ------
        PictureError, WriteError
            As `accept`.
        """
        task, sha256 = self._task(case, change), sha256 or store.digest(str(case.source))
        stat = self._same(case, sha256)
        known = self._in_thread(lambda: self._ledger.row(case.key))
        if isinstance(made, DigitizeError):
            outcome = replace(failed(made), sha256=sha256, thumb=None)
        else:
            outcome = outcome_of(made.result, (), sha256)
        if known is not None:
            drop_stale(Path(task.folder), [name for name, _ in known.outcome.files], [])
        if known is not None and known.outcome.state == outcome.state and known.wanted == task.wanted.digest():
            thumb = self._in_thread(lambda: self._ledger.thumb(case.key))
            outcome = replace(known.outcome, files=(), thumb=thumb, sha256=sha256)
        self._put(case, task, stat, replace(outcome, files=()))
        return self._decide(case, "rejected", task, sha256, change)

    def reopen(self, case: Case) -> Case:
        """Forget what was decided; what was rejected is made anew by the next run, or accepted here."""

        def forget() -> None:
            row = self._ledger.row(case.key)
            self._ledger.undecide(case.key)
            if row is not None and row.decided == "rejected":
                thumb = self._ledger.thumb(case.key)
                self._ledger.record(replace(row, wanted="", outcome=replace(row.outcome, thumb=thumb)))

        self._put_down(forget)
        return self.case(self._found(case))

    def is_of(self, case: Case, change: Change) -> bool:
        """Tell whether what was decided of a picture was said of it with this change."""
        return case.decision is not None and case.decision.wanted == self._task(case, change).wanted.digest()

    def _lies_there(self, row: Row, task: Task, sha256: str) -> bool:
        """Whether a picture's files are what the task would write."""
        same = row.wanted == task.wanted.digest() and row.outcome.sha256 == sha256 and row.outcome.state == "done"
        return same and bool(row.outcome.files) and are_there(row, self._batch)

    def _found(self, case: Case) -> Found:
        return next(one for one in self._batch.found if one.key == case.key)

    def _task(self, case: Case, change: Change) -> Task:
        wanted = self._batch.wanted(self._found(case))
        usual = safe_stem(case.source.stem) == case.place.stem
        return Task(
            key=case.key,
            source=str(case.source),
            folder=store.below(self._batch.results, case.place.folder),
            wanted=replace(wanted, settings=change.of(wanted.settings)),
            stem=None if usual else case.place.stem,
            max_mpx=self._batch.max_mpx,
            force=self._batch.force,
        )

    def _same(self, case: Case, sha256: str) -> str:
        """Return what the system says of a picture's file, if it still is the one that was looked at."""
        stat = store.fingerprint(str(case.source))
        if store.digest(str(case.source)) != sha256:
            raise PictureError(f"{case.source.name} has changed since it was opened: start digitize review again.")
        return stat

    def _written(self, task: Task, made: Made) -> Outcome:
        outlined = made.outlined
        if task.stem is not None:
            outlined = replace(outlined, result=renamed(outlined.result, task.stem))
        files = make_files(made.picture, outlined, task.wanted.output, stem=task.stem)
        written = store.write(task.folder, files, force=task.force, keep=made.picture.sha256)
        small = thumbnail(made.picture, outlined.result, outlined.scale)
        return replace(outcome_of(outlined.result, written, made.picture.sha256, small.rings), thumb=thumb_of(small))

    def _record(self, case: Case, task: Task, stat: str, outcome: Outcome) -> None:
        ledger = self._ledger
        self._put_down(lambda: record(ledger, ledger.row(case.key), task, outcome, stat, case.place))

    def _put(self, case: Case, task: Task, stat: str, outcome: Outcome) -> None:
        row = Row(
            key=case.key,
            place=case.place,
            source=str(case.source),
            stat=stat,
            wanted=task.wanted.digest(),
            max_mpx=task.max_mpx,
            outcome=outcome,
        )
        self._put_down(lambda: self._ledger.record(row))

    def _decide(self, case: Case, said: str, task: Task, sha256: str, change: Change) -> Case:
        decision = Decision(said=said, sha256=sha256, wanted=task.wanted.digest(), change=change)  # type: ignore[arg-type]
        given = case.settings.given()

        def put() -> None:
            self._ledger.set_asked(case.key, given)
            self._ledger.decide(case.key, decision)

        self._put_down(put)
        return self.case(self._found(case))

    def _put_down(self, call: Callable[[], T]) -> T:
        """Change the ledger."""
        self.is_changed = True
        return self._in_thread(call)

    def _in_thread(self, call: Callable[[], T]) -> T:
        return self._thread.submit(call).result()

    def write_reports(self) -> None:
        """Write the lists of the folder as they are now."""

        def write() -> None:
            rows, gone = rows_of(self._ledger, self._batch)
            write_reports(self._ledger, rows, self._batch.home, self._batch.results, gone=gone)

        self._in_thread(write)


@contextlib.contextmanager
def desk(batch: Batch) -> Iterator[Desk]:
    """Hold the ledger of a batch that is gone through by a person; its lists are written in the end.

    Raises
    ------
    UsageError, WriteError
        If the folder holds results of other pictures, or cannot be used.
    """
    house = batch.home / HOUSE
    make_house(house)
    with contextlib.ExitStack() as stack:
        stack.enter_context(only_run(house))
        thread = stack.enter_context(ThreadPoolExecutor(1, "digitize-ledger"))
        ledger = thread.submit(Ledger, house).result()
        stack.callback(lambda: thread.submit(ledger.close).result())

        def begin() -> None:
            check_reports(ledger, batch.home, force=batch.force)
            claim(ledger, batch)
            same_names(ledger, batch)

        thread.submit(begin).result()
        held = Desk(batch, ledger, thread)
        try:
            yield held
        finally:
            if held.is_changed:
                held.write_reports()


def is_batch(folder: Path) -> bool:
    """Tell whether a folder holds the results of a batch."""
    return (folder / HOUSE / "ledger.sqlite").is_file()


def batch_in(folder: Path) -> Batch:
    """Return the batch whose results a folder holds, as its ledger tells it.

    Raises
    ------
    UsageError
        If it does not tell enough, or its pictures or results lie at an address.
    """
    house = folder / HOUSE
    with only_run(house), contextlib.closing(Ledger(house)) as ledger:
        root, results, words = ledger.note("root"), ledger.note("results"), ledger.note("output")
        rows = list(ledger.rows())
        asked = {row.key: ledger.asked(row.key) for row in rows}
    told = json.loads(words) if words is not None else None
    if root is None or results is None or told is None or None in asked.values():
        raise UsageError(
            f"{folder} does not tell by which options its results were made: run the same digitize batch command once "
            "more, which makes nothing anew, then open it here."
        )
    if store.is_address(root) or store.is_address(results):
        raise UsageError(f"{folder}: its pictures or results lie at an address; the page opens folders only.")
    output = Said(Output, told).made().into(folder)
    settings = {key: Settings.of(options or {}) for key, options in asked.items()}

    def wanted(one: Found) -> Wanted:
        of = settings[one.key]
        return Wanted(
            settings=of, output=output, beside=store.digest(of.background_photo) if of.background_photo else ""
        )

    found = [Found(key=row.key, source=row.source) for row in rows if Path(row.source).is_file()]
    limit = max((row.max_mpx for row in rows), default=400.0)
    return Batch(
        root=root, found=found, wanted=wanted, results=str(folder.absolute()), home=folder, output=told, max_mpx=limit
    )


def _rank(case: Case) -> tuple[tuple[int, int, float, str], str]:
    if case.row is None:
        return (_UNKNOWN, 0, 0.0, ""), case.key
    return badness(replace(case.row, decided="")), case.key
