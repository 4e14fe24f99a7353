"""One picture, from file to files: reads, calls the recipe, lets the writers write."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import BrokenExecutor, Executor, ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from .errors import UsageError
from .recipe.helper import import_all, submitted
from .records import Finding, Item, Picture, Result
from .settings import Reading, Settings

if TYPE_CHECKING:
    from .recipe.outline import Outlined
    from .write.solid.make import Solid

FORMATS = ("json", "dxf", "svg", "pdf", "png")


@dataclass(frozen=True, slots=True, kw_only=True)
class Output:
    """Where and how results are written."""

    folder: Path
    formats: tuple[str, ...] = FORMATS
    separate: bool = False
    force: bool = False
    dxf_version: str = "r2010"
    solid: Solid | None = None  # also write STL and 3MF


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


def check_output(settings: Settings, output: Output) -> None:
    """Refuse what cannot be written of what will be made, before anything is made.

    Raises
    ------
    UsageError
        If a solid is asked for and no pocket.
    """
    if output.solid is not None and not settings.cutting.wanted:
        raise UsageError("--solid needs pockets to make: say --clearance, or --cut with a way of cutting.")


def check_stems(paths: Sequence[Path]) -> None:
    """Refuse pictures whose results would have the same names in one folder, before anything is made.

    Raises
    ------
    UsageError
        Naming the first two.
    """
    from .files import safe_stem

    seen: dict[str, Path] = {}
    for path in paths:
        stem = safe_stem(path.stem)
        other = seen.setdefault(stem.casefold(), path)  # some file systems do not tell capitals apart
        if other is not path:
            raise UsageError(
                f"{other} and {path} would both be written as {stem}.*, the second over the first: rename one, or "
                "give them one at a time with another --to. Nothing was done."
            )


def outline_file(
    path: Path, settings: Settings, output: Output, *, max_mpx: float = 400.0, pool: Executor | None = None
) -> Report:
    """Outline the items of one picture file and write the results.

    Parameters
    ----------
    path
        The picture.
    settings
        What the recipe needs to know.
    output
        Where and how to write.
    max_mpx
        Largest picture to decode, millions of pixels.
    pool
        Another process that draws curves and writes vectors meanwhile; the files are the same without.

    Raises
    ------
    DigitizeError
        Of the kind that says what failed; nothing is written then.
    """
    check_output(settings, output)
    max_mpx = Reading(max_mpx=max_mpx).max_mpx
    from .reading.picture import read_picture

    # decoding lets go of the interpreter: meanwhile this thread imports
    with ThreadPoolExecutor(1) as reader:
        reading = reader.submit(read_picture, path, max_mpx=max_mpx)
        _import_ahead(output.formats, helped=pool is not None)
        picture = reading.result()
    # not sooner: decoding needs the second core too, finding things does not
    submitted(pool, import_all, _libraries(output.formats))
    from .recipe.outline import outline_picture

    empty = read_background(settings, max_mpx=max_mpx)
    outlined = outline_picture(picture, settings, pool=pool, empty=empty)
    files = make_files(picture, outlined, output, pool=pool)
    from .files import write_files

    keep = {read.sha256 for read in (picture, empty) if read is not None}
    return Report(outlined.result, tuple(write_files(output.folder, files, force=output.force, keep=keep)))


def read_background(settings: Settings, *, max_mpx: float) -> Picture | None:
    """Read the photo of the same view without the item, where the settings name one."""
    if settings.background_photo is None:
        return None
    from .reading.picture import read_picture

    return read_picture(settings.background_photo, max_mpx=max_mpx)


def _import_ahead(formats: tuple[str, ...], *, helped: bool) -> None:
    """Import the slow libraries while another thread decodes."""
    mine = ("digitize.write.preview.picture", "PIL.ImageDraw") if "png" in formats else ()
    import_all(
        (
            "digitize.recipe.outline",
            "shapely",
            *mine,
            "digitize.document.document",
            "digitize.cli.table",
            *(() if helped else _libraries(formats)),
        )
    )


def _libraries(formats: tuple[str, ...]) -> tuple[str, ...]:
    """What the vector writers import."""
    return tuple(library for name, library in (("dxf", "ezdxf"), ("pdf", "pikepdf")) if name in formats)


def make_files(
    picture: Picture,
    outlined: Outlined,
    output: Output,
    *,
    stem: str | None = None,
    pool: Executor | None = None,
) -> dict[str, bytes]:
    """Return every file of a result by name; the names begin with the picture's unless `stem` is given."""
    from .files import safe_stem

    stem = safe_stem(Path(picture.name).stem) if stem is None else stem
    # the writers of vectors do not look at the edge as seen in the picture
    lean = replace(outlined.result, items=tuple(replace(item, contours=()) for item in outlined.result.items))
    vectors = submitted(pool, vector_files, lean, output, stem)
    check = {}
    if "png" in output.formats:
        from .write.preview.picture import check_png_bytes

        check[f"{stem}.check.png"] = check_png_bytes(picture, outlined.result, outlined.scale)
    try:
        files = vectors.result() if vectors else vector_files(lean, output, stem)
    except BrokenExecutor:
        files = vector_files(lean, output, stem)
    return {**files, **check}


def vector_files(result: Result, output: Output, stem: str) -> dict[str, bytes]:
    """Return every vector file and document by name."""
    groups: list[tuple[str, tuple[Item, ...]]] = [(stem, result.items)]
    if output.separate:
        groups = [(item.name, (item,)) for item in result.items]
    files = {
        f"{name}.{kind}": _vector_bytes(kind, result, items, output)
        for name, items in groups
        for kind in output.formats
        if kind != "png"
    }
    if output.solid is not None:
        from .write.solid.files import solid_files

        for name, items in groups:
            files |= solid_files(result, items, output.solid, stem=name)
    return files


def _vector_bytes(kind: str, result: Result, items: tuple[Item, ...], output: Output) -> bytes:
    """One file; its library is imported when it is needed."""
    if kind == "json":
        from .document.document import document_bytes

        return document_bytes(result, items=items)
    if kind == "dxf":
        from .write.dxf import dxf_bytes

        return dxf_bytes(result, items=items, version=output.dxf_version)
    if kind == "svg":
        from .write.svg import svg_bytes

        return svg_bytes(result, items=items)
    from .write.pdf import pdf_bytes

    return pdf_bytes(result, items=items)


def findings_of(result: Result) -> tuple[tuple[str, Finding], ...]:
    """Every finding with the name of what it belongs to, in order."""
    found = [(result.source_name, one.reason) for one in result.failed]
    found += [(result.source_name, finding) for finding in result.findings]
    for item in result.items:
        pocket = item.pocket.findings if item.pocket is not None else ()
        found += [(item.name, finding) for finding in (*item.findings, *pocket)]
    return tuple(found)
