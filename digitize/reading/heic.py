"""Read HEIC files through an optional package."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from ..errors import PictureError
from ..records import Finding
from ..words.say import finding_of
from .headers import read_facts
from .raw import DAMAGED, Raw, add_facts, check_size


def open_heic(data: bytes, *, max_px: float) -> Raw:
    """Open a HEIC picture.

    Raises
    ------
    PictureError
        If the reader is not installed, or the picture is damaged, too large or too small.
    """
    facts = read_facts("heic", data)
    try:
        import pillow_heif
    except ImportError as error:
        raise PictureError(
            "reading HEIC needs a further package: python -m pip install pillow-heif. "
            "Or save the picture as JPEG or PNG."
        ) from error
    try:
        file = pillow_heif.open_heif(data, convert_hdr_to_8bit=False)
        check_size(*file.size, max_px=max_px)
        pixels = np.array(file)
        icc, exif = file.info.get("icc_profile"), file.info.get("exif")
    except (ValueError, EOFError, SyntaxError, RuntimeError, OSError, LookupError) as error:
        raise PictureError(DAMAGED) from error
    facts = add_facts(facts, exif, len(file), "pictures")
    facts = replace(facts, findings=(*facts.findings, *_curve_remark(file.info)))
    pixels = np.ascontiguousarray(pixels.reshape(*pixels.shape[:2], -1))
    space = "grey" if pixels.shape[2] <= 2 else "rgb"
    return Raw(pixels, facts, icc or None, space)


def _curve_remark(info: dict[str, Any]) -> tuple[Finding, ...]:
    """High dynamic range (ITU-R BT.2100: 16 = PQ, 18 = HLG in ITU-T H.273) has curves that are not built in."""
    nclx = info.get("nclx_profile") or {}
    if info.get("icc_profile") or nclx.get("transfer_characteristics") not in (16, 18):
        return ()
    return (finding_of("curve-assumed"),)
