"""One picture, from file to files: reads, calls the recipe, lets the writers write."""

from __future__ import annotations

import contextlib
import importlib
from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Self

from .card.kinds import PAPERS_MM, Paper
from .errors import UsageError
from .kinds import Choice, FileName, Json, Kind, Switch, refusal
from .parameters import Declared, by_keyword, declared, given, option
from .records import Finding, Item, Picture, Result, Scale
from .settings import Reading, Settings
from .write.look import DXF_VERSIONS, PLAIN, Look, OfLook
from .write.solid.asked import Solid, check_solid_package

if TYPE_CHECKING:
    from .recipe.outline import Outlined
    from .write.sheet import Drawings

FORMATS = ("json", "dxf", "svg", "pdf", "proof", "png")
_ENDINGS = {"proof": "proof.pdf"}  # where it is not the format's own name


class Formats(Kind):
    """Names of formats, in words with commas between."""

    hint = "str | Sequence[str]"

    def checked(self, value: object, name: str) -> tuple[str, ...]:
        """Return the names in our own order, each once."""
        words = value.split(",") if isinstance(value, str) else value
        expected = f"choose from {', '.join(FORMATS)}, with commas between"
        if not isinstance(words, list | tuple) or not all(isinstance(word, str) for word in words):
            raise refusal(name, value, expected)
        asked = {word.strip().lower() for word in words if word.strip()}
        if not asked or not asked <= set(FORMATS):
            raise refusal(name, value, expected)
        return tuple(one for one in FORMATS if one in asked)

    def plain(self, value: Any) -> Json:
        """Return the names as a list."""
        return list(value)

    def word(self, value: Any) -> str:
        """Return the names as on the command line."""
        return ",".join(value)


class DxfVersion(Kind):
    """A version of DXF, with or without its r."""

    def checked(self, value: object, name: str) -> str:
        """Return the version's name."""
        version = "r" + value.strip().lower().removeprefix("r") if isinstance(value, str) else None
        if version not in DXF_VERSIONS:
            raise refusal(name, value, "DXF is written as r12, 2000 or 2010")
        return version

    def word(self, value: Any) -> str:
        """Return the version as on the command line."""
        return str(value).removeprefix("r")


class OfSolid(Kind):
    """A plate or plugs."""

    def checked(self, value: object, name: str) -> Solid:
        """Return it, if the package that makes it is there."""
        if not isinstance(value, Solid):
            raise refusal("--solid", value, "expected a thickness (Solid, or Output.of)")
        check_solid_package()
        return value

    def plain(self, value: Solid) -> Json:
        """Return its values by field."""
        return given(value)


@dataclass(frozen=True, slots=True, kw_only=True)
class Output(Declared):
    """Where and how results are written.

    Examples
    --------
    >>> Output(formats="svg, dxf").formats
    ('dxf', 'svg')
    >>> Output(formats="docx")
    Traceback (most recent call last):
        ...
    digitize.errors.UsageError: --format docx: choose from json, dxf, svg, pdf, proof, png, with commas between.
    """

    folder: Path = Path(".")
    formats: tuple[str, ...] = option(FORMATS, Formats(), "Files to write.", name="format")
    separate: bool = option(False, Switch(), "One file an item instead of one a picture.")
    dxf_version: str = option("r2010", DxfVersion(), "r12, 2000 or 2010.")
    paper: Paper = option("a4", Choice(tuple(PAPERS_MM)), "Proof: a4 or letter, the paper it is printed on.")
    look: Look = option(PLAIN, OfLook(), "", group=Look)
    solid: Solid | None = option(None, OfSolid(), "", group=Solid)  # also write STL and 3MF
    force: bool = option(False, Switch(), "Overwrite files that digitize did not write.")

    @classmethod
    def of(cls, options: Mapping[str, object]) -> Self:
        """Return what options ask for, into the working folder; they are named as for `Settings.of`.

        Raises
        ------
        UsageError
            If a name is not known or a value cannot be meant.
        """
        values: dict[str, Any] = by_keyword(cls, options)
        solid, look = (
            {one.field: values.pop(key) for key, one in declared(group).items() if key in values}
            for group in (Solid, Look)
        )
        return cls(**values, look=Look(**look), solid=Solid(**solid) if solid else None)

    def into(self, folder: Path) -> Self:
        """Return the same for another folder."""
        return replace(self, folder=folder)


