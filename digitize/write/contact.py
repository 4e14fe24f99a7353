"""The contact page: every picture of a batch small, with outline, sizes and warnings, in one HTML file."""

from __future__ import annotations

import base64
import hashlib
import json
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape
from importlib import resources
from urllib.parse import quote

from ..seal import __version__
from ..words.say import title_of

AT_ONCE = 60  # rows that are there when the page opens, and in each parcel of those that are made when wanted
ALL, LOOK, NONE, FINE = "all", "needs-a-person", "no-result", "fine"
_WORDS = {ALL: "All", LOOK: "Needs a person", NONE: "No result", FINE: "Fine"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """The figures of one item; mm, k = 2."""

    name: str
    length_mm: float  # by calipers
    width_mm: float
    area_mm2: float
    holes: int
    outline_k2_mm: float
    length_k2_mm: float
    rings: tuple[tuple[float, ...], ...]  # x, y, x, y ... in the pixels of the small picture


@dataclass(frozen=True, slots=True, kw_only=True)
class Word:
    """A warning, a remark, or why there is no result."""

    code: str
    where: str
    message: str
    next_step: str = ""
    attention: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One picture on the page."""

    name: str
    reference: str
    done: bool
    lines: tuple[Line, ...] = ()
    words: tuple[Word, ...] = ()
    links: tuple[tuple[str, str], ...] = ()  # what it says, and the path or address it leads to
    jpeg: bytes = b""
    width: int = 0
    height: int = 0

    @property
    def codes(self) -> tuple[str, ...]:
        """What the page can be filtered by."""
        warned = [word.code for word in self.words if word.attention]
        general = [NONE] if not self.done else []
        return (*dict.fromkeys([*general, LOOK, *warned] if warned or general else [FINE]),)


def contact_html(entries: Sequence[Entry], *, left_out: int = 0) -> bytes:
    """Return the page; `entries` in the order they are shown in, worst first.

    Parameters
    ----------
    entries
        The pictures.
    left_out
        How many more there are that the page does not show.
    """
    style, script = _part("contact.css"), _part("contact.js")
    policy = f"default-src 'none'; img-src data:; style-src {_hash(style)}; script-src {_hash(script)}; base-uri 'none'"
    body = "".join(
        [
            _head(entries, left_out),
            _bar(entries),
            "<main><ol>",
            *(_row(entry, rank) for rank, entry in enumerate(entries[:AT_ONCE])),
            '</ol><p class="nothing" hidden>No picture fits. Choose another filter or shorten the search.</p>',
            f'<p class="more" hidden><button type="button">Show more</button></p>{_later(entries)}</main>',
            f"<footer>Made by digitize {__version__}. Sizes in mm; ± is k = 2 (about 95 %).</footer>",
        ]
    )
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        f'<meta http-equiv="Content-Security-Policy" content="{policy}">'
        '<meta name="viewport" content="width=device-width, initial-scale=1"><title>Contact page</title>'
        f"<style>{style}</style></head>\n<body>{body}<script>{script}</script></body></html>\n"
    ).encode("utf-8", "backslashreplace")


def _later(entries: Sequence[Entry]) -> str:
    """Return the rows that are not there at once: by what they are chosen and sorted, and in parcels their HTML."""
    index = [(*_told(entry), rank) for rank, entry in enumerate(entries[AT_ONCE:], start=AT_ONCE)]
    parcels = [
        [_row(entry, rank) for rank, entry in enumerate(entries[first : first + AT_ONCE], start=first)]
        for first in range(AT_ONCE, len(entries), AT_ONCE)
    ]
    few = f"<noscript><p>{len(index)} more need a browser that runs scripts.</p></noscript>" if index else ""
    return few + "".join(f'<script type="application/json">{_data(part)}</script>' for part in (index, *parcels))


def _data(value: object) -> str:
    """Return JSON that cannot end the element it stands in."""
    return json.dumps(value, ensure_ascii=False, separators=(",", ":")).replace("<", "\\u003c")


def _told(entry: Entry) -> tuple[str, str, float, float]:
    """Return codes, name, size and doubt, by which rows are chosen and sorted."""
    size = max((line.length_mm for line in entry.lines), default=0.0)
    doubt = max((line.length_k2_mm for line in entry.lines), default=1e6)
    return " ".join(entry.codes), entry.name.lower(), round(size, 3), round(doubt, 4)


def _said(code: str) -> str:
    """Return a code in words."""
    return _WORDS.get(code) or title_of(code)


def _part(name: str) -> str:
    return (resources.files("digitize") / "data" / name).read_text(encoding="utf-8")


def _hash(text: str) -> str:
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"


def _head(entries: Sequence[Entry], left_out: int) -> str:
    items = sum(len(entry.lines) for entry in entries)
    look = sum(LOOK in entry.codes for entry in entries)
    none = sum(not entry.done for entry in entries)
    parts = [f"<b>{len(entries)}</b> pictures", f"<b>{items}</b> items", f"<b>{look}</b> need a person"]
    parts += [f"<b>{none}</b> without a result"] if none else []
    more = f" {left_out} more, not the worst, are in summary.csv only." if left_out else ""
    return f'<header><h1>Contact page</h1><p class="lead">{", ".join(parts)}.{more}</p></header>'


def _bar(entries: Sequence[Entry]) -> str:
    counts = Counter(code for entry in entries for code in entry.codes)
    counts[ALL] = len(entries)
    general = [code for code in _WORDS if counts[code] or code == ALL]
    special = sorted((code for code in counts if code not in _WORDS), key=lambda code: (-counts[code], code))
    buttons = "".join(
        f'<button type="button" value="{escape(code)}" aria-pressed="{str(code == ALL).lower()}">'
        f"{escape(_said(code))}<span>{counts[code]}</span></button>"
        for code in (*general, *special)
    )
    orders = {"worst": "worst first", "name": "by name", "size": "largest first", "doubt": "least certain first"}
    options = "".join(f'<option value="{value}">{text}</option>' for value, text in orders.items())
    return (
        '<nav class="bar" aria-label="Filter"><form>'
        '<input type="search" placeholder="Search names" aria-label="Search names">'
        f'{buttons}<select aria-label="Order">{options}</select><output aria-live="polite"></output></form></nav>'
    )


def _row(entry: Entry, rank: int) -> str:
    state = "none" if not entry.done else "look" if LOOK in entry.codes else "fine"
    codes, name, size, doubt = _told(entry)
    by = f'<p class="by">{escape(entry.reference)}</p>' if entry.reference else ""
    return (
        f'<li class="row {state}" data-codes="{escape(codes)}" data-name="{escape(name)}" '
        f'data-rank="{rank}" data-size="{size:.3f}" data-doubt="{doubt:.4f}">{_shot(entry)}'
        f"<div><h2>{escape(entry.name)}</h2>{by}{_table(entry.lines)}{_files(entry.links)}</div>{_words(entry)}</li>\n"
    )


def _shot(entry: Entry) -> str:
    if not entry.jpeg:
        return '<div class="shot empty">no picture</div>'
    data = base64.b64encode(entry.jpeg).decode()
    drawn = "".join(_path(ring) for line in entry.lines for ring in line.rings)
    return (
        f'<div class="shot"><img src="data:image/jpeg;base64,{data}" width="{entry.width}" height="{entry.height}" '
        f'decoding="async" alt="{escape(entry.name)} with the outline found">'
        f'<svg viewBox="0 0 {entry.width} {entry.height}" aria-hidden="true">'
        f'<path class="halo" d="{drawn}"/><path class="edge" d="{drawn}"/></svg></div>'
    )


def _path(ring: Sequence[float]) -> str:
    return "M" + " ".join(f"{value:g}" for value in ring) + "Z"


def _table(lines: Iterable[Line]) -> str:
    rows = "".join(
        f"<tr><td>{escape(line.name)}</td><td>{line.length_mm:.2f} × {line.width_mm:.2f}</td>"
        f"<td>±{line.length_k2_mm:.3f}</td><td>{line.area_mm2:.1f}</td><td>{line.holes}</td></tr>"
        for line in lines
    )
    if not rows:
        return ""
    head = "".join(
        f'<th scope="col">{text}</th>' for text in ("item", "length × width by calipers", "±", "area mm²", "holes")
    )
    return f"<table><thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table>"


def _files(links: Iterable[tuple[str, str]]) -> str:
    parts = [f'<a href="{escape(_address(path))}">{escape(text)}</a>' for text, path in links]
    return f'<p class="files">{"".join(parts)}</p>' if parts else ""


def _address(path: str) -> str:
    """Return a path or address as a link; a colon in a path is no scheme, and odd bytes of a name are kept."""
    return quote(path.encode("utf-8", "surrogateescape"), safe="/:" if "://" in path else "/")


def _words(entry: Entry) -> str:
    if not entry.words:
        return '<p class="fine">Nothing to look at.</p>'
    return f'<ul class="words">{"".join(_word(entry, word) for word in entry.words)}</ul>'


def _word(entry: Entry, word: Word) -> str:
    kind = "remark" if not word.attention else "look" if entry.done else "stop"
    where = f" · {escape(word.where)}" if word.where != entry.name else ""
    step = f"<i>{escape(word.next_step)}</i>" if word.next_step else ""
    return f'<li class="{kind}"><b>{escape(_said(word.code))}{where}</b>{escape(word.message)}{step}</li>'
