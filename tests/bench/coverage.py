"""Whether the stated k = 2 figures hold the truth as often as they say: 93 to 97 % of sizes and of edge points.

    python -m tests.bench.coverage [--scans 200] [--photos 70] [--mats 40] [--first 0] [--jobs 2] [--keep FILE]

Scenes of `tests/truth/trust_scenes.py`, drawn independently of what the package takes for granted. Of each scan: *edge
part*, the square's side known exactly and none of its calipers' error stated, nor a bend of the glass; *whole*, both
sides said wrong by N(0, 0.02 mm), the glass bent by 0.03 mm (`tests/truth/worn.py`). Photos: square or printed mat read
wrong by N(0, 0.02 mm), height read wrong by N(0, 0.05 mm), every fourth said as `+-0.5` and wrong by up to 0.5 mm.
Counted are the width and height of the box and the distances between both outlines, both ways, corners included;
"spread" is the root mean square of error over stated standard uncertainty, 1 where they agree.
Returns 1 where a row misses.
"""

from __future__ import annotations

import argparse
import pickle
import sys
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path

import numpy as np

from digitize.errors import DigitizeError
from digitize.recipe.outline import outline_picture
from digitize.records import CameraTag, Density, Item, Picture, Uncertainty
from digitize.settings import Settings
from digitize.trust.uncertainty import arm_mm, combine, of_length_k2_mm
from tests.bench.photo import mat_artwork
from tests.rendered import srgb_table
from tests.truth.light import jpeg_bytes
from tests.truth.score import compare
from tests.truth.shapes import Shape
from tests.truth.trust_scenes import phone_case, scan_case

HOLDS = (0.93, 0.97)
READING_SD_MM = 0.02
LOST_UM = 1500.0  # farther off, something else was taken for the item: no matter of uncertainty


@dataclass(frozen=True, eq=False)
class Held:
    """What came of one scene measured one way."""

    way: str  # "scan, edge part", "scan, whole", "photo", "mat"
    name: str
    tags: frozenset[str]
    sizes: tuple[tuple[float, float], ...] = ()  # error and stated k = 2 of width and height, mm
    stated_mm: float = 0.0  # k = 2 of an edge point
    distances_mm: np.ndarray = field(default_factory=lambda: np.zeros(0))
    flagged: bool = False  # a person is asked to look
    note: str = ""
    item: Item | None = None

    @property
    def points(self) -> float:
        """Share of the edge within what is stated."""
        return float((np.abs(self.distances_mm) <= self.stated_mm).mean())


def picture_of(pixels, *, dpi: float | None = None, stated: bool = True, exif_35mm: int | None = None) -> Picture:
    """Return pixels as a picture that is in memory, with what its file would say."""
    density = None if dpi is None else Density(dpi / 25.4, dpi / 25.4, "PNG pHYs")
    camera = None if exif_35mm is None else CameraTag("Lantern Row", "Pocket 12", None, float(exif_35mm))
    return Picture("scene.png", "0" * 64, pixels, srgb_table(), density, camera, curve_stated=stated)


def measured(
    way: str, name: str, tags, picture: Picture, settings: Settings, truth: Shape, *, exact: bool = False, **how
) -> Held:
    """Outline a picture and hold it against the truth; `exact`: neither card nor glass is off, and not stated to be."""
    row = partial(Held, way, name, tags)
    try:
        result = outline_picture(picture, settings).result
    except DigitizeError as error:
        return row(note=f"{type(error).__name__}: {error}")
    item = max(result.items, key=lambda one: one.area_mm2)
    if exact:
        item = replace(item, uncertainty=without(("card reading", "scanner bend"), item))
    try:
        score = compare(item.exterior_mm, item.holes_mm, truth, **how)
    except ValueError as error:
        return row(note=str(error))
    if score.p95_um > LOST_UM:
        return row(note="something else was taken for the item")
    x0, y0, x1, y1 = truth.placed((0, 0), -score.turned_deg).bounds()
    pairs = ((item.width_mm, x1 - x0), (item.height_mm, y1 - y0))
    sizes = tuple((got - true, of_length_k2_mm(item.uncertainty, true)) for got, true in pairs)
    flagged = any(finding.attention for finding in result.all_findings)
    stated = item.uncertainty.profile_k2_mm
    return row(sizes, stated, score.distances_um / 1000, flagged, item=item)


def without(names: tuple[str, ...], item: Item) -> Uncertainty:
    """Return what is stated of an item without some lines of its budget."""
    kept = tuple(line for line in item.uncertainty.budget if line.name not in names)
    return combine(kept, arm_mm((item.exterior_mm, *item.holes_mm)))


def of_scan(number: int) -> list[Held]:
    """Measure the scan of this number with the card exact, and with it read as people read it."""
    case, bent = scan_case(number), scan_case(number, bent=True)
    off = np.random.default_rng([number, 7]).normal(0, READING_SD_MM, 2)
    exact = Settings(square_mm=(case.side_mm, case.side_mm))
    read = Settings(square_mm=(case.side_mm + off[0], case.side_mm + off[1]), caliper_error_mm=2 * READING_SD_MM)
    flat, curved = (picture_of(one.pixels, dpi=one.dpi, stated=one.curve_stated) for one in (case, bent))
    seen = partial(measured, name=case.name, tags=case.tags, truth=case.truth)
    return [
        seen("scan, edge part", picture=flat, settings=exact, exact=True),
        seen("scan, whole", picture=curved, settings=read),
    ]