@dataclass(frozen=True, slots=True)
class Made:
    """What was found in one picture, before anything is written."""

    picture: Picture
    outlined: Outlined
    keep: frozenset[str]  # SHA-256 of the files that were read: never written over

    @property
    def result(self) -> Result:
        """All that was found."""
        return self.outlined.result

    @property
    def scale(self) -> Scale:
        """The mapping between the picture and its plane."""
        return self.outlined.scale


@dataclass(frozen=True, slots=True)
class Lying:
    """What documents tell that lie there of one picture: as it was made, but without the edge in its pixels."""

    result: Result
    scale: Scale


@dataclass(frozen=True, slots=True)
class Report:
    """What came of one picture.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> with TemporaryDirectory() as folder:
    ...     output = Output(folder=Path(folder), formats="json")
    ...     report = outline_file(Path("samples/ornament.png"), Settings(square_mm=30), output)
    >>> [path.name for path in report.written], report.needs_person
    (['ornament.json'], False)
    """

    result: Result
    written: tuple[Path, ...]

    @property
    def needs_person(self) -> bool:
        """Whether a finding asks for a person's eye."""
        return any(finding.attention for finding in self.result.all_findings)


def check_output(settings: Settings, output: Output) -> None:
    """Refuse what cannot be written of what will be made, before anything is made.

    Raises
    ------
    UsageError
        If a solid is asked for and no pocket.
    """
    for name, value, expected in (("settings", settings, Settings), ("output", output, Output)):
        if not isinstance(value, expected):
            raise refusal(name, value, f"expected digitize.{expected.__name__}")
    if output.solid is not None and not settings.cutting.wanted:
        raise UsageError("--solid needs pockets to make: say --clearance, or --cut with a way of cutting.")


def check_stems(paths: Sequence[Path]) -> None:
    """Refuse pictures whose results would have the same names in one folder, before anything is made.

    Raises
    ------
    UsageError
        Naming the first two.
    """
    from .files import folded, safe_stem

    seen: dict[str, Path] = {}
    for path in paths:
        stem = safe_stem(path.stem)
        other = seen.setdefault(folded(stem), path)
        if other is not path:
            raise UsageError(
                f"{other} and {path} would both be written as {stem}.*, the second over the first: rename one, or "
                "give them one at a time with another --to. Nothing was done."
            )


