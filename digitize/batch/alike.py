"""Whether a drawing that stands there was drawn as another: the same words, and every number within a little."""

from __future__ import annotations

import re
from io import BytesIO

from ..seal import PREFIX, is_sealed

_WITHIN = 0.01  # mm, points or inches: a document holds 0.1 um, and what options change is changed by more
_MARK = re.compile(PREFIX + "[0-9A-F]{16}")
_NUMBER = re.compile(r"-?\d+(?:\.\d+)?")


def is_drawn_alike(there: bytes, made: bytes, kind: str) -> bool:
    """Tell whether `there` is sealed, and drawn as `made` is but for the last digits.

    Parameters
    ----------
    there, made
        Two files of the kind.
    kind
        "json", "dxf", "svg" or "pdf"; of any other kind the bytes must be the same.
    """
    if there == made or not is_sealed(there):
        return there == made
    if kind not in ("dxf", "svg", "pdf"):
        return False
    one, other = (_MARK.sub("", _text(data, kind)) for data in (there, made))
    if _NUMBER.sub("#", one) != _NUMBER.sub("#", other):
        return False
    pairs = zip(_NUMBER.findall(one), _NUMBER.findall(other), strict=True)
    return all(left == right or abs(float(left) - float(right)) <= _WITHIN for left, right in pairs)


def _text(data: bytes, kind: str) -> str:
    """Return what is drawn as text; of a PDF what its pages draw, unpacked."""
    if kind != "pdf":
        return data.decode("utf-8", "replace")
    import pikepdf

    with pikepdf.open(BytesIO(data)) as pdf:
        parts = [(str(page.mediabox), page.obj.Contents.read_bytes().decode("latin-1")) for page in pdf.pages]
    return "\n".join(f"{box}\n{content}" for box, content in parts)
