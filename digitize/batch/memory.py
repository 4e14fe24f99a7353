"""How much memory there is, and how much a picture will take, told from its header."""

from __future__ import annotations

import os
import warnings
from pathlib import Path

BASE_BYTES = 200_000_000  # a worker with all libraries loaded, before any picture; measured 140 MB
PER_PX_BYTES = 16.0  # measured 7 (8 bit RGB) to 12 (16 bit, AVIF) and 15 (photos)
SHARE = 0.7  # of the free memory that workers may take
_CGROUPS = (("memory.max", "memory.current"), ("memory/memory.limit_in_bytes", "memory/memory.usage_in_bytes"))


def need_bytes(source: str, *, max_mpx: float) -> int:
    """Estimate the memory a worker takes for a picture; one whose header tells nothing counts as 50 Mpx."""
    return BASE_BYTES + int(PER_PX_BYTES * min(_pixels(source), max_mpx * 1e6))


def free_bytes() -> int:
    """Return the memory free for new processes, by the system and by the group limits of a container."""
    return max(0, min([_free_of_system(), *_free_of_groups()]))


def cores() -> int:
    """Return the number of cores this process may use."""
    count = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    try:
        quota, period = Path("/sys/fs/cgroup/cpu.max").read_text().split()
        return max(1, min(count, round(int(quota) / int(period))))
    except (OSError, ValueError):
        return count


def _pixels(source: str) -> float:
    """Return the number of pixels by the file's header; nothing is decoded."""
    from PIL import Image

    unknown = 50e6
    if "://" in source or source.lower().endswith(".pdf"):
        return unknown
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            if not os.path.isfile(source):  # a pipe would be waited for
                return 0.0
            with Image.open(source) as picture:
                return float(picture.width * picture.height)
    except Image.DecompressionBombError:
        return float("inf")  # capped at the limit of what is decoded
    except Exception:  # whatever is wrong, the worker finds it and says it
        return unknown


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
            most = int((Path("/sys/fs/cgroup") / limit).read_text())
            free.append(most - int((Path("/sys/fs/cgroup") / usage).read_text()))
        except (OSError, ValueError):  # no such group, or "max"
            continue
    return free
