"""Results that stand in the folder although the ledger knows nothing of them, and are what is wanted.

A document names its picture's hash, the options and the version; with these the same bytes would come out again.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

from ..document.document import Document, read_document
from ..document.outline import WRITTEN_BY
from ..errors import DigitizeError
from ..files import safe_name, written_by_digitize
from ..records import Result
from ..run import vector_files
from ..seal import is_sealed
from .alike import is_drawn_alike
from .figures import outcome_of
from .names import ENDINGS
from .task import Outcome, Task, Wanted


def documents_of(folder: Path, stem: str, *, separate: bool) -> list[Path]:
    """Return the documents of a picture's results, in order."""
    if not separate:
        return [path for path in (folder / f"{stem}.json",) if path.is_file()]
    numbered = ((path.stem.removeprefix(f"{stem}-"), path) for path in folder.glob("*.json"))
    found = [(int(number), path) for number, path in numbered if number.isdecimal() and path.stem != number]
    return [path for _, path in sorted(found)]


def adopted(task: Task, stem: str, sha256: str) -> tuple[Result, tuple[tuple[str, int], ...]] | None:
    """Return what stands there of a picture with this hash, and its files; None if anything is not as wanted.

    All files but the check picture are drawn from the documents again, and must come out alike. One that was edited is
    not as wanted: making it again then refuses to replace it, and says so.
    """
    output, folder = task.wanted.output, Path(task.folder)
    result = result_there(task, stem, sha256)
    if result is None:
        return None
    try:
        made = vector_files(result, output, stem)
        there = {safe_name(name): (folder / safe_name(name)).read_bytes() for name in made}
        pairs = zip(there.items(), made.values(), strict=True)
        if not all(is_drawn_alike(data, drawn, name.rpartition(".")[2]) for (name, data), drawn in pairs):
            return None
        sizes = [(name, len(data)) for name, data in there.items()]
        check = folder / f"{stem}.check.png"
        if "png" in output.formats:
            if not written_by_digitize(check):
                return None
            sizes.append((check.name, check.stat().st_size))
    except (OSError, DigitizeError):
        return None
    return result, tuple(sizes)


def result_there(task: Task, stem: str, sha256: str) -> Result | None:
    """Return what documents that stand there tell of a picture with this hash; None if one is edited or not as wanted.

    Its items are without the edge in the picture.
    """
    output = task.wanted.output
    if "json" not in output.formats:
        return None
    try:
        paths = documents_of(Path(task.folder), stem, separate=output.separate)
        read = [read_document(data) for path in paths if is_sealed(data := path.read_bytes())]
    except (OSError, DigitizeError):
        return None
    if not read or len(read) < len(paths) or not all(_is_of(one, sha256, task.wanted) for one in read):
        return None
    return replace(read[0].result, items=tuple(item for one in read for item in one.result.items))


def strangers(results: Path, folders: Iterable[Path], known: Collection[str]) -> Iterator[tuple[str, str, Outcome]]:
    """Yield what stands in the folders and is not known: the picture's likely key, the files' stem, and what it was.

    Only documents that nobody changed are read; `known` are paths below `results`.
    """
    for folder in folders:
        for path in sorted(folder.glob("*.json")):
            below = path.relative_to(results).as_posix()
            if below in known or not written_by_digitize(path):
                continue
            try:
                result = read_document(path.read_bytes()).result
            except (OSError, DigitizeError):
                continue
            files = tuple((one.name, one.stat().st_size) for one in _beside(path))
            outcome = replace(outcome_of(result, files, result.source_sha256), adopted=True)
            yield f"{below.rpartition('/')[0]}/{result.source_name}".lstrip("/"), path.stem, outcome


def _beside(path: Path) -> list[Path]:
    """Return a document and the other files of its result."""
    names = (f"{path.stem}{ending}" for ending in ENDINGS)
    return [one for one in map(path.with_name, names) if one.is_file()]


def _is_of(document: Document, sha256: str, wanted: Wanted) -> bool:
    """Tell whether a document was made of this picture, as wanted, by this version."""
    if document.written_by != WRITTEN_BY or document.result.source_sha256 != sha256:
        return False
    told: dict[str, Any] = dict(document.result.options)
    asked = json.loads(json.dumps(wanted.settings.given()))
    asked.pop("usual", None)  # where an option was said makes no other outline
    photo = told.pop("background_photo", None)
    beside = photo.get("sha256", "") if isinstance(photo, dict) else ""
    return told == {key: value for key, value in asked.items() if key != "background_photo"} and beside == wanted.beside
