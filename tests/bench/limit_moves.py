"""How far outlines move when a limit is halved or doubled, over all rooms, and which limits change nothing at all.

    python -m tests.bench.limit_moves --room edge --room fitting
    python -m tests.bench.limit_moves --only camera.solve

`limits.py` asks whether scans come out right or wrong; this asks for less and so sees more: whether the document is
another one at all, and by how much an outline, as it is written, differs in its item's own frame. A limit is tried
on the first picture (`--pictures 3`: three) in which a function that names it runs; where none does, that is said.
A limit that changes nothing here may guard against what none of these pictures shows. Not moved by this, and so
without effect: what other numbers are derived from when a module is loaded, and defaults of functions.
"""

from __future__ import annotations

import argparse
import signal
import sys
import tempfile
import threading
import warnings
from collections import Counter
from collections.abc import Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import digitize
from tests.bench.found import curve_points, outline_of
from tests.bench.limits import Limit, limits, moved
from tests.truth import zoo
from tests.truth.flatbed import Scene, save_png
from tests.truth.lid_scenes import lid_picture
from tests.truth.shapes import Shape, circle

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = str(Path(digitize.__file__).parent)
ROOMS = ("silhouette", "edge", "fitting", "reference", "trust", "measure", "camera", "recipe")
LONGEST_S = 120  # of processor time; a picture that takes longer by another limit counts as refused
SCANS = (5, 35, 55)  # of `lid_scenes`: crumbs and hair; a coarse scan; stains in deep shade on cloth
EFFECTS = ("nothing", "below 1 um", "1 to 10 um", "over 10 um", "another finding", "other items", "refused")


@dataclass(frozen=True)
class Sample:
    """A picture, with the options it is outlined by."""

    path: Path
    options: dict[str, Any]


@dataclass(frozen=True)
class Outcome:
    """What came of a picture."""

    document: str  # or the error
    findings: tuple[str, ...]
    rings: tuple[tuple[Any, ...], ...]  # of each item its curves as (N, 2) points, mm, in its own frame


def samples(folder: Path) -> list[Sample]:
    """Return the pictures: a photo beside a card, scans with something hard in them, a disc, a mat."""
    pictures = ROOT / "samples"
    badge = Sample(pictures / "badge.jpg", {"measured_mm": (54, 54), "item_height_mm": 3.2})
    fobs = Sample(pictures / "fobs.jpg", {"square_mm": 30, "clearance_mm": 0.2, "kerf_mm": 0.18})
    lens = str(pictures / "phone.toml")
    hanger = Sample(pictures / "hanger.jpg", {"measured_mm": (100, 100), "lens": lens, "item_height_mm": 4})
    hard = [_scan(number, folder) for number in SCANS]
    return [hard[0], badge, fobs, _disc(folder), *hard[1:], hanger]


def _scan(number: int, folder: Path) -> Sample:
    scan = lid_picture(number)
    options = {"square_mm": scan.square_mm} if scan.square_mm else {"dpi": scan.dpi}
    return Sample(scan.save(folder / f"scan-{number}"), options)


def _disc(folder: Path) -> Sample:
    scene = Scene(100, 60, dpi_x=200, blur_px=0.8, noise_codes=1.5, seed=3)
    scene.add_item(Shape(circle(20.0), (), "disc"), (25, 30), 0, (0.25, 0.25, 0.28))
    scene.add_item(zoo.key_fob(), (68, 28), 20, (0.3, 0.1, 0.1))
    path = folder / "disc.png"
    save_png(path, scene.render())
    return Sample(path, {"disc_mm": 20.0})


def outcome(sample: Sample) -> Outcome:
    """Outline a picture."""
    signal.setitimer(signal.ITIMER_PROF, LONGEST_S)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            found = outline_of(sample.path, **sample.options)
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
    if found.error:
        return Outcome(found.error, (), ())
    rings = [tuple(curve_points(c) for c in (item.path, *item.hole_paths)) for item in found.outlines.items]
    return Outcome(found.outlines.to_document(), (*found.looks, *found.remarks), tuple(rings))


def functions_run(sample: Sample) -> set[tuple[str, str]]:
    """Return (file, name used) of all functions of the package that run when a picture is outlined."""
    seen = set()

    def look(frame: Any, event: str, _: object) -> None:
        if event == "call":
            seen.add(frame.f_code)

    threading.setprofile(look)
    sys.setprofile(look)
    try:
        outcome(sample)
    finally:
        sys.setprofile(None)
        threading.setprofile(None)
    ours = [code for code in seen if code.co_filename.startswith(PACKAGE)]
    return {(code.co_filename, name) for code in ours for name in code.co_names}


