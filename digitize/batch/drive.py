"""A batch from its pictures to its reports: what is done already is left alone, everything else is done."""

from __future__ import annotations

import contextlib
import json
import multiprocessing
import os
import unicodedata
from collections.abc import Callable, Generator, Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path, PurePosixPath
from typing import Protocol

from .. import ending
from ..errors import UNEXPECTED, PictureError, UsageError, WriteError
from ..files import safe_stem
from . import store
from .find import Found
from .ledger import HOUSE, Ledger
from .lock import only_run
from .names import RESERVED, Place, places_for
from .progress import Progress
from .reports import Counts, check_reports, drop_same, write_reports
from .row import Row, plain
from .store import below, fingerprint, is_address, picture_name
from .sweep import drop_stale, sweep_parts
from .task import Outcome, Task, Wanted

_NAMED = 8  # names in a line
_KILLED_S = 1.0  # within moments


class Runner(Protocol):
    """Something that does tasks: processes of this machine, or a cluster."""

    def run(self, tasks: Iterable[Task]) -> Generator[tuple[Task, Outcome], None, None]:
        """Yield every task with what came of it, in any order."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Batch:
    """What is to be done."""

    root: str  # the folder the pictures' keys are relative to, or its address
    found: Sequence[Found]
    wanted: Callable[[Found], Wanted]
    results: str  # folder or address
    home: Path  # the folder of ledger and reports
    output: Mapping[str, str | bool | None] | None = None  # what was said of how files are written; None: not known
    max_mpx: float = 400.0
    force: bool = False
    retry: bool = False
    troubles: tuple[str, ...] = ()  # folders that could not be looked into


@dataclass(slots=True)
class Stop:
    """Whether the batch is to come to an end: asked by a signal. A second one ends it at once."""

    asked: bool = False

    def __call__(self) -> bool:
        """Return whether it was asked."""
        return self.asked


@dataclass(frozen=True, slots=True, kw_only=True)
class Done:
    """What came of the batch."""

    counts: Counts
    redone: int  # pictures worked on in this run
    skipped: int  # pictures that were done before
    stopped: bool
    troubles: tuple[str, ...]
    reports: tuple[Path, ...]
    gone: tuple[str, ...] = ()  # pictures that are no longer there, whose results are

    @property
    def exit_code(self) -> int:
        """Return 0 if nothing needs a person, 1 if something does, and what the manual lists for the others."""
        if self.stopped:
            return ending.STOPPED
        if self.counts.unexpected:
            return UNEXPECTED
        if self.counts.unwritten:
            return 3
        return 1 if self.counts.need_person or self.troubles else 0

    def lines(self) -> list[str]:
        """Return what is said at the end."""
        counts = self.counts
        told = f"{counts.pictures} pictures, {counts.items} items, {self.redone} worked on, {self.skipped} done before"
        lines = [f"{'stopped: ' if self.stopped else ''}{told}"]
        if counts.need_person:
            failed = f", {counts.without_result} of them without a result" if counts.without_result else ""
            lines.append(f"{counts.need_person} need a person{failed}: {self.reports[1]}, worst first")
        if counts.unwritten:
            lines.append(f"{counts.unwritten} could not be finished on this machine: the same command tries them again")
        if counts.accepted or counts.rejected:
            lines.append(f"a person has accepted {counts.accepted} and rejected {counts.rejected}: left as they are")
        if self.gone:
            more = f" and {len(self.gone) - _NAMED} more" if len(self.gone) > _NAMED else ""
            lines.append(f"no longer there, their results are kept: {', '.join(self.gone[:_NAMED])}{more}")
        if counts.unexpected:
            lines.append(f"{counts.unexpected} met what digitize did not expect: {self.reports[1]} says what to do")
        if self.stopped:
            lines.append("run the same command to go on")
        return [*lines, *(f"  wrote {path}" for path in self.reports)]

    def json(self) -> str:
        """Return the counts for machines."""
        counts = asdict(self.counts)
        return json.dumps({**counts, "redone": self.redone, "skipped": self.skipped, "stopped": self.stopped})


def run_batch(batch: Batch, runner: Runner, stop: Stop, progress: Progress) -> Done:
    """Do the batch and write its reports.

    Raises
    ------
    PictureError
        If there is no picture at all.
    WriteError
        If another run works on the same folder, or ledger or reports cannot be written.
    """
    if not batch.found:
        advice = "Look at the folder, or give --recursive or --pattern, such as '*.jpg'."
        raise PictureError(" ".join([f"no pictures in {batch.root}.", *batch.troubles, advice]))
    house = batch.home / HOUSE
    make_house(house)
    with only_run(house), contextlib.closing(Ledger(house)) as ledger:
        if ledger.said:
            progress.say(ledger.said)
        # what a run that was killed left is made again; only a ledger that was lost has its results known again
        begun_anew = bool(ledger.said) or ledger.note("root") is None
        aside = check_reports(ledger, batch.home, force=batch.force)
        claim(ledger, batch)
        same_names(ledger, batch)
        kept = ledger.places()
        places = places_of(kept, batch)
        folders = _folders(batch, places.values())
        sweep_parts(folders)
        try:
            with ending.undone(lambda: _end_at_once(folders)):
                redone, skipped = _work(batch, ledger, places, runner, progress, begun_anew=begun_anew)
        finally:
            progress.close()
            sweep_parts(folders)
            if begun_anew and not is_address(batch.results):
                _take_in(ledger, batch, folders)
            rows, gone = rows_of(ledger, batch)
            counts = write_reports(ledger, rows, batch.home, batch.results, gone=gone)
            for line in drop_same(aside, batch.home):
                progress.say(line)
    reports = tuple(batch.home / name for name in RESERVED)
    return Done(
        counts=counts,
        redone=redone,
        skipped=skipped,
        stopped=stop.asked,
        troubles=batch.troubles,
        reports=reports,
        gone=tuple(row.shown for row in gone),
    )


@contextlib.contextmanager
def stopping(stop: Stop) -> Iterator[None]:
    """Let a signal ask for the end of the batch; asked once more, the process ends without its workers."""

    def ask() -> None:
        stop.asked = True
        ending.say("stopping after the pictures in work; once more to stop at once")

    with ending.politely(ask):
        yield


def _end_at_once(folders: Iterable[Path]) -> None:
    """End the workers and clear away what they were writing."""
    workers = multiprocessing.active_children()
    for worker in workers:
        worker.kill()
    for worker in workers:
        worker.join(_KILLED_S)
    sweep_parts(folders)


def _work(
    batch: Batch, ledger: Ledger, places: dict[str, Place], runner: Runner, progress: Progress, *, begun_anew: bool
) -> tuple[int, int]:
    """Do what is not done; return how many pictures were worked on and how many were done before."""
    begun: dict[str, tuple[str, Wanted]] = {}
    counted = {"redone": 0, "skipped": 0}

    def tasks() -> Iterator[Task]:
        for one in batch.found:
            asked, stat = batch.wanted(one), fingerprint(one.source)
            known = ledger.row(one.key)
            wanted = _with_change(one, asked, stat, known, ledger, progress)
            if known is not None and _is_done(known, batch, stat, wanted.digest()):
                ledger.set_asked(one.key, asked.settings.given())
                counted["skipped"] += 1
                progress.skipped()
                continue
            begun[one.key] = stat, asked
            yield _task(one, places[one.key], batch, wanted, known, begun_anew=begun_anew)

    with contextlib.closing(runner.run(tasks())) as outcomes:
        for task, outcome in outcomes:
            stat, asked = begun.pop(task.key)
            known = ledger.row(task.key)
            ledger.set_asked(task.key, asked.settings.given())
            if outcome.state == "unchanged":
                ledger.touch(task.key, stat)
                counted["skipped"] += 1
            else:
                record(ledger, known, task, outcome, stat, places[task.key])
                counted["skipped" if outcome.adopted else "redone"] += 1
            progress.ended(task.key, outcome)
    return counted["redone"], counted["skipped"]


def _with_change(one: Found, asked: Wanted, stat: str, known: Row | None, ledger: Ledger, progress: Progress) -> Wanted:
    """Return what a picture is to become with what a person changed for it, if it is the one they saw."""
    decision = ledger.decision(one.key)
    if decision is None:
        return asked
    is_known = known is not None and known.stat == stat != "" and known.outcome.sha256 == decision.sha256
    if not is_known and store.digest(one.source) != decision.sha256:
        ledger.undecide(one.key)
        return asked
    try:
        return decision.changed(asked)
    except UsageError as error:
        progress.say(f"{plain(one.key)}: what a person changed for it does not go with what is asked now: {error}")
        ledger.undecide(one.key)
        return asked


def _task(one: Found, place: Place, batch: Batch, wanted: Wanted, known: Row | None, *, begun_anew: bool) -> Task:
    same = known is not None and known.outcome.state == "done" and known.wanted == wanted.digest()
    is_lost = begun_anew if known is None else known.wanted == ""
    usual = safe_stem(PurePosixPath(picture_name(one.source)).stem) == place.stem
    return Task(
        key=one.key,
        source=one.source,
        folder=below(batch.results, place.folder),
        wanted=wanted,
        stem=None if usual else place.stem,
        max_mpx=batch.max_mpx,
        force=batch.force,
        is_new=is_lost and not batch.force and not is_address(batch.results),
        known_sha256=known.outcome.sha256 if known and same and are_there(known, batch) else None,
    )


def _is_done(known: Row, batch: Batch, stat: str, digest: str) -> bool:
    """Tell whether nothing is to be done for a picture, without reading it."""
    same = known.wanted == digest and known.stat == stat != ""
    if known.decided == "rejected":
        return same
    if known.outcome.state == "done":
        return same and are_there(known, batch)
    return known.outcome.state == "failed" and same and known.max_mpx == batch.max_mpx and not batch.retry


def are_there(row: Row, batch: Batch) -> bool:
    """Tell whether all results lie there in their size; of an object store it is taken for granted."""
    if is_address(batch.results):
        return True
    folder = Path(below(batch.results, row.place.folder))
    with contextlib.suppress(OSError):
        return all((folder / name).stat().st_size == size for name, size in row.outcome.files)
    return False


def record(ledger: Ledger, known: Row | None, task: Task, outcome: Outcome, stat: str, place: Place) -> None:
    """Put down what came of a task, and clear away what an earlier success has left."""
    old = () if known is None else known.outcome.files
    if outcome.state == "done":
        if not is_address(task.folder):
            drop_stale(Path(task.folder), [name for name, _ in old], [name for name, _ in outcome.files])
    else:
        outcome = replace(outcome, files=old)  # they are still there, and the next success clears them away
    ledger.record(
        Row(
            key=task.key,
            place=place,
            source=task.source,
            stat=stat,
            wanted=task.wanted.digest(),
            max_mpx=task.max_mpx,
            outcome=outcome,
        )
    )


def claim(ledger: Ledger, batch: Batch) -> None:
    """Note whose results the folder holds; refuse to mix two folders of pictures."""
    root = batch.root if is_address(batch.root) else os.path.realpath(batch.root)
    before = ledger.note("root")
    if before is not None and before != root and not is_address(before) and os.path.isdir(before):
        raise UsageError(f"{batch.home} holds the results of {plain(before)}. Choose another folder with --to.")
    ledger.set_note("root", root)
    ledger.set_note("results", batch.results)
    ledger.set_note("output", json.dumps(batch.output))


def same_names(ledger: Ledger, batch: Batch) -> None:
    """Know a picture again whose name is the same but for how its accents are put, as some systems change it."""
    asked = {one.key for one in batch.found}
    named = {unicodedata.normalize("NFC", key): key for key in asked}
    for key in [key for key in ledger.places() if key not in asked]:
        now = named.get(unicodedata.normalize("NFC", key))
        if now is not None and ledger.row(now) is None:
            ledger.rename(key, now)


def places_of(kept: Mapping[str, Place], batch: Batch) -> dict[str, Place]:
    """Return where each picture's results go; `kept` is what is known of others."""
    beside = []
    if not is_address(batch.results):
        home = os.path.realpath(batch.results)
        sources = [os.path.abspath(one.source) for one in batch.found if not is_address(one.source)]
        beside = [os.path.relpath(path, home) for path in sources if path.startswith(home + os.sep)]
    return places_for([one.key for one in batch.found], kept, inputs_beside=beside)


