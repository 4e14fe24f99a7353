"""How long the command takes, against the least that any program must do with the same file.

    python tests/bench/speed.py [--only png,jpeg,items] [--repeat 5] [--keep FOLDER]

The pictures are those of tests/bench/speed_pictures.py; ``--only`` takes names or what they begin with. In turn,
``--repeat`` times after a first round that only warms the system's caches: a process that only does ``cv2.imread``, a
short script (tests/bench/short_script.py), and ``digitize outline``, all formats written. Printed are medians:
processor time (user and system) and wall time of each, the ratios of neighbouring runs to the bare decode, and the
peak memory of the whole tree of processes over the size of the decoded picture. Other work on the machine moves wall
times, and processor times less. Then the exponents of growth in items, holes, length of a ring and pixels, a small
picture against importing numpy, cv2 and shapely, and ``digitize --help`` against ``import cv2, skimage``. Exit code 1
when a target is missed.
"""

from __future__ import annotations

import argparse
import atexit
import functools
import math
import multiprocessing
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.bench.speed_pictures import KINDS, make

ROOT = Path(__file__).resolve().parents[2]

TO_BARE = {  # most wall and processor time, over the bare decode's
    "png": (1.3, 1.8),
    "jpeg": (2.2, 2.5),
    "tiff": (1.6, 2.2),
    "photo": (2.5, 2.5),
    "photo-square": (2.5, 2.5),
}
MOST_WORK_S = {"items-400": 5.0, "free-400": 5.0, "holes-1000": 2.5, "grains": 15.0}  # of one core
MOST_MEMORY = 2.2  # times the decoded picture, of 35 Mpx and more
MOST_OVER_IMPORTS = 1.6  # of 2 Mpx, all of it
MOST_OVER_HELP = 0.3
MOST_GROWTH = 1.05
GROWTH = {  # by what a row of pictures grows
    "items": {"items-10": 10, "items-100": 100, "items-400": 400},
    "holes": {"holes-1": 1, "holes-100": 100, "holes-1000": 1000},
    "length of the ring": {"ring-25k": 25, "ring-90k": 90},
    "pixels": {"png": 35, "png-140": 140},
}
BIG = ("png", "jpeg", "tiff", "bmp")  # beginnings of the names whose memory is their pixels' and not the libraries'
BARE = "import sys, cv2; assert cv2.imread(sys.argv[1]) is not None"
IMPORTS = "import numpy, cv2, shapely"
_LOOK_S = 0.01  # how often the tree's memory is looked at


@dataclass(frozen=True)
class Run:
    """One process and its children: wall and processor seconds, peak memory in bytes."""

    seconds: float
    worked: float
    peak: int


def run(*command: str) -> Run:
    """Run a process to its end."""
    start = time.perf_counter()
    child = subprocess.Popen(command, env=_environment(), stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, cwd=ROOT)
    tree = _Tree(child.pid)
    said = child.stderr.read().decode(errors="replace")
    _, status, usage = os.wait4(child.pid, 0)
    seconds = time.perf_counter() - start
    child.returncode = os.waitstatus_to_exitcode(status)
    child.stderr.close()
    together = tree.ended()
    if child.returncode not in (0, 1):  # 1: done, and a person is to look
        raise SystemExit(f"{' '.join(command)}\nexit code {child.returncode}\n{said}")
    return Run(seconds, usage.ru_utime + usage.ru_stime, max(together, usage.ru_maxrss * 1024))


class _Tree:
    """The most memory that a process and its children were seen to hold together; one alone is known exactly."""

    def __init__(self, pid: int) -> None:
        self._pid, self._most, self._over = pid, 0, threading.Event()
        self._thread = threading.Thread(target=self._look)
        self._thread.start()

    def ended(self) -> int:
        self._over.set()
        self._thread.join()
        return self._most

    def _look(self) -> None:
        while not self._over.wait(_LOOK_S):
            self._most = max(self._most, sum(map(_held, _with_children(self._pid))))


def _with_children(pid: int) -> list[int]:
    try:
        tasks = list(Path(f"/proc/{pid}/task").iterdir())
        children = [int(word) for task in tasks for word in (task / "children").read_text().split()]
    except OSError:
        return [pid]
    return [pid, *(one for child in children for one in _with_children(child))]


