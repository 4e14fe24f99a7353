"""Lines and arcs on outlines of known pieces: counts, distances, processor time; beside Douglas-Peucker.

Run as ``python -m tests.bench.curves`` from the project's folder; returns 1 when a target is missed. Distances are
measured on the ring that was fitted ("ring": the larger of both directions) and on the outline without noise, sampled
every 10 um with its exact corners ("truth"). "smooth" counts the joints that turn by less than 0.5 degrees. Processor
times are of one thread where ``OPENBLAS_NUM_THREADS=1`` is set: 20,000 points fitted, and offset and fitted; rings
just not so uneven as to be taken for ragged; free blanks as dense as a scan of 600 dpi; and one free shape ever larger,
from 6,000 to 83,000 points, with the exponent of growth.
"""

from __future__ import annotations

import time

import numpy as np
import shapely

from digitize.cutting.make import cut_pocket
from digitize.cutting.ways import Cutting
from digitize.fitting.bulge import path_kinks
from digitize.fitting.distance import two_sided_distance
from digitize.fitting.fit import fit_curve
from digitize.fitting.ragged import lines_if_ragged
from digitize.fitting.ring import make_ring
from digitize.records import Circle, Path
from tests import strategies as s

TOLERANCE_MM = 0.02
BLOBS = (
    (0.03, 0.05, 0.02),
    (0.05, -0.08, 0.03, 0.02),
    (-0.05, 0.04, 0.03, -0.04),
    (0.1, 0.06, 0.03),
    (0.02, 0.05, 0.02, 0.03, 0.0, 0.03),
)  # waves of order 2, 3, ...
HEAD = f"{'outline':26}{'noise':>6}{'points':>8}{'true':>6}{'found':>6}{'D-P':>6}{'smooth':>8}"
HEAD += f"{'ring um':>9}{'truth um':>9}{'mean um':>9}{'s':>7}"
TIME_HEAD = f"{'outline':30}{'points':>8}{'pieces':>8}{'fit s':>8}{'pocket':>8}{'s':>8}"
TARGET_FIT_S, TARGET_POCKET_S, TARGET_UNEVEN_S, TARGET_BLANK_S = 0.6, 1.5, 1.0, 0.06
TARGET_GROWTH = 1.05  # exponent of the time in the number of points


def count(curve: Path | Circle) -> int:
    """Return the number of pieces."""
    return 1 if isinstance(curve, Circle) else len(curve.bulges)


def simplified(ring: s.Ring) -> int:
    """Return the number of lines Douglas-Peucker needs at the same tolerance."""
    thin = shapely.simplify(shapely.Polygon(ring), TOLERANCE_MM, preserve_topology=False)
    return len(shapely.get_coordinates(thin)) - 1


def row(name: str, ring: s.Ring, true: int | None, noise: float, truth: s.Ring | None) -> str:
    """Fit one ring and return its line of the table."""
    start = time.process_time()
    curve = fit_curve(make_ring(ring), tolerance_mm=TOLERANCE_MM)
    taken = time.process_time() - start
    to_ring, from_ring, mean = two_sided_distance(curve, ring)
    to_truth = "" if truth is None else f"{1000 * max(two_sided_distance(curve, truth)[:2]):.2f}"
    kinks = np.array([]) if isinstance(curve, Circle) else np.degrees(np.abs(path_kinks(curve)))
    line = f"{name:26}{1000 * noise:>6.0f}{len(ring):>8}{true or '':>6}{count(curve):>6}{simplified(ring):>6}"
    line += (
        f"{np.sum(kinks < 0.5):>8}{1000 * max(to_ring, from_ring):>9.2f}{to_truth:>9}{1000 * mean:>9.3f}{taken:>7.2f}"
    )
    return line


def noisy(ring: s.Ring, noise: float) -> s.Ring:
    """Return the ring with white noise across its edge."""
    return ring + noise * np.random.default_rng(2).standard_normal((len(ring), 1)) * s.across(ring)


def known() -> list[str]:
    """Return lines for outlines of known pieces, at four levels of noise."""
    lines = []
    for outline in s.zoo():
        truth, _ = outline.sampled(spacing=0.01, corners=True)
        for noise in (0.0, 0.001, 0.003, 0.01):
            ring, _ = outline.sampled(noise=noise, seed=1)
            lines.append(row(outline.name, ring, outline.count, noise, truth))
    return lines


def free() -> list[str]:
    """Return lines for smooth shapes that hold no line and no arc."""
    shapes = {
        "ellipse 80 x 50": s.ellipse(40, 25),
        "ellipse 24 x 20": s.ellipse(12, 10),
        "lobed": s.lobed((0.03, 0.05, 0.02), 30, 0.8),
        "many lobes": s.lobed((0.02, 0.05, 0.02, 0.03, 0.0, 0.03), 60, 0.9),
    }
    return [row(name, noisy(ring, noise), None, noise, ring) for name, ring in shapes.items() for noise in (0.0, 0.002)]


def known_dense() -> dict[str, s.Ring]:
    """Return outlines of lines and arcs, 20,000 points each, 2 um of noise."""
    outlines = (s.id1_card(), s.wave(8, 20, 6.0), s.star(12, 40, 32), s.scallops(24, 30, 2.0))
    return {o.name: o.sampled(spacing=o.length / 20_000, noise=0.002, seed=3)[0] for o in outlines}


