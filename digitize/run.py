"""One picture, from file to files: reads, calls the recipe, lets the writers write."""

from __future__ import annotations

import contextlib
import os
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import Executor
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from .errors import UsageError
from .records import Finding, Item, Picture, Result
from .settings import Settings

if TYPE_CHECKING:
    from .pipeline import Outlined

FORMATS = ("json", "dxf", "svg", "pdf", "png")


@dataclass(frozen=True, slots=True, kw_only=True)
class Output:
    """Where and how results are written."""

    folder: Path
    formats: tuple[str, ...] = FORMATS
    separate: bool = False
    force: bool = False
    dxf_version: str = "r2010"


@dataclass(frozen=True, slots=True)
class Report:
    """What came of one picture."""

    result: Result
    written: tuple[Path, ...]

    @property
    def needs_person(self) -> bool:
        """Whether a finding asks for a person's eye."""
        return any(finding.attention for finding in self.result.all_findings)


def parse_formats(text: str) -> tuple[str, ...]:
    """Read "dxf,svg" as names of formats, in our own order.

    Raises
    ------
    UsageError
        If one is not known.
    """
    asked = [part.strip().lower() for part in text.split(",") if part.strip()]
    unknown = [name for name in asked if name not in FORMATS]
    if unknown or not asked:
        raise UsageError(f"--format {text}: choose from {', '.join(FORMATS)}, with commas between.")
    return tuple(name for name in FORMATS if name in asked)


def outline_file(path: Path, settings: Settings, output: Output, *, max_mpx: float = 400.0) -> Report:
    """Outline the items of one picture file and write the results.

    Raises
    ------
    DigitizeError
        Of the kind that says what failed; nothing is written then.
    """
    with _helper() as pool:
        warm = threading.Thread(target=_import_ahead, args=(output.formats,), daemon=True)
        warm.start()
        from .picture import read_picture

        picture = read_picture(path, max_mpx=max_mpx)
        from .pipeline import outline_picture

        outlined = outline_picture(picture, settings, pool=pool)
        warm.join()
        files = make_files(picture, outlined, output)
    from .files import write_files

    return Report(outlined.result, tuple(write_files(output.folder, files, force=output.force)))


@contextlib.contextmanager
def _helper() -> Iterator[Executor | None]:
    """Another process that imports its libraries while this one decodes, and then draws curves; None on one core."""
    if (os.cpu_count() or 1) < 2:
        yield None
        return
    from concurrent.futures import ProcessPoolExecutor
    from multiprocessing import get_context

    pool = ProcessPoolExecutor(1, mp_context=get_context("spawn"))
    try:
        pool.submit(_get_ready)
        yield pool
    finally:
        pool.shutdown(wait=False, cancel_futures=True)


def _get_ready() -> None:
    """Import, in the helper, what drawing needs."""
    import digitize.describe
    import digitize.pocket  # noqa: F401


def make_files(picture: Picture, outlined: Outlined, output: Output, *, stem: str | None = None) -> dict[str, bytes]:
    """Return every file of a result by name; the names begin with the picture's unless `stem` is given."""
    stem = Path(picture.name).stem if stem is None else stem
    files = _files(outlined.result, output, stem)
    if "png" in output.formats:
        from .write.preview import check_png_bytes

        files[f"{stem}.check.png"] = check_png_bytes(picture, outlined.result, outlined.scale)
    return files


def _import_ahead(formats: tuple[str, ...]) -> None:
    """Import the slow libraries while another thread decodes; a failure is met again, and said, where it is used."""
    import importlib

    names = ["shapely", "digitize.pipeline"]
    names += [
        library for name, library in (("dxf", "ezdxf"), ("pdf", "pikepdf"), ("png", "PIL.ImageDraw")) if name in formats
    ]
    for name in names:
        with contextlib.suppress(ImportError):
            importlib.import_module(name)


def _files(result: Result, output: Output, stem: str) -> dict[str, bytes]:
    """Every vector file and document by name."""
    groups: list[tuple[str, tuple[Item, ...]]] = [(stem, result.items)]
    if output.separate:
        groups = [(item.name, (item,)) for item in result.items]
    makers = _makers(output)
    files = {}
    for name, items in groups:
        for kind in output.formats:
            if kind in makers:
                files[f"{name}.{kind}"] = makers[kind](result, items)
    return files


def _makers(output: Output) -> dict[str, Callable[[Result, tuple[Item, ...]], bytes]]:
    """One function a format; each imports its library when called."""

    def as_json(result: Result, items: tuple[Item, ...]) -> bytes:
        from .document import document_bytes

        return document_bytes(result, items=items)

    def as_dxf(result: Result, items: tuple[Item, ...]) -> bytes:
        from .write.dxf import dxf_bytes

        return dxf_bytes(result, items=items, version=output.dxf_version)

    def as_svg(result: Result, items: tuple[Item, ...]) -> bytes:
        from .write.svg import svg_bytes

        return svg_bytes(result, items=items)

    def as_pdf(result: Result, items: tuple[Item, ...]) -> bytes:
        from .write.pdf import pdf_bytes

        return pdf_bytes(result, items=items)

    return {"json": as_json, "dxf": as_dxf, "svg": as_svg, "pdf": as_pdf}


def findings_of(result: Result) -> tuple[tuple[str, Finding], ...]:
    """Every finding with the name of what it belongs to, in order."""
    found = [(result.source_name, finding) for finding in result.findings]
    for item in result.items:
        pocket = item.pocket.findings if item.pocket is not None else ()
        found += [(item.name, finding) for finding in (*item.findings, *pocket)]
    return tuple(found)
