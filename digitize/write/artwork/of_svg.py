"""SVG artwork: kept as it is drawn, as a symbol; what could run or fetch something is refused."""

from __future__ import annotations

import re
from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING
from xml.etree import ElementTree

from .art import UNIT, unreadable

if TYPE_CHECKING:
    from pikepdf import Object, Pdf

_SVG = "http://www.w3.org/2000/svg"
_XLINK = "http://www.w3.org/1999/xlink"
_NAMES = {"": _SVG, "xlink": _XLINK}
# CSS Values 3, absolute lengths
_UNITS = {
    "": UNIT.pixel,
    "px": UNIT.pixel,
    "mm": 1.0,
    "cm": 10.0,
    "in": UNIT.inch,
    "pt": UNIT.point,
    "pc": 12 * UNIT.point,
}
_LENGTH = re.compile(r"\s*\+?(\d+\.?\d*(?:[eE][+-]?\d+)?|\.\d+)\s*(px|mm|cm|in|pt|pc)?\s*")
_OWN = {"x", "y", "width", "height", "version", "id", "baseProfile"}
_ELSEWHERE = re.compile(r"""url\(\s*['"]?(?!#|data:)[^)]*\)|@import""")


@dataclass(frozen=True, slots=True)
class SvgArt:
    """An SVG file."""

    name: str
    size_mm: tuple[float, float]
    attributes: dict[str, str]  # of the root, those that its contents need
    inside: str
    ids: frozenset[str] = frozenset()
    has_styles: bool = False  # a style sheet, which would hold for all of a drawing

    @property
    def proportions(self) -> tuple[float, float]:
        """Width and height."""
        return self.size_mm

    @property
    def formats(self) -> tuple[str, ...]:
        """Drawings that can hold it as it is."""
        return ("svg",)

    def symbol(self, key: str) -> str:
        """Return it as a symbol, its contents as they are."""
        told = "".join(f' {name}="{escape(value)}"' for name, value in self.attributes.items())
        return f'<symbol id="{key}"{told}>{self.inside}</symbol>'

    def pdf_object(self, pdf: Pdf) -> tuple[Object, tuple[float, float, float, float, float, float]]:
        """Refuse: an SVG would have to be drawn anew."""
        raise unreadable(self.name, "a PDF cannot hold an SVG as it is", "Take the template's SVG.")


def read_svg(name: str, data: bytes) -> SvgArt:
    """Return the artwork of an SVG file.

    Raises
    ------
    UsageError
        If it is not well-formed, does not tell its size, or would run a script or fetch a file.
    """
    root = _parsed(name, data)
    for element in root.iter():
        _check(name, element)
    size = tuple(_length(name, root, side) for side in ("width", "height"))
    kept = {key: value for key, value in root.attrib.items() if key not in _OWN and not key.startswith("{")}
    if "viewBox" not in kept:
        kept["viewBox"] = f"0 0 {size[0] / UNIT.pixel:.9g} {size[1] / UNIT.pixel:.9g}"
    for prefix, address in _NAMES.items():
        ElementTree.register_namespace(prefix, address)
    inside = "".join(ElementTree.tostring(child, encoding="unicode") for child in root)
    ids = frozenset(element.attrib["id"] for element in root.iter() if "id" in element.attrib)
    styled = any(element.tag == f"{{{_SVG}}}style" for element in root.iter())
    return SvgArt(name, (size[0], size[1]), kept, (root.text or "").strip() + inside, ids, styled)


def _parsed(name: str, data: bytes) -> ElementTree.Element:
    if b"<!ENTITY" in data:
        raise unreadable(name, "it defines entities of its own", "Save it as plain SVG.")
    try:
        root = ElementTree.fromstring(data)
    except (ElementTree.ParseError, ValueError, LookupError) as error:
        raise unreadable(name, f"it is no well-formed SVG ({error})", "Save it again as plain SVG.") from error
    if root.tag != f"{{{_SVG}}}svg":
        raise unreadable(name, "its first element is not svg", "Save it again as plain SVG.")
    return root


def _check(name: str, element: ElementTree.Element) -> None:
    """Refuse what could run or fetch something."""
    tag = element.tag.rpartition("}")[2] if isinstance(element.tag, str) else ""
    if tag in ("script", "foreignObject") or any(key.lower().startswith("on") for key in element.attrib):
        raise unreadable(name, "it holds a script or a page of its own", "Save it as plain SVG.")
    links = [value for key, value in element.attrib.items() if key.rpartition("}")[2] == "href"]
    away = [link for link in links if not link.strip().startswith(("#", "data:"))] if tag != "a" else []
    texts = [*element.attrib.values(), element.text or ""] if tag == "style" else element.attrib.values()
    away += [match[0] for text in texts if (match := _ELSEWHERE.search(text))]
    if away:
        raise unreadable(name, f"it needs another file, {away[0][:60]}", "Embed pictures and fonts in it.")


def _length(name: str, root: ElementTree.Element, side: str) -> float:
    match = _LENGTH.fullmatch(root.get(side, ""))
    mm = float(match[1]) * _UNITS[match[2] or ""] if match else 0.0
    if not 0 < mm < 1e5:
        raise unreadable(
            name, f"it does not tell its {side} (it says {root.get(side) or 'nothing'})", "Save it with its size in mm."
        )
    return mm
