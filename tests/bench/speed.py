"""How long the command takes, against the least that any program must do with the same file.

    python tests/bench/speed.py [--repeat 5] [--formats png,jpeg,tiff,photo] [--keep FOLDER]

An A4 page at 600 dpi (4961 x 7016 px, five items, a square, noise) is rendered once, and a photo of 12 Mpx (JPEG 92,
the mat with an item of 3 mm). Then, in turn and in one run:
the whole process of ``digitize outline`` (all formats written), and a process that only does ``cv2.imread``. Printed:
median wall time of both, the median of the ratios of neighbouring runs (wall and processor time), and the peak memory
of each over the size of the decoded picture. Other work on the machine raises the ratio of wall times: digitize
imports on a second core while it decodes, the bare decoder uses one. Last, ``digitize --help`` against
``import cv2, skimage``. Exit code 1 when a target is missed.
"""

from __future__ import annotations

import argparse
import atexit
import functools
import multiprocessing
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.truth import zoo
from tests.truth.flatbed import Rendered, Scene

TARGET_RATIO = {"png": 2.0, "photo": 2.5}
TARGET_MEMORY = 4.0
TARGET_HELP = 0.3
WIDTH_PX, HEIGHT_PX = 4961, 7016
SCAN_BYTES = WIDTH_PX * HEIGHT_PX * 3
PHOTO_BYTES = 4032 * 3024 * 3
FILES = {"png": "scan.png", "jpeg": "scan.jpg", "tiff": "scan.tif", "photo": "photo.jpg"}
OPTIONS = {"photo": ("--measured", "100", "--item-height", "3")}
BARE = "import sys, cv2; assert cv2.imread(sys.argv[1]) is not None"


@dataclass(frozen=True)
class Run:
    """One process: wall and processor seconds, and peak memory in bytes."""

    seconds: float
    worked: float
    peak: int


def page() -> Rendered:
    """Render the A4 page."""
    scene = Scene(210.03, 297.02, dpi_x=600, dpi_y=600, blur_px=0.8, noise_codes=1.5, gradient=(0.01, 0.01), seed=5)
    scene.add_square(50, (40, 250), angle_deg=7)
    places = [(140, 245), (50, 150), (150, 160), (55, 60), (150, 70)]
    makers = (zoo.tag, zoo.key_fob, zoo.heart, zoo.plaque, zoo.scalloped)
    for k, (make, place) in enumerate(zip(makers, places, strict=True)):
        scene.add_item(make(), place, 13.0 * k, (0.10, 0.08, 0.05))
    scene.add_dust(40, 5)
    return scene.render()


def save(folder: Path, formats: list[str]) -> None:
    """Render the page and write it in each format as scanners' programs do; the photo as phones do."""
    from PIL import Image

    if "photo" in formats:
        from tests.bench.photo import mat_artwork
        from tests.truth.photo import save_photo
        from tests.truth.photo_scenes import photo_case

        save_photo(folder / FILES["photo"], photo_case(1, artwork=mat_artwork()).photo)
    scans = [name for name in formats if name != "photo"]
    image = Image.fromarray(page().pixels) if scans else None
    for name in scans:
        image.save(folder / FILES[name], dpi=(600, 600), **({"quality": 92} if name == "jpeg" else {}))


