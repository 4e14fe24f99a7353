"""Why each limit is where it is: what becomes of random scans when it is half as large, and twice.

    python tests/bench/limits.py --room silhouette --scenes 24
    python tests/bench/limits.py --only silhouette.candidates --only edge.walls._LEFT_PART

Every number that stands by name at the top of a module of the rooms asked for is a limit; its line tells how many
scans (`tests/truth/lid_scenes.py`) come out worse and better than with the value as it is, in the order right, right
and flagged, wrong and flagged, wrong in silence. Worse on both sides: it sits where it must. Worse on one side: a
bound that is needed, with room on the other. Neither: these scans do not tell, and it rests on its comment alone.
Better on a side is a hint to look, no more: the scans are renders. A limit that other numbers are derived from when
the module is loaded, or that is a default of a function, is not moved by this and shows as telling nothing.
"""

from __future__ import annotations

import argparse
import importlib
import pkgutil
import re
import sys
import tempfile
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import digitize
from tests.bench.found import outline_of
from tests.bench.lid_verdict import verdict_of
from tests.truth.lid import LidPicture
from tests.truth.lid_scenes import lid_picture

ROOMS = ("silhouette", "edge", "fitting", "reference", "trust")
KINDS = ("right", "right and flagged", "wrong and flagged", "wrong in silence")
LINE = re.compile(r"^(_?[A-Z][A-Z0-9_]*)(?:: [^=]+)? = [^#\n]*(?:# *(.*))?$", re.MULTILINE)


@dataclass(frozen=True)
class Limit:
    """A number with a name at the top of a module."""

    module: str
    name: str
    value: float | int | tuple[float, ...]
    why: str  # its comment

    @property
    def path(self) -> str:
        return f"{self.module.removeprefix('digitize.')}.{self.name}"

    def times(self, factor: float) -> float | int | tuple[float, ...]:
        """Return the value times a factor; whole numbers stay whole."""
        if isinstance(self.value, tuple):
            return tuple(_times(one, factor) for one in self.value)
        return _times(self.value, factor)


def _times(value: float | int, factor: float) -> float | int:
    return max(1, round(value * factor)) if isinstance(value, int) else value * factor


def modules(room: str) -> Iterator[str]:
    """Yield the names of a room's modules."""
    package = importlib.import_module(f"digitize.{room}")
    yield package.__name__
    for one in pkgutil.walk_packages(package.__path__, f"{package.__name__}."):
        yield one.name


def limits(rooms: Sequence[str], only: Sequence[str]) -> list[Limit]:
    """Return the limits of the rooms, those alone whose path begins with one of `only` where any is named."""
    found = []
    for name in (name for room in rooms for name in modules(room)):
        module = importlib.import_module(name)
        for constant, why in LINE.findall(Path(str(module.__file__)).read_text("utf-8")):
            value = getattr(module, constant, None)
            if _number(value) or (isinstance(value, tuple) and value and all(map(_number, value))):
                found.append(Limit(name, constant, value, why))
    return [one for one in found if not only or one.path.startswith(tuple(only))]


def _number(value: object) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool)


@contextmanager
def moved(limit: Limit, factor: float) -> Iterator[None]:
    """Give a limit another value wherever it was imported to."""
    home = sys.modules[limit.module]
    holders = [home]
    if not limit.name.startswith("_"):  # those are their module's own: another's of that name is another limit
        others = [module for name, module in list(sys.modules.items()) if name.startswith("digitize")]
        holders += [one for one in others if one is not home and getattr(one, limit.name, None) is limit.value]
    for module in holders:
        setattr(module, limit.name, limit.times(factor))
    _forget()
    try:
        yield
    finally:
        for module in holders:
            setattr(module, limit.name, limit.value)
        _forget()


def _forget() -> None:
    """Drop what functions of the package remember of calls before: it may rest on a limit's other value."""
    modules = [module for name, module in list(sys.modules.items()) if name.startswith("digitize")]
    for remembers in (one for module in modules for one in vars(module).values() if hasattr(one, "cache_clear")):
        remembers.cache_clear()


Scan = tuple[LidPicture, Path]


def rank(scan: Scan) -> int:
    """Return what becomes of a scan, as its place in `KINDS`."""
    picture, path = scan
    options = {"square_mm": picture.square_mm} if picture.square_mm else {"dpi": picture.dpi}
    return KINDS.index(verdict_of(picture, outline_of(path, **options)).kind)


def drawn(number: int, folder: Path) -> Scan:
    """Return a scan's truth, without its pixels, and where its picture lies."""
    picture = lid_picture(number)
    path = picture.save(folder / f"scan-{number}")
    return replace(picture, pixels=picture.pixels[:0]), path


def ranks(limit: Limit, scans: Sequence[Scan]) -> tuple[list[int], list[int]]:
    """Return what becomes of the scans with half the limit, and with twice."""
    both = []
    for factor in (0.5, 2.0):
        with moved(limit, factor):
            both.append([rank(scan) for scan in scans])
    return both[0], both[1]


def line(limit: Limit, there: Sequence[int], both: tuple[Sequence[int], Sequence[int]]) -> str:
    """Return a limit's line of the table."""
    cells = ""
    for now in both:
        worse = sum(new > old for new, old in zip(now, there, strict=True))
        better = sum(new < old for new, old in zip(now, there, strict=True))
        cells += f"{worse:>7}{better:>7}"
    value = ", ".join(f"{one:g}" for one in limit.value) if isinstance(limit.value, tuple) else f"{limit.value:g}"
    return f"{limit.path:48}{value:>16}{cells}  {limit.why}"


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--room", action="append", choices=ROOMS, help="all of them unless named")
    parser.add_argument("--only", action="append", default=[], metavar="PATH", help="or the beginning of paths")
    parser.add_argument("--scenes", type=int, default=24)
    parser.add_argument("--first", type=int, default=0, help="number of the first scan")
    parser.add_argument("--jobs", type=int, default=2)
    asked = parser.parse_args()
    numbers = range(asked.first, asked.first + asked.scenes)
    chosen = limits(asked.room or ROOMS, asked.only)
    print(f"{len(chosen)} limits of digitize {digitize.__version__}, {len(numbers)} scans from number {asked.first}")
    print(
        f"{'':64}{'at half':>14}{'at twice':>14}\n{'limit':48}{'value':>16}{'worse  better':>14}{'worse  better':>14}"
    )
    tells = 0
    with tempfile.TemporaryDirectory() as folder, ProcessPoolExecutor(asked.jobs) as pool:
        scans = list(pool.map(partial(drawn, folder=Path(folder)), numbers))
        there = list(pool.map(rank, scans))
        for limit, both in zip(chosen, pool.map(partial(ranks, scans=scans), chosen), strict=True):
            print(line(limit, there, both), flush=True)
            tells += list(there) != both[0] or list(there) != both[1]
    print(f"{tells} of {len(chosen)} limits change what becomes of these scans when they are halved or doubled")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
