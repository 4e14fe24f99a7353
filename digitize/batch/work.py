"""One task, from the picture's bytes to its files, in whatever process it is run; it never raises."""

from __future__ import annotations

import sys
import time
import traceback
from dataclasses import replace
from pathlib import Path

from ..errors import DigitizeError, OutlineError, PictureError, ScaleError, UsageError, WriteError
from ..files import safe_stem
from ..records import Picture, Result
from ..run import make_files, read_background
from ..write.preview.thumb import Small, thumbnail
from . import store
from .figures import outcome_of
from .task import Outcome, State, Task, Thumb

_KINDS = (
    (WriteError, "write"),
    (PictureError, "picture"),
    (ScaleError, "scale"),
    (OutlineError, "outline"),
    (UsageError, "usage"),
)


def work(task: Task) -> Outcome:
    """Outline a picture and write its files; every failure comes back as a sentence.

    The same task done twice, also at once in two processes, leaves the same files.
    """
    start, worked = time.perf_counter(), time.process_time()
    outcome = _guarded(task)
    seconds, worked = time.perf_counter() - start, time.process_time() - worked
    return replace(outcome, seconds=seconds, worked=worked, peak_mb=_peak_mb())


def _guarded(task: Task) -> Outcome:
    try:
        return _outlined(task)
    except DigitizeError as error:
        return failed(error)
    except MemoryError:
        problem = "not enough memory for this picture. Close programs, use fewer --jobs, or scan a smaller area."
        return Outcome(state="unwritten", problem=problem, kind="memory", exit_code=3)
    except Exception as error:  # a night's work does not end at one picture
        problem = (
            f"a defect in digitize ({type(error).__name__}: {str(error)[:200]}). The other pictures are not affected. "
            "Please report it with the picture; the ledger holds the place."
        )
        return Outcome(state="failed", problem=problem, kind="defect", exit_code=1, detail=traceback.format_exc())


def _outlined(task: Task) -> Outcome:
    from ..recipe.outline import outline_picture

    if task.known_sha256 and store.digest(task.source) == task.known_sha256:
        return Outcome(state="unchanged", sha256=task.known_sha256)
    picture = store.read(task.source, max_mpx=task.max_mpx)
    if task.is_new and (found := _adopted(task, picture)) is not None:
        return found
    try:
        empty = read_background(task.wanted.settings, max_mpx=task.max_mpx)
        outlined = outline_picture(picture, task.wanted.settings, empty=empty)
    except DigitizeError as error:
        return replace(failed(error), sha256=picture.sha256, thumb=thumb_of(thumbnail(picture)))
    if task.stem is not None:
        outlined = replace(outlined, result=renamed(outlined.result, task.stem))
    files = make_files(picture, outlined, task.wanted.output, stem=task.stem)
    written = store.write(task.folder, files, force=task.force, keep=picture.sha256)
    small = thumbnail(picture, outlined.result, outlined.scale)
    return replace(outcome_of(outlined.result, written, picture.sha256, small.rings), thumb=thumb_of(small))


def _adopted(task: Task, picture: Picture) -> Outcome | None:
    """Return what came of a picture whose results stand there already."""
    from .adopt import adopted

    stem = task.stem if task.stem is not None else safe_stem(Path(picture.name).stem)
    found = adopted(task, stem, picture.sha256)
    if found is None:
        return None
    came = outcome_of(*found, picture.sha256)
    return replace(came, thumb=thumb_of(thumbnail(picture)), adopted=True)


def failed(error: DigitizeError) -> Outcome:
    """Return what came of a picture that ended in an error."""
    kind = next((kind for type_, kind in _KINDS if isinstance(error, type_)), "machine")
    state: State = "unwritten" if kind in ("write", "machine") else "failed"
    return Outcome(state=state, problem=str(error), kind=kind, exit_code=error.exit_code)


def thumb_of(small: Small) -> Thumb:
    """Return a small picture as the ledger keeps it."""
    return Thumb(width=small.width, height=small.height, jpeg=small.jpeg)


def renamed(result: Result, stem: str) -> Result:
    """Return the result with its items named after the files, so that names differ wherever files do."""
    items = [replace(item, name=f"{stem}-{number}") for number, item in enumerate(result.items, 1)]
    return replace(result, items=tuple(items))


def named_as_alone(result: Result) -> Result:
    """Return the result with its items named after the picture again, as it names them where no other has that name."""
    return renamed(result, result.source_name.rsplit(".", 1)[0] or result.source_name)


def _peak_mb() -> float:
    """Return the most memory this process has held; 0 where the system does not tell."""
    try:
        import resource
    except ImportError:
        return 0.0
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / (1e6 if sys.platform == "darwin" else 1024)