def run(*command: str) -> Run:
    """Run a process to its end; its own peak memory is taken, not that of the largest child so far."""
    start = time.perf_counter()
    child = subprocess.Popen(command, env=_environment(), stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
    said = child.stderr.read().decode(errors="replace")
    _, status, usage = os.wait4(child.pid, 0)
    seconds = time.perf_counter() - start
    child.returncode = os.waitstatus_to_exitcode(status)
    child.stderr.close()
    if child.returncode != 0:
        raise SystemExit(f"{' '.join(command)}\nexit code {child.returncode}\n{said}")
    return Run(seconds, usage.ru_utime + usage.ru_stime, usage.ru_maxrss * 1024)


@functools.cache
def _environment() -> dict[str, str]:
    """The environment with byte code kept in a folder of this run, as an installed package has it."""
    kept = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    folder = tempfile.mkdtemp(prefix="byte-code-")
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    return kept | {"PYTHONPYCACHEPREFIX": folder}


def outline_command(name: str, path: Path, to: Path) -> tuple[str, ...]:
    how = OPTIONS.get(name, ("--square", "50"))
    return (sys.executable, "-m", "digitize", "outline", str(path), *how, "--to", str(to))


def compare(name: str, path: Path, to: Path, repeat: int) -> tuple[list[Run], list[Run]]:
    """Run both in turn; the first pair only warms the caches of the system."""
    ours, bare = [], []
    for i in range(repeat + 1):
        pair = run(sys.executable, "-c", BARE, str(path)), run(*outline_command(name, path, to))
        if i:
            bare.append(pair[0])
            ours.append(pair[1])
    return ours, bare


def report(name: str, ours: list[Run], bare: list[Run]) -> bool:
    """Print one format's line; return whether it keeps to the targets (time: of PNG and photo)."""
    decoded = PHOTO_BYTES if name == "photo" else SCAN_BYTES
    ratio = statistics.median(a.seconds / b.seconds for a, b in zip(ours, bare, strict=True))
    memory = max(a.peak for a in ours) / decoded
    bare_memory = max(b.peak for b in bare) / decoded
    work = statistics.median(a.worked / b.worked for a, b in zip(ours, bare, strict=True))
    print(
        f"{name:5} {_median(ours):8.2f} {_median(bare):8.2f} {ratio:7.2f} {work:9.2f} {memory:9.2f} {bare_memory:9.2f}",
        flush=True,
    )
    kept_small = name == "photo" or memory <= TARGET_MEMORY  # the libraries alone are as large as a photo
    return kept_small and ratio <= TARGET_RATIO.get(name, float("inf"))


def _median(runs: list[Run]) -> float:
    return statistics.median(r.seconds for r in runs)


def help_ratio(repeat: int) -> float:
    """Return the least processor time of ``--help`` over that of importing cv2 and skimage, run in turn."""
    ours, imports = [], []
    for _ in range(repeat):
        ours.append(run(sys.executable, "-m", "digitize", "--help").worked)
        imports.append(run(sys.executable, "-c", "import cv2, skimage").worked)
    return min(ours) / min(imports)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--repeat", type=int, default=5)
    parser.add_argument("--formats", default="png,jpeg,tiff,photo")
    parser.add_argument("--keep", type=Path, help="folder for the pictures, used again when they are there")
    options = parser.parse_args()
    formats = options.formats.split(",")
    with tempfile.TemporaryDirectory() as temporary:
        folder = options.keep or Path(temporary)
        folder.mkdir(parents=True, exist_ok=True)
        paths = {name: folder / FILES[name] for name in formats}
        missing = [name for name in formats if not paths[name].exists()]
        if missing:
            # In a process of its own: a child's peak counts what its parent held when it was forked.
            maker = multiprocessing.get_context("spawn").Process(target=save, args=(folder, missing))
            maker.start()
            maker.join()
        sizes = f"a scan decoded is {SCAN_BYTES >> 20} MiB, a photo {PHOTO_BYTES >> 20}"
        print(f"{options.repeat} runs of each, in turn; {sizes}")
        ratios = ", ".join(f"{name} <= {most}" for name, most in TARGET_RATIO.items())
        print(f"targets: ratio {ratios}; a scan's memory <= {TARGET_MEMORY} x decoded")
        print("      outline s imread s   ratio processor    memory  (imread)")
        kept = [report(name, *compare(name, paths[name], Path(temporary) / "out", options.repeat)) for name in formats]
    share = help_ratio(2 * options.repeat)
    print(f"--help over importing cv2 and skimage: {share:.2f} (target < {TARGET_HELP})")
    return 0 if all(kept) and share < TARGET_HELP else 1


if __name__ == "__main__":
    raise SystemExit(main())