def outline_file(path: Path, settings: Settings, output: Output, *, max_mpx: float = 400.0) -> Report:
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

    Raises
    ------
    DigitizeError
        Of the kind that says what failed; nothing is written then.

    Examples
    --------
    See `Report` for one that is written.

    >>> outline_file(Path("none.png"), Settings(square_mm=30), Output())  # doctest: +ELLIPSIS
    Traceback (most recent call last):
        ...
    digitize.errors.PictureError: ...
    """
    return write_made(make(path, settings, output, max_mpx=max_mpx), output)


def make(path: Path, settings: Settings, output: Output, *, max_mpx: float = 400.0) -> Made:
    """Outline the items of one picture file, as `outline_file` does before it writes."""
    check_output(settings, output)
    max_mpx, path = Reading(max_mpx=max_mpx).max_mpx, Path(FileName().checked(path, "path"))
    from .reading.picture import read_picture

    # decoding lets go of the interpreter: meanwhile this thread imports
    with ThreadPoolExecutor(1) as reader:
        reading = reader.submit(read_picture, path, max_mpx=max_mpx)
        _import_ahead(output.formats)
        picture = reading.result()
    return make_of(picture, settings, max_mpx=max_mpx)


def make_of(picture: Picture, settings: Settings, *, max_mpx: float = 400.0) -> Made:
    """Outline the items of one picture that was read already, as `make` does."""
    from .recipe.outline import outline_picture

    empty = read_background(settings, max_mpx=max_mpx)
    outlined = outline_picture(picture, settings, empty=empty)
    return Made(picture, outlined, frozenset(read.sha256 for read in (picture, empty) if read is not None))


def write_made(made: Made, output: Output) -> Report:
    """Write the files of what was made."""
    files = make_files(made.picture, made.outlined, output)
    from .files import write_files

    return Report(made.result, tuple(write_files(output.folder, files, force=output.force, keep=made.keep)))


def read_background(settings: Settings, *, max_mpx: float) -> Picture | None:
    """Read the photo of the same view without the item, where the settings name one."""
    if settings.background_photo is None:
        return None
    from .reading.picture import read_picture

    return read_picture(settings.background_photo, max_mpx=max_mpx)


def _import_ahead(formats: tuple[str, ...]) -> None:
    """Import the slow libraries while another thread decodes; a failure is met again, and said, where one is used."""
    of_format = {
        "png": ("digitize.write.preview.picture", "PIL.ImageDraw"),
        "dxf": ("digitize.write.dxf",),
        "proof": ("digitize.write.proof.pages",),
    }
    always = ("digitize.recipe.outline", "shapely", "digitize.document.document", "digitize.cli.table")
    for name in (*always, *(library for kind in of_format if kind in formats for library in of_format[kind])):
        with contextlib.suppress(ImportError):
            importlib.import_module(name)


def make_files(picture: Picture, outlined: Outlined, output: Output, *, stem: str | None = None) -> dict[str, bytes]:
    """Return every file of a result by name; the names begin with the picture's unless `stem` is given."""
    from .files import safe_stem

    stem = safe_stem(Path(picture.name).stem) if stem is None else stem
    files = vector_files(outlined.result, output, stem)
    if "png" in output.formats:
        from .write.preview.picture import check_png_bytes

        files[f"{stem}.check.png"] = check_png_bytes(picture, outlined.result, outlined.scale)
    return files


def vector_files(result: Result, output: Output, stem: str) -> dict[str, bytes]:
    """Return every vector file and document by name."""
    from .write.sheet import Drawings

    groups: list[tuple[str, tuple[Item, ...]]] = [(stem, result.items)]
    if output.separate:
        groups = [(item.name, (item,)) for item in result.items]
    drawn = {name: Drawings(result, items) for name, items in groups}
    files = {
        f"{name}.{_ENDINGS.get(kind, kind)}": _vector_bytes(kind, name, drawn[name], output)
        for name in drawn
        for kind in output.formats
        if kind != "png"
    }
    if output.solid is not None:
        from .write.solid.files import solid_files

        for name, items in groups:
            files |= solid_files(result, items, output.solid, stem=name)
    return files


def _vector_bytes(kind: str, name: str, drawn: Drawings, output: Output) -> bytes:
    """One file; its library is imported when it is needed."""
    if kind == "json":
        from .document.document import document_bytes

        return document_bytes(drawn.result, items=drawn.items)
    if kind == "dxf":
        from .write.dxf import drawn_dxf

        return drawn_dxf(drawn, version=output.dxf_version, look=output.look)
    if kind == "svg":
        from .write.svg import drawn_svg

        return drawn_svg(drawn, output.look)
    if kind == "proof":
        from .write.proof.pages import proof_bytes

        return proof_bytes(drawn.result, drawn.items, name=name, paper=output.paper)
    from .write.pdf import drawn_pdf

    return drawn_pdf(drawn, output.look)


def findings_of(result: Result) -> tuple[tuple[str, Finding], ...]:
    """Every finding with the name of what it belongs to, in order."""
    found = [(result.source_name, one.reason) for one in result.failed]
    found += [(result.source_name, finding) for finding in result.findings]
    for item in result.items:
        pocket = item.pocket.findings if item.pocket is not None else ()
        found += [(item.name, finding) for finding in (*item.findings, *pocket)]
    return tuple(found)