def of_photo(number: int, *, on_mat: bool = False) -> list[Held]:
    """Measure the photo of this number."""
    way = "mat" if on_mat else "photo"
    try:
        case = phone_case(number, artwork=mat_artwork() if on_mat else None)
    except ValueError as error:  # what its walls hide falls into pieces
        return [Held(way, f"{way} {number}", frozenset(), note=f"not drawn: {error}")]
    rng = np.random.default_rng([number, 11])
    off, loose = rng.normal(0, READING_SD_MM, 2), number % 4 == 0
    within = 0.5 if loose else 0.1
    height = case.height_mm + (rng.uniform(-0.5, 0.5) if loose else rng.normal(0, 0.05))
    height = max(height, 0.1)
    picture = picture_of(through_jpeg(case.photo.pixels), exif_35mm=case.exif_35mm)
    if on_mat:
        x, y = case.print_scale  # the mat lies turned by a quarter: its X runs along the picture's columns
        known = {"measured_mm": (100.0 * y + off[0], 100.0 * x + off[1])}
    else:
        known = {"square_mm": (case.side_mm + off[0], case.side_mm + off[1])}
    settings = Settings(item_height_mm=height, height_within_mm=within, taken_with="camera", **known)
    tags = frozenset({"loose height"} if loose else ())
    return [measured(way, case.name, tags, picture, settings, case.truth, any_turn=True)]


def through_jpeg(pixels, quality: int = 92):
    import io

    from PIL import Image

    return np.ascontiguousarray(Image.open(io.BytesIO(jpeg_bytes(pixels, quality))).convert("RGB"))


# --- the table ---------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Coverage:
    """How often the stated figures hold, over some rows."""

    scenes: int
    sizes: float
    points: float
    size_spread: float
    point_spread: float

    @classmethod
    def of(cls, rows: list[Held]) -> Coverage:
        """Count it."""
        errors = np.array([pair for row in rows for pair in row.sizes])
        ratio = 2 * errors[:, 0] / errors[:, 1]
        spread = [4 * np.mean(row.distances_mm**2) / row.stated_mm**2 for row in rows]
        return cls(
            len(rows),
            float((np.abs(ratio) <= 2).mean()),
            float(np.mean([row.points for row in rows])),
            float(np.sqrt(np.mean(ratio**2))),
            float(np.sqrt(np.mean(spread))),
        )

    def line(self, name: str) -> str:
        """Return a line of the table."""
        return (
            f"{name:34}{self.scenes:5}{100 * self.sizes:9.1f}{self.size_spread:9.2f}"
            f"{100 * self.points:11.1f}{self.point_spread:9.2f}"
        )


def table(rows: list[Held]) -> bool:
    """Print how often the figures hold, by way and by what is in the scene; True where all ways do as they say."""
    print(f"{'':34}{'':>5}{'sizes %':>9}{'spread':>9}{'points %':>11}{'spread':>9}")
    fine = True
    for way in dict.fromkeys(row.way for row in rows):
        good = [row for row in rows if row.way == way and not row.note]
        if not good:
            continue
        whole = Coverage.of(good)
        print(whole.line(way))
        parts: list[tuple[str, Callable[[Held], bool]]] = [("without LOOK", lambda row: not row.flagged)]
        for tag in sorted({tag for row in good for tag in row.tags}):
            parts.append((tag, lambda row, tag=tag: tag in row.tags))
            parts.append((f"no {tag}", lambda row, tag=tag: tag not in row.tags))
        for name, chosen in parts:
            some = [row for row in good if chosen(row)]
            if some:
                print(Coverage.of(some).line(f"    {name}"))
        fine &= all(HOLDS[0] <= part <= HOLDS[1] for part in (whole.sizes, whole.points))
    for row in rows:
        if row.note:
            print(f"  left out: {row.way}, {row.name}: {row.note[:110]}")
    return fine


def main() -> int:
    """Run the table."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--scans", type=int, default=200)
    parser.add_argument("--photos", type=int, default=70)
    parser.add_argument("--mats", type=int, default=40)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--keep", type=Path, help="also write all rows there (pickle)")
    options = parser.parse_args()
    first, rows = options.first, []
    with ProcessPoolExecutor(options.jobs) as pool:
        for work, count in ((of_scan, options.scans), (of_photo, options.photos), (_of_mat, options.mats)):
            for found in pool.map(work, range(first, first + count)):
                rows += found
            if options.keep:
                options.keep.write_bytes(pickle.dumps(rows))
    fine = table(rows)
    print(f"\nevery row within {100 * HOLDS[0]:g} to {100 * HOLDS[1]:g} %: {'yes' if fine else 'NO'}")
    return 0 if fine else 1


def _of_mat(number: int) -> list[Held]:
    return of_photo(number, on_mat=True)


if __name__ == "__main__":
    sys.exit(main())
