"""The three reports of a batch: summary.csv, attention.csv and contact.html."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from ..errors import WriteError
from ..files import write_files
from ..words.message import Rank
from ..write.contact import Entry, Line, Word, contact_html
from .advice import attention_of, badness, gone_of, said_of, where_of
from .ledger import Ledger
from .names import RESERVED
from .row import Row
from .store import below, is_address
from .tables import HEADS, attention_csv, summary_csv
from .task import Thumb

MOST_ON_PAGE = 5000  # rows; the table has all
_SAYS = {  # the first ending that fits
    ".json": "outline",
    ".dxf": "DXF",
    ".svg": "SVG",
    ".proof.pdf": "proof",
    ".pdf": "PDF",
    ".check.png": "check picture",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Counts:
    """What a folder of results holds."""

    pictures: int
    items: int
    need_person: int  # pictures, those without a result among them
    without_result: int
    unwritten: int  # among those: for a reason that lies in the machine
    unexpected: int  # among those without a result: for a reason that lies in digitize
    gone: int  # beside them: pictures that are no longer there, whose results are
    accepted: int = 0  # by a person
    rejected: int = 0  # by a person, among those without a result


def check_reports(ledger: Ledger, folder: Path, *, force: bool) -> dict[str, Path]:
    """Refuse to go on if a file in the place of a report is not one that digitize wrote.

    Where the ledger has lost what it knew, a file that looks like a report is set aside: returned is where, by name.

    Raises
    ------
    WriteError
        Naming the file.
    """
    aside = {}
    for name in RESERVED:
        path = folder / name
        if not os.path.lexists(path) or force:
            continue
        known = ledger.reports(name)
        if path.is_file() and _sha256(path.read_bytes()) in known:
            continue
        if known or not path.is_file() or not _looks_like(name, path.read_bytes()):
            raise WriteError(
                f"{path} was not written by digitize, or was changed since: move it away, choose another folder, "
                "or use --force to replace it"
            )
        aside[name] = _renamed(path)
    return aside


def drop_same(aside: Mapping[str, Path], folder: Path) -> list[str]:
    """Remove reports that were set aside and came out the same again; return what is said of the others."""
    said = []
    for name, path in aside.items():
        if path.read_bytes() == (folder / name).read_bytes():
            path.unlink()
        else:
            said.append(f"{name} of an earlier run, which the ledger does not know, is kept: {path}")
    return said


def _looks_like(name: str, data: bytes) -> bool:
    """Tell whether a file begins as the report of this name does, whoever may have written in it since."""
    if name == "contact.html":
        return b"<title>Contact page</title>" in data[:2000]
    head = data.partition(b"\n")[0].decode("utf-8-sig", "replace").replace(";", ",").replace('"', "").strip()
    return head == ",".join(HEADS[name])


def _renamed(path: Path) -> Path:
    """Rename a file so that nothing is lost."""
    number = 1
    while os.path.lexists(aside := path.with_name(f"{path.stem}-kept-{number}{path.suffix}")):
        number += 1
    return path.rename(aside)


def write_reports(
    ledger: Ledger, rows: Sequence[Row], folder: Path, results: str, *, gone: Sequence[Row] = ()
) -> Counts:
    """Write the reports of `rows` into `folder`; `results` is the path or address the results lie at.

    Of `gone` pictures only the second table tells, at its end; they need nobody.

    Raises
    ------
    WriteError
        If the system refuses.
    """
    files = {
        "summary.csv": summary_csv(rows),
        "attention.csv": attention_csv([*attention_of(rows), *map(gone_of, gone)]),
        "contact.html": _page(rows, ledger.thumb, folder, results),
    }
    hashes = {name: _sha256(data) for name, data in files.items()}
    ledger.add_reports(hashes)  # first, so that a run killed here leaves nothing that the next would not know
    write_files(folder, files, force=True)
    ledger.keep_reports(hashes)
    outcomes = [row.outcome for row in rows]
    return Counts(
        pictures=len(rows),
        items=sum(len(outcome.items) for outcome in outcomes),
        need_person=sum(row.needs_person for row in rows),
        without_result=sum(not row.is_good for row in rows),
        unwritten=sum(outcome.state == "unwritten" for outcome in outcomes),
        unexpected=sum(outcome.kind in ("defect", "ended") for outcome in outcomes),
        gone=len(gone),
        accepted=sum(row.decided == "accepted" for row in rows),
        rejected=sum(row.decided == "rejected" for row in rows),
    )


def _page(rows: Sequence[Row], thumb: Callable[[str], Thumb | None], folder: Path, results: str) -> bytes:
    shown = sorted(rows, key=badness)[:MOST_ON_PAGE]
    entries = [_entry(row, thumb(row.key), folder, results) for row in shown]
    return contact_html(entries, left_out=len(rows) - len(shown))


def _entry(row: Row, thumb: Thumb | None, folder: Path, results: str) -> Entry:
    outcome = row.outcome
    return Entry(
        name=row.shown,
        reference=outcome.reference,
        done=row.is_good,
        lines=tuple(
            Line(
                name=item.name,
                length_mm=item.caliper_length_mm,
                width_mm=item.caliper_width_mm,
                area_mm2=item.area_mm2,
                holes=item.holes,
                outline_k2_mm=item.outline_k2_mm,
                length_k2_mm=item.caliper_length_k2_mm,
                rings=item.rings,
            )
            for item in outcome.items
        ),
        words=_words(row),
        links=_links(row, folder, results),
        jpeg=thumb.jpeg if thumb else b"",
        width=thumb.width if thumb else 0,
        height=thumb.height if thumb else 0,
    )


def _words(row: Row) -> tuple[Word, ...]:
    if not row.is_good:
        (attention,) = attention_of([row])
        return (Word(code=attention.code, where=row.shown, message=attention.reason, next_step=attention.next_step),)
    return tuple(
        Word(
            code=said.code,
            where=where_of(row, said),
            message=said.message,
            next_step=said.step if said.attention else "",
            attention=said.attention and row.decided == "",
        )
        for said in said_of(row.outcome)
        if said.attention or said.rank != Rank.DETAIL
    )


def _links(row: Row, folder: Path, results: str) -> tuple[tuple[str, str], ...]:
    base = results if is_address(results) else os.path.relpath(results, folder)
    if base == ".":
        base = ""
    links = []
    for name, _ in row.outcome.files:
        ending = next((ending for ending in _SAYS if name.endswith(ending)), "")
        path = below(base, below(row.place.folder, name)) if base else below(row.place.folder, name).lstrip("/")
        links.append((_SAYS.get(ending, name), path))
    links.sort(key=lambda link: list(_SAYS.values()).index(link[0]) if link[0] in _SAYS.values() else 9)
    if not is_address(row.source):
        links.append(("picture", os.path.relpath(row.source, folder).replace(os.sep, "/")))
    return tuple(links)


def _sha256(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()
