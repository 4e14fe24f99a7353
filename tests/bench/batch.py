"""How fast a folder is done, what ledger and reports cost, and whether memory stays flat.

    python tests/bench/batch.py [--pictures 12] [--kind scan|photo] [--jobs N]    throughput against one picture
    python tests/bench/batch.py --flat 1000                                      memory over many small pictures
    python tests/bench/batch.py --page 3000 --to OUT                             a contact page of so many rows, opened
    python tests/bench/batch.py --grow                                           ledger and reports of 300 to 3,000
    python tests/bench/batch.py --dask 2 [--kind scan|photo]                     1 and 2 workers of a local cluster

Throughput: pictures a second of a batch, start and end left out, times the seconds of one picture
in this process with one thread, divided by the number of workers; the target is 0.85 at least. Overhead: the parent's
own processor time for ledger, reports and progress as a share of the workers' time; 2 % at most. Exit code 1 when a
figure misses its target.

Growth: what came of the pictures is invented and their files are empty, so that only the batch's own work counts:
search, ledger, reports. Processor time, and the exponent of its growth with the number of pictures; 1 is linear.
"""

from __future__ import annotations

import argparse
import contextlib
import math
import resource
import shutil
import statistics
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from digitize.batch import memory
from digitize.batch.cluster import Cluster, work_in_one_thread
from digitize.batch.drive import Batch, Runner, Stop, run_batch
from digitize.batch.find import Search, find_pictures
from digitize.batch.ledger import HOUSE, Ledger
from digitize.batch.names import Place
from digitize.batch.pool import Limits, Pool
from digitize.batch.progress import Progress
from digitize.batch.reports import write_reports
from digitize.batch.row import Row
from digitize.batch.task import Outcome, Task, Wanted, Warned
from digitize.batch.work import work
from digitize.opencv import cv
from digitize.settings import Settings
from digitize.words.say import MESSAGES
from tests.batch_scans import SQUARE, scan
from tests.truth import zoo
from tests.truth.flatbed import Scene
from tests.truth.light import jpeg_bytes, png_bytes

WANTED = Wanted(settings=Settings(square_mm=(float(SQUARE), float(SQUARE))))
ITEMS = {
    "scan": (("key-fob", 0.6, 0.7), ("tag", 0.3, 0.3), ("star", 0.75, 0.3)),
    "photo": (("key-fob", 0.7, 0.5),),
}
LEAST_SHARE, MOST_OVERHEAD, MOST_GROWTH_MB = 0.85, 0.02, 30.0
GROWN, MOST_EXPONENT, MOST_OPENING_S = (300, 1000, 3000), 1.1, 2.0


def large(kind: str) -> bytes:
    """A file of 35 Mpx (A4 at 600 dpi, PNG) or 12 Mpx (JPEG): a square and three items."""
    width, height, dpi = (210, 297, 600) if kind == "scan" else (102, 76, 1000)
    scene = Scene(width, height, dpi_x=dpi, noise_codes=1.5, seed=1)
    scene.add_square(25, (width * 0.2, height * 0.8), 4.0)
    for name, x, y in ITEMS[kind]:
        scene.add_item(zoo.BLANKS[name](), (width * x, height * y), 12.0)
    pixels = scene.render().pixels
    return png_bytes(pixels, (dpi, dpi)) if kind == "scan" else jpeg_bytes(pixels, 92, (dpi, dpi))


def alone(path: Path, out: Path) -> tuple[float, float]:
    """Seconds and processor seconds of one picture in this process, libraries loaded; medians of three."""
    cv().setNumThreads(1)
    task = Task(key=path.name, source=str(path), folder=str(out), wanted=WANTED)
    outcomes = [work(task) for _ in range(4)]
    assert all(outcome.state == "done" for outcome in outcomes), outcomes[0].problem
    return tuple(statistics.median(getattr(one, name) for one in outcomes[1:]) for name in ("seconds", "worked"))


class Timed:
    """A runner that notes when each picture is ready and how long its worker took."""

    def __init__(self, pool: Runner) -> None:
        self.pool, self.ready, self.seconds, self.worked, self.peak = pool, [], [], [], []

    def run(self, tasks):
        for task, outcome in self.pool.run(tasks):
            self.ready.append(time.perf_counter())
            self.seconds.append(outcome.seconds)
            self.worked.append(outcome.worked)
            self.peak.append(outcome.peak_mb)
            yield task, outcome


def batch(folder: Path, out: Path, jobs: int) -> tuple[Timed, float, float]:
    """Do a folder; return the runner, the seconds of all, and the processor seconds of this process."""
    found, _ = find_pictures(Search(root=folder))
    limits = Limits(jobs=jobs, memory_bytes=int(memory.free_bytes() * memory.SHARE), house=out / HOUSE)
    runner = Timed(Pool(work, limits, Stop()))
    start, cpu = time.perf_counter(), time.process_time()
    asked = Batch(root=str(folder), found=found, wanted=lambda _: WANTED, results=str(out), home=out)
    run_batch(asked, runner, Stop(), Progress(len(found), quiet=True))
    return runner, time.perf_counter() - start, time.process_time() - cpu


