"""How far measured outlines lie from the truth, over many rendered scans.

    python tests/bench/accuracy.py [--scenes 60] [--quick] [--hard] [--first 0] [--jobs 2] [--bound] [--reading 0.02]

A table, one scan a line: signed mean, RMS, 95th percentile and maximum (micrometres, both ways, corners included),
the stated k=2 uncertainty of an edge point and the share of the outline within it; beside it the same by a plain
script (threshold, border following, one square). ``--bound`` adds the mid-level line in linear light mapped by the
true scale. The square's side is given exactly unless ``--reading`` draws a calipers' error of that deviation (mm)
for each direction: then the share of lengths within the stated interval says whether the interval is honest,
and the distances are no measure of the edge. Exit code 1 when a total misses its target or a scan fails.
``--photo`` measures rendered photos instead, with the options of tests/bench/photo.py.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.bench.plain import NotFoundError, level_line, plain_outline
from tests.truth.flatbed import save_png
from tests.truth.scenes import FlatbedCase, flatbed_case
from tests.truth.score import Score, compare

TARGETS_UM = {"bias": 1.5, "rms": 3.0, "p95": 6.0, "max": 40.0}
LOST_UM = 2000.0  # farther off than this the plain script took something else for the item


@dataclass
class Row:
    """What one scan gave; a score is None where nothing usable came out, `note` says why."""

    name: str
    blur_px: float
    noise_codes: float
    contrast: float
    ours: Score | None = None
    plain: Score | None = None
    bound: Score | None = None
    stated_um: float = float("nan")
    sizes: list[tuple[float, float]] = field(default_factory=list)  # error and stated k=2 of width and height, um
    seconds: float = 0.0
    note: str = ""


def measure(seed: int, *, hard: bool, bound: bool, reading_mm: float = 0.0) -> Row:
    """Render the scan `seed` and measure it every way."""
    case = flatbed_case(seed, hard=hard)
    row = Row(case.name, case.blur_px, case.noise_codes, case.contrast)
    error = np.random.default_rng([seed, 5]).normal(0, 1, 2) * reading_mm
    _by_digitize(case, row, (case.square_mm + error[0], case.square_mm + error[1]))
    row.plain = _by_plain_script(case)
    if bound:
        row.bound = compare(*level_line(case), case.truth)
    return row


def _by_plain_script(case: FlatbedCase) -> Score | None:
    try:
        score = compare(*plain_outline(case.picture.pixels, case.square_mm), case.truth)
    except (NotFoundError, ValueError):
        return None
    return score if score.max_um < LOST_UM else None


def _by_digitize(case: FlatbedCase, row: Row, square_mm: tuple[float, float]) -> None:
    from digitize.errors import DigitizeError
    from digitize.reading.picture import read_picture
    from digitize.recipe.outline import outline_picture
    from digitize.settings import Settings

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "scan.png"
        save_png(path, case.picture, dpi=600)  # what a scanner claims
        picture = read_picture(path)
    start = time.perf_counter()
    try:
        result = outline_picture(picture, Settings(square_mm=square_mm)).result
    except DigitizeError as error:
        row.note = f"{type(error).__name__}: {error}"
        return
    finally:
        row.seconds = time.perf_counter() - start
    if len(result.items) != 1:
        row.note = f"{len(result.items)} items found, 1 there"
        return
    item = result.items[0]
    try:
        row.ours = compare(item.exterior_mm, item.holes_mm, case.truth)
    except ValueError as error:
        row.note = str(error)
        return
    row.stated_um = 1000 * item.uncertainty.profile_k2_mm
    row.sizes = _size_errors(item, case, row.ours)


def _size_errors(item, case: FlatbedCase, score: Score):
    """Return (error, stated k=2) of width and height in the measured axes, micrometres."""
    x0, y0, x1, y1 = case.truth.placed((0, 0), -score.turned_deg).bounds()
    stated = item.uncertainty
    pairs = ((item.width_mm, x1 - x0), (item.height_mm, y1 - y0))
    return [
        (1000 * (got - true), 1000 * stated.length_offset_k2_mm + true * stated.length_per_metre_k2_mm)
        for got, true in pairs
    ]


# --- the table ---------------------------------------------------------------------------------------------------


def _cells(score: Score | None) -> str:
    if score is None:
        return f"{'failed':>27}"
    return f"{score.bias_um:6.2f} {score.rms_um:6.2f} {score.p95_um:6.2f} {score.max_um:6.1f}"


def _within(row: Row) -> float:
    return float((np.abs(row.ours.distances_um) <= row.stated_um).mean())


def line(row: Row) -> str:
    stated = f"{row.stated_um:5.1f} {100 * _within(row):4.0f}" if row.ours else " " * 10
    parts = [
        f"{row.name:32.32} {row.blur_px:4.2f} {row.noise_codes:5.1f} {row.contrast:8.2f}",
        _cells(row.ours),
        stated,
        f"{row.seconds:5.2f}",
        _cells(row.plain),
    ]
    if row.bound is not None:
        parts.append(_cells(row.bound))
    return " | ".join(parts) + (f"  {row.note[:120]}" if row.note else "")


def heading(bound: bool) -> str:
    four = f"{'mean':>6} {'RMS':>6} {'95 %':>6} {'max':>6}"
    parts = [f"{'scan':32} blur noise contrast", four, f"{'k=2':>5} {'in %':>4}", "    s", four]
    if bound:
        parts.append(four)
    titles = f"{'':58}   {'digitize, um':27}   {'stated':10}   {'':5}   {'plain script, um':27}"
    text = " | ".join(parts)
    return titles + ("   level line, true scale" if bound else "") + "\n" + text + "\n" + "-" * len(text)


def _figures(scores: list[Score]) -> dict[str, np.ndarray]:
    return {
        "bias": np.array([s.bias_um for s in scores]),
        "rms": np.array([s.rms_um for s in scores]),
        "p95": np.array([s.p95_um for s in scores]),
        "max": np.array([s.max_um for s in scores]),
    }


def totals(title: str, scores: list[Score], count: int) -> None:
    """Print median, pooled and worst figures of all scans that gave an outline."""
    print(f"\n{title}: {len(scores)} of {count} scans gave an outline")
    if not scores:
        return
    figures = _figures(scores)
    pooled = np.concatenate([s.distances_um for s in scores])
    pool = {
        "bias": pooled.mean(),
        "rms": np.sqrt((pooled**2).mean()),
        "p95": np.quantile(np.abs(pooled), 0.95),
        "max": np.abs(pooled).max(),
    }
    print(f"  {'':10}{'target':>8}{'median':>9}{'pooled':>9}{'worst':>9}   scans within")
    for key, values in figures.items():
        size, limit = np.abs(values), TARGETS_UM[key]
        inside = int((size <= limit).sum())
        print(
            f"  {key:10}{limit:8.1f}{np.median(values):9.2f}{pool[key]:9.2f}{size.max():9.2f}   {inside}/{len(values)}"
        )
    print(f"  largest away from corners: {max(s.max_elsewhere_um for s in scores):.1f} um")


def coverage(rows: list[Row]) -> None:
    """Print how often the stated k=2 intervals hold the truth."""
    good = [r for r in rows if r.ours]
    if not good:
        return
    points = np.concatenate([np.abs(r.ours.distances_um) <= r.stated_um for r in good])
    sizes = np.array([pair for r in good for pair in r.sizes])
    held = (np.abs(sizes[:, 0]) <= sizes[:, 1]).mean()
    print(f"\nstated k=2: holds {100 * points.mean():.1f} % of edge points, {100 * held:.1f} % of widths and heights")
    print(
        f"  width and height: mean {sizes[:, 0].mean():.2f} um, RMS {np.sqrt((sizes[:, 0] ** 2).mean()):.2f}, "
        f"worst {np.abs(sizes[:, 0]).max():.2f}; stated {np.median(sizes[:, 1]):.1f} (median)"
    )


def within_targets(rows: list[Row]) -> bool:
    if any(r.ours is None for r in rows):
        return False
    figures = _figures([r.ours for r in rows])
    return all(np.abs(figures[key]).max() <= limit for key, limit in TARGETS_UM.items())


def run(seeds, *, jobs: int, bound: bool, **how) -> list[Row]:
    print(heading(bound))
    rows = []
    with ProcessPoolExecutor(jobs) as pool:
        for row in pool.map(partial(measure, bound=bound, **how), seeds):
            print(line(row), flush=True)
            rows.append(row)
    return rows


def main() -> int:
    if "--photo" in sys.argv[1:]:
        from tests.bench import photo

        return photo.main([word for word in sys.argv[1:] if word != "--photo"])
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--scenes", type=int, default=60)
    parser.add_argument("--first", type=int, default=0, help="seed of the first scene")
    parser.add_argument("--quick", action="store_true", help="12 scenes, each look once")
    parser.add_argument("--hard", action="store_true", help="with grain, contact shadow, uneven lid")
    parser.add_argument("--bound", action="store_true", help="also the level line by the true scale")
    parser.add_argument("--reading", type=float, default=0.0, help="deviation of the calipers' reading, mm")
    parser.add_argument("--jobs", type=int, default=2)
    options = parser.parse_args()
    count = 12 if options.quick else options.scenes
    start = time.perf_counter()
    rows = run(
        range(options.first, options.first + count),
        jobs=options.jobs,
        bound=options.bound,
        hard=options.hard,
        reading_mm=options.reading,
    )
    totals("digitize", [r.ours for r in rows if r.ours], count)
    coverage(rows)
    totals("plain script", [r.plain for r in rows if r.plain], count)
    if options.bound:
        totals("level line, true scale", [r.bound for r in rows if r.bound], count)
    verdict = within_targets(rows)
    print(f"\nevery scan within every target: {'yes' if verdict else 'NO'}; {time.perf_counter() - start:.0f} s")
    return 0 if verdict else 1


if __name__ == "__main__":
    raise SystemExit(main())