def _take_in(ledger: Ledger, batch: Batch, folders: Iterable[Path]) -> None:
    """Put down results in the folder whose pictures the ledger has lost and nobody asked for."""
    from .adopt import strangers

    known = {below(row.place.folder, name) for row in ledger.rows() for name, _ in row.outcome.files}
    for key, stem, outcome in strangers(Path(batch.results), folders, known):
        if ledger.row(key) is None:
            place, source = Place(key.rpartition("/")[0], stem), below(batch.root, key)
            ledger.record(
                Row(key=key, place=place, source=source, stat="", wanted="", max_mpx=batch.max_mpx, outcome=outcome)
            )


def _folders(batch: Batch, places: Iterable[Place]) -> set[Path]:
    """Return every folder of this machine that this run may write into."""
    if is_address(batch.results):
        return {batch.home}
    return {batch.home, *(Path(below(batch.results, place.folder)) for place in places)}


def rows_of(ledger: Ledger, batch: Batch) -> tuple[list[Row], list[Row]]:
    """Return all that is known, and apart from it what is known of pictures that are no more and were not asked for."""
    asked = {one.key for one in batch.found}
    there: list[Row] = []
    gone: list[Row] = []
    for row in ledger.rows():
        known = row.key in asked or is_address(row.source) or os.path.lexists(row.source)
        (there if known else gone).append(row)
    return there, [row for row in gone if row.outcome.files]


def make_house(house: Path) -> None:
    """Make the ledger's folder."""
    try:
        house.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise WriteError(
            f"cannot write into {house.parent}: {error.strerror}. Choose another folder with --to."
        ) from error