def throughput(kind: str, pictures: int, jobs: int, folder: Path) -> bool:
    """Print throughput and overhead; return whether both meet their targets."""
    source = folder / "in"
    source.mkdir()
    data = large(kind)
    for number in range(pictures):
        (source / f"{kind}-{number}.{'png' if kind == 'scan' else 'jpg'}").write_bytes(data)
    one, one_worked = alone(next(source.iterdir()), folder / "one")
    runner, whole, own = batch(source, folder / "out", jobs)
    # The first round loads the libraries, the last one leaves workers without a picture: both are the folder's ends.
    steady = runner.ready[jobs - 1 : -jobs + 1 or None]
    same = one_worked / statistics.median(runner.worked)
    # a line through them: workers in step finish together, and first and last alone would count one too few
    rate = statistics.linear_regression(steady, range(len(steady))).slope
    share = rate * one / jobs
    busy = min(1.0, rate * statistics.mean(runner.seconds[jobs:-jobs]) / jobs)
    overhead = own / sum(runner.seconds)
    print(f"{kind}: {len(data) / 1e6:.0f} MB, alone {one:.2f} s, of processor time {one_worked:.2f} s")
    print(f"  {pictures} pictures, {jobs} workers: {whole:.1f} s")
    print(f"  {60 * rate:.1f} a minute = {share:.2f} x workers / alone (target {LEAST_SHARE})")
    print(
        f"  workers are busy {100 * busy:.0f} % of the time and take {1 / same:.2f} x the processor time of one alone:"
    )
    print(f"  {busy * same:.2f}, which holds where others use the machine too")
    print(f"  a worker takes {statistics.median(runner.seconds):.2f} s, most memory {max(runner.peak):.0f} MB")
    print(
        f"  ledger, reports, progress: {100 * overhead:.2f} % of the workers' time (target {100 * MOST_OVERHEAD:g} %)"
    )
    return max(share, busy * same) >= LEAST_SHARE and overhead <= MOST_OVERHEAD


