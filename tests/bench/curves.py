"""Lines and arcs on outlines of known pieces: counts, distances, processor time; beside Douglas-Peucker.

Run as ``python -m tests.bench.curves`` from the project's folder. Distances are measured on the ring that was
fitted ("ring": the larger of both directions) and on the outline without noise, sampled every 10 um with its
exact corners ("truth"). "smooth" counts the joints that turn by less than 0.5 degrees.
"""

from __future__ import annotations

import time

import numpy as np
import shapely

from digitize.curve import fit_curve, path_kinks, two_sided_distance
from digitize.pocket import make_pocket
from digitize.records import Circle, Path
from tests import strategies as s

TOLERANCE_MM = 0.02
HEAD = f"{'outline':26}{'noise':>6}{'points':>8}{'true':>6}{'found':>6}{'D-P':>6}{'smooth':>8}"
HEAD += f"{'ring um':>9}{'truth um':>9}{'mean um':>9}{'s':>7}"


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
    curve = fit_curve(ring, tolerance_mm=TOLERANCE_MM)
    taken = time.process_time() - start
    to_ring, from_ring, mean = two_sided_distance(curve, ring)
    to_truth = "" if truth is None else f"{1000 * max(two_sided_distance(curve, truth)[:2]):.2f}"
    kinks = np.array([]) if isinstance(curve, Circle) else np.degrees(np.abs(path_kinks(curve)))
    line = f"{name:26}{1000 * noise:>6.0f}{len(ring):>8}{true or '':>6}{count(curve):>6}{simplified(ring):>6}"
    line += (
        f"{np.sum(kinks < 0.5):>8}{1000 * max(to_ring, from_ring):>9.2f}{to_truth:>9}{1000 * mean:>9.3f}{taken:>7.2f}"
    )
    return line


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
    lines = []
    for name, ring in shapes.items():
        across = np.roll(ring, -1, axis=0) - np.roll(ring, 1, axis=0)
        across = np.column_stack([across[:, 1], -across[:, 0]]) / np.hypot(*across.T)[:, None]
        for noise in (0.0, 0.002):
            noisy = ring + noise * np.random.default_rng(2).standard_normal((len(ring), 1)) * across
            lines.append(row(name, noisy, None, noise, ring))
    return lines


def large() -> list[str]:
    """Return lines for rings of about 20,000 points, and the time of a pocket with offset and fit."""
    lines = []
    for outline in (s.id1_card(), s.wave(8, 20, 6.0), s.star(12, 40, 32), s.scallops(24, 30, 2.0)):
        ring, _ = outline.sampled(spacing=outline.length / 20_000, noise=0.002, seed=3)
        lines.append(row(outline.name, ring, outline.count, 0.002, None))
        start = time.process_time()
        (curve,) = make_pocket(ring, clearance_mm=0.25, kerf_mm=0.18).curves
        lines.append(f"  pocket: {count(curve)} pieces, {time.process_time() - start:.2f} s")
    return lines


def main() -> None:
    """Print the tables."""
    for title, lines in (("known pieces", known()), ("free shapes", free()), ("20,000 points", large())):
        print(f"{title}, tolerance {1000 * TOLERANCE_MM:.0f} um", HEAD, *lines, "", sep="\n")


if __name__ == "__main__":
    main()