def free_dense() -> dict[str, s.Ring]:
    """Return shapes without lines or arcs, about 20,000 points each, without noise and with 2 and 4 um."""
    waves = (0.02, 0.05, 0.02, 0.03, 0.0, 0.03)
    shapes = {
        "ellipse 80 x 50": s.ellipse(40, 25, 0.0103),
        "lobed": s.lobed((0.03, 0.05, 0.02), 30, 0.8, 0.0086),
        "many lobes": s.lobed(waves, 60, 0.9, 0.0182),
        "many lobes, large": s.lobed(waves, 140, 0.9, 0.0425),
    }
    noises = (0.0, 0.002, 0.004)
    return {f"{name}, {1000 * noise:.0f} um": noisy(ring, noise) for name, ring in shapes.items() for noise in noises}


def uneven() -> dict[str, s.Ring]:
    """Return rings whose edge wanders as far as it may without being taken for ragged, found by bisection."""
    rings = {}
    for radius, length, seed in ((8, 0.6, 1), (15, 0.3, 7), (25, 0.6, 3), (40, 1.0, 5), (60, 2.0, 6)):
        low, high = 0.0, 1.0
        for _ in range(12):
            middle = (low + high) / 2
            plain = lines_if_ragged(s.uneven(radius, middle, length, seed), TOLERANCE_MM) is None
            low, high = (middle, high) if plain else (low, middle)
        rings[f"R {radius}, {1000 * low:.0f} um over {length} mm"] = s.uneven(radius, low, length, seed)
    return rings


def blanks() -> dict[str, s.Ring]:
    """Return free blanks of 25 to 140 mm, 0.3 um of noise: five blobs, a back for a phone, a worn disc."""
    rings = {f"blob {k}": s.lobed(waves, 22, 0.8) for k, waves in enumerate(BLOBS)}
    rings |= {"phone case": superellipse(36, 73, 4.6), "worn disc": s.uneven(20, 0.05, 8.0, 3)}
    return {name: noisy(ring, 0.0003) for name, ring in rings.items()}


def superellipse(a: float, b: float, power: float) -> s.Ring:
    """Return |x / a|^power + |y / b|^power = 1: sides that bulge, corners that are no arcs."""
    turn = np.linspace(0, 2 * np.pi, 40_000, endpoint=False)
    x, y = np.cos(turn), np.sin(turn)
    share = 2 / power
    return s.even(np.column_stack([a * np.sign(x) * np.abs(x) ** share, b * np.sign(y) * np.abs(y) ** share]))


def ever_larger() -> dict[str, s.Ring]:
    """Return one shape of 6,000, 12,000, ... points, 0.5 um of noise."""
    waves = (0.02, 0.05, 0.02, 0.03, 0.0, 0.03)
    return {f"R {r}": noisy(s.lobed(waves, r, 0.9, 0.0425), 0.0005) for r in (40, 80, 160, 290, 580)}


def grown() -> tuple[list[str], bool]:
    """Return lines of the time of ever larger rings and the exponent, and whether that keeps the target."""
    rings, taken = ever_larger(), []
    for ring in rings.values():
        start = time.process_time()
        fit_curve(make_ring(ring), tolerance_mm=TOLERANCE_MM)
        taken.append(time.process_time() - start)
    counts = [len(ring) for ring in rings.values()]
    exponent = float(np.polyfit(np.log(counts), np.log(taken), 1)[0])
    lines = [f"{name:30}{n:>8}{'':8}{t:>8.2f}" for name, n, t in zip(rings, counts, taken, strict=True)]
    return [*lines, f"exponent {exponent:.2f}"], exponent <= TARGET_GROWTH


def timed(rings: dict[str, s.Ring], target_s: float, *, pocket_s: float | None) -> tuple[list[str], bool]:
    """Return lines of pieces and processor time of the fit, and of offset and fit; and whether targets are kept."""
    lines, kept = [], True
    for name, ring in rings.items():
        start = time.process_time()
        curve = fit_curve(make_ring(ring), tolerance_mm=TOLERANCE_MM)
        fitted = time.process_time()
        line = f"{name:30}{len(ring):>8}{count(curve):>8}{fitted - start:>8.2f}"
        kept &= fitted - start <= target_s
        if pocket_s is not None:
            (path,) = cut_pocket((make_ring(ring),), (curve,), Cutting(clearance_mm=0.25, kerf_mm=0.18)).curves
            taken = time.process_time() - fitted
            line += f"{count(path):>8}{taken:>8.2f}"
            kept &= taken <= pocket_s
        lines.append(line)
    return lines, kept


def main() -> int:
    """Print the tables."""
    for title, lines in (("known pieces", known()), ("free shapes", free())):
        print(f"{title}, tolerance {1000 * TOLERANCE_MM:.0f} um", HEAD, *lines, "", sep="\n")
    all_kept = True
    tables = (
        ("lines and arcs", known_dense(), TARGET_FIT_S, TARGET_POCKET_S),
        ("free shapes", free_dense(), TARGET_FIT_S, TARGET_POCKET_S),
        ("uneven", uneven(), TARGET_UNEVEN_S, None),
        ("free blanks", blanks(), TARGET_BLANK_S, None),
    )
    for title, rings, fit_s, pocket_s in tables:
        lines, kept = timed(rings, fit_s, pocket_s=pocket_s)
        target = f"targets: fit {fit_s} s" + ("" if pocket_s is None else f", pocket {pocket_s} s")
        print(f"{title}; {target}", TIME_HEAD, *lines, "", sep="\n")
        all_kept &= kept
    lines, kept = grown()
    print(f"ever larger; target: exponent {TARGET_GROWTH}", TIME_HEAD, *lines, "", sep="\n")
    all_kept &= kept
    return 0 if all_kept else 1


if __name__ == "__main__":
    raise SystemExit(main())
