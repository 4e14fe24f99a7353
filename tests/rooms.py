"""A drawing of the rooms from the imports: each below all that it imports, arrows that others imply left out.

`python -m tests.help_pages` writes it again as tests/rooms.svg; tests/test_help.py tells when.
"""

from __future__ import annotations

import ast
from functools import cache
from html import escape

from tests.test_imports import MODULES, ROOT, imports, ours, room

BOX, GAP, ROW = (104, 34), 22, 84  # px
LEAST_WIDTH = 900
FOUNDATION = (
    "errors",
    "records",
    "seal",
    "opencv",
    "files",
    "kinds",
    "parameters",
)  # what nearly every room stands on: no arrows


def drawing() -> str:
    """Return the drawing as SVG, the same text for the same imports."""
    rows = _rows()
    width = max(LEAST_WIDTH, max(len(row) for row in rows) * (BOX[0] + GAP) + GAP)
    places = {name: _place(k, len(row), r, width) for r, row in enumerate(rows) for k, name in enumerate(row)}
    height = len(rows) * ROW + 46
    arrows = [_arrow(places[a], places[b]) for a in places for b in sorted(_needed(a)) if b in places]
    boxes = [_box(name, *at) for name, at in places.items()]
    stands_on = "all stand on " + ", ".join(FOUNDATION)
    return "\n".join(
        [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" width="{width}" height="{height}" '
            'font-family="sans-serif">',
            '<defs><marker id="tip" viewBox="0 0 8 8" refX="7" refY="4" markerWidth="7" markerHeight="7" orient="auto">'
            '<path d="M0 0 8 4 0 8z" fill="#4a5a6a"/></marker></defs>',
            f'<rect width="{width}" height="{height}" fill="#ffffff"/>',
            *arrows,
            *boxes,
            f'<text x="{GAP}" y="{height - 14}" font-size="12" fill="#4a5a6a">{stands_on}</text>',
            "</svg>",
            "",
        ]
    )


@cache
def _imports(name: str) -> frozenset[str]:
    """Rooms that a room imports, foundation apart."""
    own = [module for module in MODULES if room(module) == name]
    found = {room(one) for module in own for one in ours(imports(module).anywhere)}
    return frozenset(found - {name, "", *FOUNDATION})


def _rooms() -> list[str]:
    return sorted({room(module) for module in MODULES} - {"", "__main__", *FOUNDATION})


def _below(name: str) -> set[str]:
    return set().union(*({one} | _below(one) for one in _imports(name)), set())


def _needed(name: str) -> set[str]:
    """Imports that no other import of the room implies."""
    direct = _imports(name)
    return {one for one in direct if not any(one in _below(other) for other in direct - {one})}


def _depth(name: str) -> int:
    return 1 + max((_depth(one) for one in _imports(name)), default=-1)


def _rows() -> list[list[str]]:
    """Rooms from the ones that import nothing down to the commands."""
    deepest = max(map(_depth, _rooms()))
    return [[name for name in _rooms() if _depth(name) == depth] for depth in range(deepest + 1)]


def _place(k: int, count: int, row: int, width: int) -> tuple[float, float]:
    """Middle of a box."""
    return width * (k + 0.5) / count, 34 + row * ROW


def _arrow(lower: tuple[float, float], upper: tuple[float, float]) -> str:
    (x0, y0), (x1, y1) = lower, upper
    top, bottom = y0 - BOX[1] / 2, y1 + BOX[1] / 2 + 2
    bend = (top - bottom) / 2
    return (
        f'<path d="M{x0:.1f} {top:.1f}C{x0:.1f} {top - bend:.1f} {x1:.1f} {bottom + bend:.1f} {x1:.1f} {bottom:.1f}" '
        'fill="none" stroke="#9aa8b5" stroke-width="1.3" marker-end="url(#tip)"/>'
    )


def _box(name: str, x: float, y: float) -> str:
    path = ROOT / name / "__init__.py"
    what = (ast.get_docstring(ast.parse(path.read_text("utf-8"))) or "").split("\n")[0] if path.exists() else name
    parts = [
        f'<rect x="{x - BOX[0] / 2:.1f}" y="{y - BOX[1] / 2:.1f}" width="{BOX[0]}" height="{BOX[1]}" rx="5" '
        f'fill="{"#e8eef4" if path.exists() else "#f6f2e8"}" stroke="#4a5a6a"/>'
    ]
    parts.append(_text(f"{name}{'/' if path.exists() else '.py'}", x, y + 5, 13))
    return f"<g><title>{escape(what)}</title>{''.join(parts)}</g>"


def _text(words: str, x: float, y: float, size: float) -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size:g}" text-anchor="middle" fill="#1d2a36">{words}</text>'
