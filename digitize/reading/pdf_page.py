"""Which pictures a PDF page shows, and where on it they lie (ISO 32000-1, 8.3 and 8.9)."""

from __future__ import annotations

import math
import re
import zlib
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from ..errors import PictureError
from ..steady import product

_MM_PER_POINT = 25.4 / 72
_DEEPEST = 8  # forms within forms
MOST_BYTES = 4_000_000  # of a page's description, of a profile
_MOST_DRAWN = 1000  # pictures and forms
_MOST_STEPS = 20_000  # operators that matter here, of a form as often as it is drawn; a scan has some ten
_STEP = re.compile(rb"(?<!\S)(?:[qQ]|cm|Do)(?!\S)")
_COMPLEX = "the PDF's first page is a complex drawing, not a scan. Scan to PNG or TIFF instead."

# Where the stored rows' right and down directions point on the page: the EXIF orientation that turns them back.
_ORIENTATIONS = {
    ((1, 0), (0, -1)): 1,
    ((-1, 0), (0, -1)): 2,
    ((-1, 0), (0, 1)): 3,
    ((1, 0), (0, 1)): 4,
    ((0, -1), (1, 0)): 5,
    ((0, -1), (-1, 0)): 6,
    ((0, 1), (-1, 0)): 7,
    ((0, 1), (1, 0)): 8,
}

Matrix = npt.NDArray[np.float64]  # (2, 2), row vectors: the translation does not matter here


@dataclass(frozen=True, slots=True)
class Placed:
    """A picture and the two edges of its place on the displayed page, in points: to the right and down its rows."""

    picture: Any
    right: tuple[float, float]
    down: tuple[float, float]

    @property
    def orientation(self) -> int:
        """The EXIF orientation that shows the stored pixels as the page does; the nearest if it lies askew."""
        return _ORIENTATIONS.get((_nearest_axis(self.right), _nearest_axis(self.down)), 1)

    def pixel_mm(self, width: int, height: int) -> tuple[float, float] | None:
        """Return the size of a stored pixel in mm; None if it is no rectangle."""
        x, y = math.hypot(*self.right), math.hypot(*self.down)
        cosine = self.right[0] * self.down[0] + self.right[1] * self.down[1]
        if not 0 < x * y < math.inf or abs(cosine) > 0.001 * x * y:
            return None
        return x / width * _MM_PER_POINT, y / height * _MM_PER_POINT


def placed_pictures(page: Any) -> list[Placed]:
    """Return the pictures that the page's content draws, also those inside forms.

    Raises
    ------
    PictureError
        If the content is far more than a scan needs.
    """
    turns = int(page.get("/Rotate", 0)) // 90 % 4
    start = np.eye(2) * float(page.get("/UserUnit", 1))
    for _ in range(turns):
        start = product(np.array([[0.0, -1.0], [1.0, 0.0]]), start)
    walk = _Walk()
    contents = page.obj.get("/Contents")
    if contents is not None:
        walk.check(contents)
        walk.content(page, page.obj.get("/Resources"), start, 0)
    return walk.found


class _Walk:
    """A walk through page content; the number of things drawn is bounded, as forms may nest."""

    def __init__(self) -> None:
        self.found: list[Placed] = []
        self._left = _MOST_DRAWN
        self._bytes_left, self._steps_left = MOST_BYTES, _MOST_STEPS

    def check(self, contents: Any) -> None:
        """Refuse content that is more than a scan needs, before the parser unpacks it and lists all it does."""
        import pikepdf

        parts = list(contents) if isinstance(contents, pikepdf.Array) else [contents]
        self._bytes_left -= sum(unpacked_size(part) for part in parts)
        if self._bytes_left >= 0:
            self._steps_left -= sum(len(_STEP.findall(part.read_bytes())) for part in parts)
        if min(self._bytes_left, self._steps_left) < 0:
            raise PictureError(_COMPLEX)

    def content(self, content: Any, resources: Any, matrix: Matrix, depth: int) -> None:
        import pikepdf

        stack: list[Matrix] = []
        for instruction in pikepdf.parse_content_stream(content, "q Q cm Do BI ID EI"):
            name, operands = str(instruction.operator), list(instruction.operands)
            if name == "q":
                stack.append(matrix)
            elif name == "Q" and stack:
                matrix = stack.pop()
            elif name == "cm":
                matrix = product(_linear(operands), matrix)
            elif name == "INLINE IMAGE":
                raise PictureError("the PDF's picture is stored inline. Scan to PNG or TIFF instead.")
            elif name == "Do":
                self._draw(resources.XObject[operands[0]], resources, matrix, depth)

    def _draw(self, drawn: Any, resources: Any, matrix: Matrix, depth: int) -> None:
        self._left -= 1
        if depth >= _DEEPEST or self._left < 0:
            raise PictureError(_COMPLEX)
        if drawn.Subtype == "/Image":
            (a, b), (c, d) = matrix.tolist()
            self.found.append(Placed(drawn, (a, b), (-c, -d)))
        elif drawn.Subtype == "/Form":
            self.check(drawn)
            inner = product(_linear(drawn.get("/Matrix", [1, 0, 0, 1, 0, 0])), matrix)
            self.content(drawn, drawn.get("/Resources", resources), inner, depth + 1)


def _linear(values: Any) -> Matrix:
    a, b, c, d = (float(value) for value in list(values)[:4])
    return np.array([[a, b], [c, d]])


def unpacked_size(stream: Any) -> int:
    """Return how many bytes a stream unpacks to, counting to a little above `MOST_BYTES` only.

    For filters other than a single deflate it is an upper bound that a sound scan stays far below.
    """
    import pikepdf

    packed, filters = stream.read_raw_bytes(), stream.get("/Filter")
    names = [str(name) for name in filters] if isinstance(filters, pikepdf.Array) else [str(filters)]
    if names == ["/FlateDecode"]:
        return len(zlib.decompressobj().decompress(packed, MOST_BYTES + 1))
    return len(packed) * (1 if filters is None else 100)


def _nearest_axis(vector: tuple[float, float]) -> tuple[int, int]:
    x, y = vector
    if abs(x) >= abs(y):
        return (1 if x > 0 else -1, 0)
    return (0, 1 if y > 0 else -1)
