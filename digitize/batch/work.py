"""One task, from the picture's bytes to its files, in whatever process it is run; it never raises."""

from __future__ import annotations

import sys
import time
import traceback
from dataclasses import replace

from ..errors import DigitizeError, OutlineError, PictureError, ScaleError, UsageError, WriteError
from ..records import Finding, Item, Result
from ..run import findings_of, make_files, read_background
from ..trust.uncertainty import length_k2_mm
from ..write.preview.thumb import Small, thumbnail
from . import store
from .task import ItemFigures, Outcome, State, Task, Thumb, Warned

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
        return _failed(error)
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
    try:
        empty = read_background(task.wanted.settings, max_mpx=task.max_mpx)
        outlined = outline_picture(picture, task.wanted.settings, empty=empty)
    except DigitizeError as error:
        return replace(_failed(error), sha256=picture.sha256, thumb=_thumb(thumbnail(picture)))
    if task.stem is not None:
        outlined = replace(outlined, result=_renamed(outlined.result, task.stem))
    files = make_files(picture, outlined, task.wanted.output, stem=task.stem)
    written = store.write(task.folder, files, force=task.force, keep=picture.sha256)
    return _outcome(outlined.result, thumbnail(picture, outlined.result, outlined.scale), picture.sha256, written)


def _failed(error: DigitizeError) -> Outcome:
    kind = next((kind for type_, kind in _KINDS if isinstance(error, type_)), "machine")
    state: State = "unwritten" if kind in ("write", "machine") else "failed"
    return Outcome(state=state, problem=str(error), kind=kind, exit_code=error.exit_code)


def _outcome(result: Result, small: Small, sha256: str, written: tuple[tuple[str, int], ...]) -> Outcome:
    return Outcome(
        state="done",
        sha256=sha256,
        reference=result.scale.reference,
        items=tuple(_figures(item, rings) for item, rings in zip(result.items, small.rings, strict=True)),
        warned=tuple(_warned(where, finding) for where, finding in findings_of(result)),
        files=written,
        thumb=_thumb(small),
    )


def _thumb(small: Small) -> Thumb:
    return Thumb(width=small.width, height=small.height, jpeg=small.jpeg)


def _renamed(result: Result, stem: str) -> Result:
    """Return the result with its items named after the files, so that names differ wherever files do."""
    items = [replace(item, name=f"{stem}-{number}") for number, item in enumerate(result.items, 1)]
    return replace(result, items=tuple(items))


def _figures(item: Item, rings: tuple[tuple[float, ...], ...]) -> ItemFigures:
    read = item.calipers
    assert read is not None  # the recipe always reads them
    return ItemFigures(
        name=item.name,
        width_mm=item.width_mm,
        height_mm=item.height_mm,
        area_mm2=item.area_mm2,
        perimeter_mm=item.perimeter_mm,
        holes=len(item.holes_mm),
        outline_k2_mm=item.uncertainty.profile_k2_mm,
        length_k2_mm=length_k2_mm(item),
        caliper_length_mm=read.length_mm,
        caliper_width_mm=read.width_mm,
        caliper_length_k2_mm=read.length_k2_mm,
        caliper_width_k2_mm=read.width_k2_mm,
        rings=rings,
    )


def _warned(where: str, finding: Finding) -> Warned:
    return Warned(
        where=where,
        code=finding.code,
        message=finding.message,
        attention=finding.attention,
        value=finding.value,
        limit=finding.limit,
    )


def _peak_mb() -> float:
    """Return the most memory this process has held; 0 where the system does not tell."""
    try:
        import resource
    except ImportError:
        return 0.0
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / (1e6 if sys.platform == "darwin" else 1024)
