"""The page of the check picture: its parts, their places and colours."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ...opencv import cv
from .view import Pixels, View

Colour = tuple[int, int, int]

PAPER: Colour = (244, 242, 237)
INK: Colour = (28, 36, 48)
FAINT: Colour = (96, 104, 116)
ALERT: Colour = (196, 92, 16)
LABEL: Colour = (24, 31, 43)
BEYOND: Colour = (206, 202, 194)
WHITE: Colour = (255, 255, 255)

PAD = 24
GAP = 16
LEAST_WIDTH = 960
TIMES = 8
WINDOW_HEIGHT = 264
PLANS_A_ROW = 3
PLAN_HEIGHT, SMALL_PLAN_HEIGHT = 420, 300
MOST_WARNINGS = 8
MOST_LINES = 8  # of one warning
LINE = 24
KEY_LINE = 28


@dataclass(frozen=True, slots=True)
class Layout:
    """Where the parts stand on the page, px."""

    width: int
    height: int
    picture: tuple[int, int]  # left, top
    key_y: int
    plans_y: int
    plan_size: tuple[int, int]
    windows_y: int
    window_size: tuple[int, int]


def inner_width(view: View) -> int:
    """Return the width of all that stands on the page of a view of the whole."""
    return max(int(view.pixels.shape[1]), LEAST_WIDTH)


def layout_for(view: View, windows: int, warnings: int, plans: int = 0, *, key_lines: int = 1) -> Layout:
    """Lay out a page for a view of the whole, so many windows, lines of warnings, plans and lines of the key."""
    height, width = view.pixels.shape[:2]
    inner = inner_width(view)
    top = PAD + 66 + LINE * max(1, warnings) + GAP
    key_y = top + height + GAP
    plans_y = key_y + 44 + LINE + (key_lines - 1) * KEY_LINE
    plan_size = plan_size_for(inner, plans)
    windows_y = plans_y + -(-plans // PLANS_A_ROW) * (plan_size[1] + LINE + GAP)
    bottom = windows_y + WINDOW_HEIGHT if windows else windows_y - LINE - (GAP if plans else 12)
    window_width = (inner - 2 * GAP) // 3
    left = PAD + (inner - width) // 2
    return Layout(
        inner + 2 * PAD, bottom + PAD, (left, top), key_y, plans_y, plan_size, windows_y, (window_width, WINDOW_HEIGHT)
    )


def plan_size_for(inner: int, plans: int) -> tuple[int, int]:
    """Return width and height of each of so many plans, as wide as the page has room for."""
    columns = max(1, min(plans, PLANS_A_ROW))
    return (inner - (columns - 1) * GAP) // columns, PLAN_HEIGHT if plans <= PLANS_A_ROW else SMALL_PLAN_HEIGHT


def plan_at(page: Layout, number: int) -> tuple[int, int]:
    """Return the left upper corner of a plan, px."""
    row, column = divmod(number, PLANS_A_ROW)
    (wide, high), step = page.plan_size, LINE + GAP
    return PAD + column * (wide + GAP), page.plans_y + row * (high + step)


def blank(page: Layout) -> Pixels:
    """Return the empty page."""
    row = np.tile(np.array(PAPER, dtype=np.uint8), page.width)  # row by row is ten times quicker than pixel by pixel
    return np.tile(row, (page.height, 1)).reshape(page.height, page.width, 3)


def paste(sheet: Pixels, pixels: Pixels, at: tuple[int, int]) -> None:
    """Put pixels on the page with a thin frame about them; `at` is their left upper corner."""
    (left, top), (height, width) = at, pixels.shape[:2]
    sheet[top : top + height, left : left + width] = pixels
    cv().rectangle(sheet, (left - 1, top - 1), (left + width, top + height), FAINT)


def window_x(page: Layout, number: int) -> int:
    """Return the left edge of a window, px."""
    return PAD + number * (page.window_size[0] + GAP)