def _held(pid: int) -> int:
    try:
        return int(Path(f"/proc/{pid}/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE")
    except (OSError, IndexError):
        return 0


@functools.cache
def _environment() -> dict[str, str]:
    """The environment with byte code kept in a folder of this run, as an installed package has it."""
    kept = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    folder = tempfile.mkdtemp(prefix="byte-code-")
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    return kept | {"PYTHONPYCACHEPREFIX": folder}


def outline_command(name: str, path: Path, to: Path, *more: str) -> tuple[str, ...]:
    """The command as a user gives it."""
    return (sys.executable, "-m", "digitize", "outline", str(path), *KINDS[name].options, "--to", str(to), *more)


@dataclass(frozen=True)
class Row:
    """What came of one picture: runs in turn."""

    name: str
    decoded: int  # bytes
    ours: list[Run]
    bare: list[Run]
    short: list[Run]

    def ratio(self, of: Callable[[Run], float]) -> float:
        """The median of ours over the bare decode's, neighbour by neighbour."""
        return statistics.median(of(a) / of(b) for a, b in zip(self.ours, self.bare, strict=True))

    @property
    def memory(self) -> float:
        """Our peak over the decoded picture."""
        return max(one.peak for one in self.ours) / self.decoded

    def line(self) -> str:
        """Figures of the table."""
        work = [statistics.median(one.worked for one in runs) for runs in (self.ours, self.bare, self.short)]
        wall = [statistics.median(one.seconds for one in runs) for runs in (self.ours, self.bare)]
        peaks = [max(one.peak for one in runs) / self.decoded for runs in (self.ours, self.bare, self.short)]
        return (
            f"{self.name:13}{work[0]:8.2f}{work[1]:7.2f}{work[2]:7.2f}{self.ratio(_worked):7.2f}"
            f"{wall[0]:9.2f}{wall[1]:7.2f}{self.ratio(_seconds):7.2f}{peaks[0]:9.2f}{peaks[1]:7.2f}{peaks[2]:7.2f}"
        )

    def missed(self) -> list[str]:
        """What it should have kept to."""
        found = []
        if self.name in TO_BARE:
            for what, most, of in zip(("wall", "processor"), TO_BARE[self.name], (_seconds, _worked), strict=True):
                found += [f"{what} {self.ratio(of):.2f} x the bare decode, not {most}"] * (self.ratio(of) > most)
        work = statistics.median(one.worked for one in self.ours)
        if work > MOST_WORK_S.get(self.name, math.inf):
            found.append(f"{work:.1f} s of one core, not {MOST_WORK_S[self.name]}")
        if self.name.startswith(BIG) and self.memory > MOST_MEMORY:
            found.append(f"memory {self.memory:.2f} x the picture, not {MOST_MEMORY}")
        return found


def _worked(one: Run) -> float:
    return one.worked


def _seconds(one: Run) -> float:
    return one.seconds


HEAD = (
    "             processor s              ratio   wall s         ratio   memory / decoded\n"
    "                ours   bare  short  to bare     ours   bare to bare     ours   bare  short"
)


def compare(name: str, folder: Path, to: Path, repeat: int) -> Row:
    """Run all three in turn."""
    path, runs = folder / KINDS[name].file, ([], [], [])
    commands = (
        outline_command(name, path, to),
        (sys.executable, "-c", BARE, str(path)),
        (sys.executable, str(ROOT / "tests/bench/short_script.py"), str(path), str(to.parent / "short.svg"), "50"),
    )
    for i in range(repeat + 1):
        for kept, command in zip(runs, commands, strict=True):
            if i:
                kept.append(run(*command))
            else:
                run(*command)
    return Row(name, _decoded(path), *runs)


def _decoded(path: Path) -> int:
    """Bytes of the picture's pixels, from its header."""
    from PIL import Image

    Image.MAX_IMAGE_PIXELS = None
    with Image.open(path) as picture:
        return picture.width * picture.height * len(picture.getbands())


def growth(worked: dict[str, float]) -> list[tuple[str, float]]:
    """The exponents by which processor time grows, what a process costs anyway taken off."""
    anyway, found = worked["anyway"], []
    for what, sizes in GROWTH.items():
        known = [(size, worked[name] - anyway) for name, size in sizes.items() if name in worked]
        if len(known) > 1 and known[0][1] > 0:
            (few, little), (many, much) = known[-2:]
            found.append((what, math.log(much / little) / math.log(many / few)))
    return found


def over_imports(folder: Path, to: Path, repeat: int) -> tuple[list[float], float]:
    """A small picture over importing what any such program needs, all formats and JSON alone; time of the imports."""
    path, shares, imports = folder / KINDS["small"].file, ([], []), []
    for i in range(repeat + 1):  # the first round only warms the caches
        known = run(sys.executable, "-c", IMPORTS).worked
        for share, more in zip(shares, ((), ("--format", "json")), strict=True):
            worked = run(*outline_command("small", path, to, *more)).worked
            share += [worked / known] * (i > 0)
        imports += [known] * (i > 0)
    return [statistics.median(share) for share in shares], statistics.median(imports)


def help_ratio(repeat: int) -> float:
    """Return the least processor time of ``--help`` over that of importing cv2 and skimage, run in turn."""
    ours, imports = [], []
    for _ in range(repeat):
        ours.append(run(sys.executable, "-m", "digitize", "--help").worked)
        imports.append(run(sys.executable, "-c", "import cv2, skimage").worked)
    return min(ours) / min(imports)


def _made(names: list[str], folder: Path) -> None:
    """Render what is missing, in a process of its own: a child's peak counts what its parent held at the fork."""
    missing = [name for name in names if not (folder / KINDS[name].file).exists()]
    if missing:
        maker = multiprocessing.get_context("spawn").Process(target=make, args=(missing, folder))
        maker.start()
        maker.join()
        if maker.exitcode:
            raise SystemExit("the pictures could not be rendered")


def main(words: list[str] | None = None) -> int:
    """Print the tables; return 1 when a target is missed."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--only", default="", help="names of pictures, or their beginnings, with commas; 'help'")
    parser.add_argument("--repeat", type=int, default=5)
    parser.add_argument("--keep", type=Path, help="folder for the pictures, used again when they are there")
    asked = parser.parse_args(words)
    begins = tuple(asked.only.split(",")) if asked.only else ("",)
    names = [name for name in KINDS if name in begins or any(one and name.startswith(one + "-") for one in begins)]
    names = list(KINDS) if not asked.only else names
    missed = []
    with tempfile.TemporaryDirectory() as temporary:
        folder, to = asked.keep or Path(temporary), Path(temporary) / "out"
        folder.mkdir(parents=True, exist_ok=True)
        _made(names, folder)
        print(f"medians of {asked.repeat}, in turn\n{HEAD}" if names else "", flush=True)
        worked = {"anyway": 0.0}
        if "small" in names:
            shares, imports = over_imports(folder, to, asked.repeat)
        for name in names:
            row = compare(name, folder, to, asked.repeat)
            worked[name] = statistics.median(one.worked for one in row.ours)
            print(row.line(), flush=True)
            missed += [f"{name}: {one}" for one in row.missed()]
    worked["anyway"] = worked.get("small", 0.0)
    for what, exponent in growth(worked):
        print(f"growth in {what}: exponent {exponent:.2f} (target {MOST_GROWTH})")
        missed += [f"growth in {what}: {exponent:.2f}"] * (exponent > MOST_GROWTH)
    if "small" in names:
        print(
            f"2 Mpx over importing numpy, cv2, shapely ({imports:.2f} s): {shares[0]:.2f}, JSON alone {shares[1]:.2f}"
        )
        missed += [f"2 Mpx: {one:.2f} x the imports" for one in shares if one > MOST_OVER_IMPORTS]
    if "" in begins or "help" in begins:
        share = help_ratio(2 * asked.repeat)
        print(f"--help over importing cv2 and skimage: {share:.2f} (target < {MOST_OVER_HELP})")
        missed += [f"--help {share:.2f}"] * (share >= MOST_OVER_HELP)
    print("\n".join(("missed:", *missed)) if missed else "all targets kept")
    return 1 if missed else 0


if __name__ == "__main__":
    raise SystemExit(main())