def flat(count: int, folder: Path) -> bool:
    """Print the most memory a worker has held after parts of many pictures; return whether it stays."""
    source = folder / "in"
    source.mkdir()
    for number in range(count):
        (source / f"scan-{number:04d}.png").write_bytes(scan(number % 8))
    runner, whole, _ = batch(source, folder / "out", memory.cores())
    marks = [max(runner.peak[: len(runner.peak) * part // 10]) for part in (1, 2, 5, 10)]
    ours = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{count} pictures in {whole:.0f} s; most memory of a worker after 10, 20, 50, 100 %: ", end="")
    print(", ".join(f"{mark:.0f}" for mark in marks), f"MB; of the batch itself {ours:.0f} MB")
    return marks[3] - marks[1] <= MOST_GROWTH_MB


def page(count: int, out: Path) -> bool:
    """Write a contact page of `count` rows made from a few pictures, with warnings of all sorts spread over them."""
    out.mkdir(parents=True, exist_ok=True)
    known = _known(out)
    with contextlib.closing(Ledger(out)) as ledger:
        for number in range(count):
            ledger.record(_invented(number, known[number % 8], out))
        start = time.perf_counter()
        write_reports(ledger, list(ledger.rows()), out, str(out))
    size = (out / "contact.html").stat().st_size
    print(f"{out / 'contact.html'}: {count} rows, {size / 1e6:.1f} MB, made in {time.perf_counter() - start:.2f} s")
    return opened(out / "contact.html")


class Invented:
    """A runner that does nothing: what came of a few pictures, over and over."""

    def __init__(self, known: list[Outcome]) -> None:
        self.known = known

    def run(self, tasks):
        for number, task in enumerate(tasks):
            yield task, replace(self.known[number % len(self.known)], files=())


def grow(folder: Path) -> bool:
    """Print the batch's own processor time for ever more pictures; return whether it grows in proportion to them."""
    known = _known(folder)
    spent = []
    for count in GROWN:
        source = _new(folder / f"in-{count}")
        for number in range(count):
            (source / f"scan-{number:04d}.png").write_bytes(b"")
        again = []
        for _ in range(2):  # the second run finds everything done
            start = time.process_time()
            found, _ = find_pictures(Search(root=source))
            out = folder / f"out-{count}"
            asked = Batch(root=str(source), found=found, wanted=lambda _: WANTED, results=str(out), home=out)
            run_batch(asked, Invented(known), Stop(), Progress(len(found), quiet=True))
            again.append(time.process_time() - start)
        sizes = ", ".join(
            f"{name} {(out / name).stat().st_size / 1e6:.1f} MB" for name in ("summary.csv", "contact.html")
        )
        print(f"{count:5d} pictures: {again[0]:.2f} s of processor time, {again[1]:.2f} s once more; {sizes}")
        spent.append(again[0])
    power = math.log(spent[-1] / spent[0]) / math.log(GROWN[-1] / GROWN[0])
    print(f"grows with the power {power:.2f} of their number (target {MOST_EXPONENT})")
    return power <= MOST_EXPONENT


def _known(out: Path) -> list[Outcome]:
    """What came of a few small scans, whose pictures are in `out`."""
    tasks = []
    for number in range(8):
        (out / f"scan-{number}.png").write_bytes(scan(number))
        tasks.append(Task(key="", source=str(out / f"scan-{number}.png"), folder=str(out), wanted=WANTED))
    return [work(task) for task in tasks]


def opened(page: Path) -> bool:
    """Print how long a headless Chromium takes for a page and for an empty one; return whether that is short enough."""
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        print("not opened: playwright is not installed")
        return True
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
        took = {address: _opening_s(browser, address) for address in ("about:blank", page.as_uri())}
        browser.close()
    empty, whole = took.values()
    print(f"opens in {whole:.2f} s, an empty page in {empty:.2f} s (target {MOST_OPENING_S})")
    return whole <= MOST_OPENING_S


def _opening_s(browser, address: str) -> float:
    """Seconds from asking for a page until it is drawn and hears; the median of three."""
    took = []
    for _ in range(3):
        page = browser.new_page(viewport={"width": 1280, "height": 900})
        start = time.perf_counter()
        page.goto(address)
        page.evaluate("() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))")
        took.append(time.perf_counter() - start)
        page.close()
    return statistics.median(took)


def _invented(number: int, outcome: Outcome, out: Path) -> Row:
    """A row of the ledger as a night might leave it."""
    if number % 40 == 7:
        problem = "No reference square was found. Lay a plain square flat beside the item."
        outcome = replace(outcome, state="failed", kind="scale", items=(), files=(), problem=problem)
    elif number % 9 == 2:
        code = list(MESSAGES)[number % len(MESSAGES)]
        said = Warned(where=outcome.items[0].name, code=code, message="Measured 0.31, limit 0.10.", attention=True)
        outcome = replace(outcome, warned=(said,))
    return Row(
        key=f"shelf {number // 100}/scan-{number:04d}.png",
        place=Place("", f"scan-{number % 8}"),
        source=str(out / f"scan-{number % 8}.png"),
        stat="",
        wanted="",
        max_mpx=400.0,
        outcome=outcome,
    )


def dask(most: int, pictures: int, kind: str | None, folder: Path) -> bool:
    """Print the rate of a cluster on this machine with 1 to `most` workers of one thread."""
    from distributed import LocalCluster

    source = folder / "in"
    source.mkdir()
    data = large(kind) if kind else None
    for number in range(pictures):
        name = f"scan-{number}.{'jpg' if kind == 'photo' else 'png'}"
        (source / name).write_bytes(data or scan(number % 8))
    found, _ = find_pictures(Search(root=source))
    first = 0.0
    for workers in range(1, most + 1):
        out = folder / f"out-{workers}"
        with LocalCluster(n_workers=workers, threads_per_worker=1, dashboard_address=None, silence_logs=50) as cluster:
            asked = Batch(root=str(source), found=found, wanted=lambda _: WANTED, results=str(out), home=out)
            runner = Timed(Cluster(cluster.scheduler_address, work_in_one_thread))
            run_batch(asked, runner, Stop(), Progress(len(found), quiet=True))
        steady = runner.ready[2 * workers :]
        rate = (len(steady) - 1) / (steady[-1] - steady[0])
        first = first or rate
        print(f"{workers} workers: {60 * rate:.0f} a minute, {rate / first:.2f} x one worker")
    return True


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--pictures", type=int, default=12)
    parser.add_argument("--kind", choices=("scan", "photo"))
    parser.add_argument("--jobs", type=int, default=memory.cores())
    parser.add_argument("--flat", type=int)
    parser.add_argument("--page", type=int)
    parser.add_argument("--grow", action="store_true")
    parser.add_argument("--dask", type=int)
    parser.add_argument("--to", type=Path, default=Path("."))
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        if asked.flat:
            return not flat(asked.flat, Path(folder))
        if asked.page:
            return not page(asked.page, asked.to.resolve())
        if asked.grow:
            return not grow(Path(folder))
        if asked.dask:
            return not dask(asked.dask, asked.pictures, asked.kind, Path(folder))
        kinds = [asked.kind] if asked.kind else ["scan", "photo"]
        good = [throughput(kind, asked.pictures, asked.jobs, _new(Path(folder) / kind)) for kind in kinds]
    return not all(good)


def _new(folder: Path) -> Path:
    folder.mkdir()
    return folder


if __name__ == "__main__":
    sys.exit(main())
