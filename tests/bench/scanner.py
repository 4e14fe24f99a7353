"""What a scanner's profile gains: items measured with and without it, on rendered scanners as they are.

    python -m tests.bench.scanner [--scanners 4] [--scans 8] [--dpi 300] [--first 0]

Each scanner has a carriage off by 0.1 to 0.3 %, a smooth bend of 0.05 mm and a tone off the curve it states. A profile
is made from scans of the ring card in places all over the glass; then an item is measured, the card in a far corner.
The card is measured with a calipers' error of 0.01 mm (k = 1) a side, the same in profile and scan. Micrometres.
"""

from __future__ import annotations

import argparse
import datetime

import numpy as np

from digitize.card.kinds import card_layout
from digitize.reading.array import Pixels, picture_from_pixels
from digitize.recipe.outline import outline_picture
from digitize.recipe.scanner import make_scanner_profile
from digitize.settings import Settings
from tests.truth import zoo
from tests.truth.score import compare
from tests.truth.worn import Worn, WornScene

LAYOUT = card_layout("single", "a4")
OUTER_MM = 54.0
DAY = datetime.date(2026, 1, 1)
CALIPER_SD_MM = 0.01


def scanner(seed: int) -> Worn:
    rng = np.random.default_rng([seed, 4711])
    return Worn(
        carriage=float(rng.uniform(0.001, 0.003) * rng.choice([-1, 1])),
        phase=float(rng.uniform(0, 6.28)),
        tone=float(rng.uniform(0.85, 1.2)),
    )


def laid(worn: Worn, dpi: float, at, angle: float, stretch, seed: int) -> WornScene:
    """A scene with the card alone."""
    scene = WornScene(worn, dpi=dpi, background=(0.88,) * 3, blur_px=0.8, noise_codes=1.5, seed=seed)
    scene.add_card([fill.loops for fill in on_card()], LAYOUT.card_box_mm, at, angle, stretch=stretch)
    return scene


def on_card():
    x0, y0, x1, y1 = LAYOUT.card_box_mm
    held = [fill for fill in LAYOUT.fills if x0 <= fill.box_mm[0] and fill.box_mm[2] <= x1]
    return [fill for fill in held if y0 <= fill.box_mm[1] and fill.box_mm[3] <= y1]


def picture_of(scene: WornScene, name: str):
    rendered = scene.render()
    picture = picture_from_pixels(Pixels(pixels=rendered.pixels, dpi=scene.dpi[0], name=name))
    return picture, rendered


def places(worn: Worn, count: int):
    """Centres of the card all over the glass, a quarter turned from one to the next."""
    x0, y0, x1, y1 = LAYOUT.card_box_mm
    reach = 0.5 * np.hypot(x1 - x0, y1 - y0) + 2
    wide, high = worn.glass_mm
    columns = np.linspace(reach, wide - reach, 2)
    rows = np.linspace(reach, high - reach, (count + 1) // 2)
    return [((x, y), 90.0 * n + 3 + 2 * n) for n, (y, x) in enumerate((y, x) for y in rows for x in columns)][:count]


def measured(worn: Worn, dpi: float, count: int, seed: int):
    """Scores of an item without and with the profile, and the profile."""
    rng = np.random.default_rng([seed, 99])
    stretch = 1 + rng.uniform(-0.003, 0.003, 2)
    reading = tuple(float(v) for v in OUTER_MM * stretch + rng.normal(0, CALIPER_SD_MM, 2))
    scans = [
        picture_of(laid(worn, dpi, at, angle, stretch, 100 * seed + n), f"{n}.png")[0]
        for n, (at, angle) in enumerate(places(worn, count))
    ]
    made = make_scanner_profile(scans, "desk", today=DAY, measured_mm=reading, caliper_sd_mm=CALIPER_SD_MM)
    x0, y0, x1, y1 = LAYOUT.card_box_mm
    wide, high = worn.glass_mm
    scene = laid(worn, dpi, (0.5 * (x1 - x0) + 5, 0.5 * (y1 - y0) + 5), 0.0, stretch, 7000 + seed)
    item = zoo.BLANKS["phone-case"]()
    truth = scene.add_item(item, (wide - 60, high - 95), 12.0, (0.06,) * 3)
    picture, _ = picture_of(scene, "item.png")
    found = []
    for profile in (None, made):
        settings = Settings(measured_mm=reading, caliper_error_mm=2 * CALIPER_SD_MM, scanner=profile)
        item = outline_picture(picture, settings).result.items[0]
        score = compare(item.exterior_mm, item.holes_mm, truth)
        x0, y0, x1, y1 = truth.placed((0, 0), -score.turned_deg).bounds()
        size = 1000 * np.array([item.width_mm - (x1 - x0), item.height_mm - (y1 - y0)])
        found.append((score, size, 1000 * item.uncertainty.profile_k2_mm))
    return found, made


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--scanners", type=int, default=4)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--scans", type=int, default=8)
    parser.add_argument("--dpi", type=float, default=300.0)
    asked = parser.parse_args()
    print("scanner  profile   mean   RMS  95 %   max   width  height  stated k=2")
    worse, totals = 0, {False: [], True: []}
    for seed in range(asked.first, asked.first + asked.scanners):
        worn = scanner(seed)
        found, made = measured(worn, asked.dpi, asked.scans, seed)
        for with_it, (score, size, stated) in zip((False, True), found, strict=True):
            totals[with_it].append((score.bias_um, score.rms_um, score.p95_um, score.max_um, *np.abs(size)))
            cells = f"{score.bias_um:6.1f} {score.rms_um:5.1f} {score.p95_um:5.1f} {score.max_um:5.1f}"
            word = "with" if with_it else "without"
            print(f"{seed:7d}  {word:7} {cells}  {size[0]:6.1f} {size[1]:7.1f} {stated:11.1f}", flush=True)
        print(f"         tone {worn.tone:.3f}, found {made.tone:.3f}; bend sd {1000 * made.bend_sd_mm:.1f} um")
        worse += found[1][0].p95_um > found[0][0].p95_um
    for with_it, rows in totals.items():
        median = np.median(np.abs(rows), axis=0)
        print(f"median {'with   ' if with_it else 'without'} " + " ".join(f"{v:6.1f}" for v in median))
    return 1 if worse else 0


if __name__ == "__main__":
    raise SystemExit(main())