def runs(limit: Limit, used: set[tuple[str, str]]) -> bool:
    """Return whether a function ran that names the limit; a private one is its own module's."""
    own = str(sys.modules[limit.module].__file__)
    return any(name == limit.name and (file == own or not name.startswith("_")) for file, name in used)


def effect(there: Outcome, now: Outcome) -> tuple[int, float]:
    """Return the place in `EFFECTS` of what another limit does to a picture, and how far outlines move, mm."""
    from shapely import LinearRing

    if now.document == there.document:
        return 0, 0.0
    if there.rings and not now.rings:
        return 6, 0.0
    if [len(rings) for rings in now.rings] != [len(rings) for rings in there.rings]:
        return 5, 0.0
    pairs = [pair for two in zip(now.rings, there.rings, strict=True) for pair in zip(*two, strict=True)]
    far = max((LinearRing(a).hausdorff_distance(LinearRing(b)) for a, b in pairs), default=0.0)
    if Counter(now.findings) != Counter(there.findings):
        return 4, far
    return (1 if far < 1e-3 else 2 if far < 1e-2 else 3), far


def effects(
    limit: Limit, pictures: Sequence[Sample], there: Sequence[Outcome], used: Sequence[set[tuple[str, str]]], most: int
) -> tuple[int, list[tuple[int, float]]]:
    """Return on how many pictures a limit was tried, and what came of it at half and at twice its value, the worst."""
    where = [i for i in range(len(pictures)) if runs(limit, used[i])][:most]
    worst = []
    for factor in (0.5, 2.0):
        with moved(limit, factor):
            seen = [effect(there[i], outcome(pictures[i])) for i in where]
        worst.append((max((kind for kind, _ in seen), default=0), max((far for _, far in seen), default=0.0)))
    return len(where), worst


def _value(limit: Limit) -> str:
    return ", ".join(f"{one:g}" for one in limit.value) if isinstance(limit.value, tuple) else f"{limit.value:g}"


def _totals(rows: Iterable[tuple[Limit, int, int]]) -> None:
    """Print how many limits of each room have which effect."""
    counts: dict[str, Counter[str]] = {}
    for limit, tried, kind in rows:
        counts.setdefault(limit.path.partition(".")[0], Counter())["not run" if not tried else EFFECTS[kind]] += 1
    print(f"\n{'room':12}" + "".join(f"{name:>16}" for name in ("not run", *EFFECTS)))
    for room, count in counts.items():
        print(f"{room:12}" + "".join(f"{count[name]:>16}" for name in ("not run", *EFFECTS)))


def _too_long(*_: object) -> None:
    raise TimeoutError(f"not done in {LONGEST_S} s")


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--room", action="append", choices=ROOMS, help="all of them unless named")
    parser.add_argument("--only", action="append", default=[], metavar="PATH", help="or the beginning of paths")
    parser.add_argument("--pictures", type=int, default=1, help="on how many at the most a limit is tried")
    parser.add_argument("--jobs", type=int, default=2)
    asked = parser.parse_args()
    signal.signal(signal.SIGPROF, _too_long)
    rooms = asked.room or sorted({one.split(".")[0] for one in asked.only}) or ROOMS
    chosen = limits(rooms, asked.only)
    print(f"{len(chosen)} limits of digitize {digitize.__version__}: the worst of what half and twice the value do")
    rows = []
    with tempfile.TemporaryDirectory() as folder:
        pictures = samples(Path(folder))
        used = [functions_run(sample) for sample in pictures]
        there = [outcome(sample) for sample in pictures]
        with ProcessPoolExecutor(asked.jobs) as pool:
            tell = partial(effects, pictures=pictures, there=there, used=used, most=asked.pictures)
            for limit, (tried, both) in zip(chosen, pool.map(tell, chosen), strict=True):
                sides = "".join(f"{EFFECTS[kind]:>17}{1e3 * far:>9.1f}" for kind, far in both)
                print(f"{limit.path:48}{_value(limit):>16}{tried:>3}{sides}", flush=True)
                rows.append((limit, tried, max(kind for kind, _ in both)))
    _totals(rows)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
