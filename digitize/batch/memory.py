"""How much memory there is, and how much a picture will take, told from its header."""

from __future__ import annotations

import math
import mmap
import os
import re
import warnings
from pathlib import Path
from typing import Any

BASE_BYTES = 200_000_000  # a worker with all libraries loaded, before any picture; measured 140 MB
PER_PX_BYTES = 16.0  # 8 bit: measured 6 (grey) to 10 (colour), photos 15
DEEP_BYTES = 26.0  # 16 bit: measured 19
DEEP_ALPHA_BYTES = 36.0  # 16 bit with alpha: measured 19 to 30, the most where it is interlaced and large
FRAMED_BYTES = 28.0  # AVIF and HEIC, whose decoder holds the picture in a form of its own: measured 21
_PDF_SIDES = re.compile(rb"/(Width|Height)\s+(\d{1,6})\b")
SHARE = 0.7  # of the free memory that workers may take
_USUAL_PX = 50e6  # of a picture whose header does not tell
_GROUPS_AT = Path("/sys/fs/cgroup")
_CGROUPS = (("memory.max", "memory.current"), ("memory/memory.limit_in_bytes", "memory/memory.usage_in_bytes"))


def need_bytes(source: str, *, max_mpx: float) -> int:
    """Estimate the memory a worker takes for a picture; one whose header tells nothing counts as 50 Mpx.

    A PDF that hides its pictures' sizes counts as the largest that is read at all.
    """
    pixels, each = _seen(source)
    return BASE_BYTES + int(each * min(pixels, max_mpx * 1e6))


def free_bytes() -> int:
    """Return the memory free for new processes, by the system and by the group limits of a container."""
    return max(0, min([_free_of_system(), *_free_of_groups()]))


def cores() -> int:
    """Return the number of cores this process may use."""
    count = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    try:
        quota, period = (_GROUPS_AT / "cpu.max").read_text().split()
        return max(1, min(count, round(int(quota) / int(period))))
    except (OSError, ValueError):
        return count


def _seen(source: str) -> tuple[float, float]:
    """Return the number of pixels and the bytes for each by the file's header; nothing is decoded."""
    from PIL import Image

    unknown = _USUAL_PX, PER_PX_BYTES
    if "://" in source:
        return unknown
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            if not os.path.isfile(source):  # a pipe would be waited for
                return 0.0, PER_PX_BYTES
            if _is_pdf(source):
                return _pdf_pixels(source), PER_PX_BYTES
            with Image.open(source) as picture:
                return float(picture.width * picture.height), _bytes_each(source, picture)
    except Image.DecompressionBombError:
        return math.inf, DEEP_ALPHA_BYTES  # capped at the limit of what is decoded
    except Exception:  # whatever is wrong, the worker finds it and says it
        return unknown


def _bytes_each(source: str, picture: Any) -> float:
    """Return the bytes for each pixel by the kind of file, the depth and the channels (PNG 11.2.2, TIFF 6.0)."""
    if picture.format in ("AVIF", "HEIF"):
        return FRAMED_BYTES
    deep, alpha = "16" in picture.mode, False
    if picture.format == "PNG":
        with open(source, "rb") as file:
            head = file.read(26)
        deep, alpha = head[24] == 16, head[25] in (4, 6)
    elif picture.format == "TIFF":
        bits = picture.tag_v2.get(258, (8,))
        deep, alpha = max(bits) > 8, len(bits) in (2, 4)
    if not deep:
        return PER_PX_BYTES
    return DEEP_ALPHA_BYTES if alpha else DEEP_BYTES


def _is_pdf(source: str) -> bool:
    with open(source, "rb") as file:
        return b"%PDF" in file.read(1024)


def _pdf_pixels(source: str) -> float:
    """Return the pixels of the largest picture that a PDF names in the open."""
    with open(source, "rb") as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as data:
        sides: dict[bytes, int] = {}
        for found in _PDF_SIDES.finditer(data):
            sides[found[1]] = max(sides.get(found[1], 0), int(found[2]))
    return float(sides[b"Width"] * sides[b"Height"]) if len(sides) == 2 else math.inf


def _free_of_system() -> int:
    try:
        for line in Path("/proc/meminfo").read_text().splitlines():
            if line.startswith("MemAvailable:"):
                return int(line.split()[1]) * 1024
    except OSError:
        pass
    if hasattr(os, "sysconf") and "SC_PHYS_PAGES" in os.sysconf_names:
        return os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE") // 2
    return 4_000_000_000


def _free_of_groups() -> list[int]:
    free = []
    for limit, usage in _CGROUPS:
        try:
            most = int((_GROUPS_AT / limit).read_text())
            free.append(most - int((_GROUPS_AT / usage).read_text()))
        except (OSError, ValueError):  # no such group, or "max"
            continue
    return free
