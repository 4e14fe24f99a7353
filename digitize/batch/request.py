"""From what the user asked for to a batch that runs."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

from ..errors import UsageError
from ..run import Output, check_output
from ..settings import Settings
from . import memory, store
from .drive import Batch, Done, Runner, Stop, run_batch, stopping
from .find import Found, Search, find_pictures
from .ledger import HOUSE
from .lists import read_list, read_manifest
from .pool import Limits, Pool
from .progress import Progress
from .store import is_address, local
from .task import Wanted
from .work import work


@dataclass(frozen=True, slots=True, kw_only=True)
class Request:
    """What the user asked for."""

    folder: str | None
    to: str
    settings: Callable[[dict[str, str]], Settings]  # with the cells of a manifest's row
    columns: tuple[str, ...]  # a manifest may have
    output: Output
    output_words: Mapping[str, str | bool | None] | None = None  # that asked for it
    max_mpx: float = 400.0
    recursive: bool = False
    patterns: tuple[str, ...] = ()
    list_file: Path | None = None
    manifest: Path | None = None
    file_columns: tuple[str, ...] = ()  # of a manifest, whose cells name files
    anywhere: bool = False  # list and manifest may name what lies outside the folder
    retry: bool = False
    jobs: int | None = None
    memory_gb: float | None = None
    dask: str | None = None
    ledger: Path | None = None


def start(request: Request, progress: Callable[[int], Progress] = Progress) -> Done:
    """Find the pictures and do the batch.

    Raises
    ------
    UsageError
        If options or a manifest cannot be meant.
    PictureError
        If there are no pictures.
    WriteError
        If the results' folder cannot be used.
    """
    results, home = _home(request)
    root, found, troubles = _found(request, results)
    shown = progress(len(found))
    for trouble in troubles:
        shown.say(trouble)
    batch = Batch(
        root=root,
        found=found,
        wanted=_wanted(request, found),
        results=results,
        home=home,
        output=request.output_words,
        max_mpx=request.max_mpx,
        force=request.output.force,
        retry=request.retry,
        troubles=tuple(troubles),
    )
    stop = Stop()
    with stopping(stop):
        return run_batch(batch, _runner(request, home, stop), stop, shown)


def _home(request: Request) -> tuple[str, Path]:
    """Return where the results go, and the folder of this machine that ledger and reports go to."""
    results = local(request.to)
    if not is_address(results):
        if request.ledger is not None:
            raise UsageError("--ledger is for results at an address; in a folder the ledger lies with the results.")
        results = os.path.abspath(results)
        return results, Path(results)
    if request.ledger is None:
        raise UsageError(
            f"--to {results} is an address: give a folder of this machine for ledger and reports, --ledger."
        )
    return results, Path(os.path.abspath(request.ledger))


def _found(request: Request, results: str) -> tuple[str, list[Found], list[str]]:
    """Return the folder the pictures are relative to, the pictures, and what could not be looked into."""
    given = [request.list_file, request.manifest]
    if sum(one is not None for one in given) > 1:
        raise UsageError("give --list or --manifest, not both.")
    if request.folder is None and not any(given):
        raise UsageError("give a folder of pictures, --list or --manifest.")
    named = request.list_file or request.manifest
    root = local(request.folder) if request.folder is not None else os.path.dirname(os.path.abspath(str(named)))
    root = root if is_address(root) else os.path.abspath(root)
    if request.list_file is not None:
        return root, read_list(request.list_file, root, anywhere=request.anywhere), []
    if request.manifest is not None:
        named_files, anywhere = request.file_columns, request.anywhere
        found = read_manifest(request.manifest, root, request.columns, files=named_files, anywhere=anywhere)
        return root, found, []
    if is_address(root):
        from .far import find_far

        return root, find_far(root, recursive=request.recursive, patterns=request.patterns), []
    leave_out = None if is_address(results) else Path(results)
    search = Search(root=Path(root), recursive=request.recursive, patterns=request.patterns, leave_out=leave_out)
    return root, *find_pictures(search)


def _wanted(request: Request, found: list[Found]) -> Callable[[Found], Wanted]:
    """Return what each picture is to become; every row of a manifest is checked before anything begins."""
    output = request.output

    def wanted(one: Found) -> Wanted:
        try:
            settings = request.settings(one.options)
        except UsageError as error:
            raise UsageError(f"--manifest, {one.key}: {error}" if one.options else str(error)) from error
        check_output(settings, output)
        return Wanted(
            settings=settings,
            output=output,
            beside=store.digest(settings.background_photo) if settings.background_photo else "",
        )

    common = wanted(Found(key="", source=""))
    special = {one.key: wanted(one) for one in found if one.options}
    return lambda one: special.get(one.key, common)


def _runner(request: Request, home: Path, stop: Stop) -> Runner:
    if request.dask is not None:
        from .cluster import Cluster, work_in_one_thread

        return Cluster(request.dask, work_in_one_thread, stop)
    free = memory.free_bytes() * memory.SHARE if request.memory_gb is None else request.memory_gb * 1e9
    jobs = memory.cores() if request.jobs is None else request.jobs
    if jobs < 1 or free <= 0:
        said = f"--jobs {jobs}" if jobs < 1 else f"--memory {request.memory_gb:g}"
        raise UsageError(f"{said}: expected a number above 0.")
    return Pool(work, Limits(jobs=jobs, memory_bytes=int(free), house=home / HOUSE), stop)
