"""Real photos beside a square of known size, changed as photos differ: turned, saved again, in other light, cropped.

    python -m tests.bench.real_photos                        # all changes of the photos that are there
    python -m tests.bench.real_photos --only p5.jpg --change turned_90 darker_curve --keep FOLDER

Things are those at known places; their areas are compared with what digitize measures on the photo as it is. Beside it
stands a plain script: Otsu's threshold of the saturation (of the grey picture where the ground is dark), the square
being the piece at its place. Of half a square nothing may come out. Exit code 1 where something is wrong without a
LOOK: it always asks for the item's height in a photo, so that this one alone counts for none.
"""

from __future__ import annotations

import argparse
import dataclasses
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.bench.found import Found, outline_of, save_check_picture
from tests.bench.real_changed import (
    Change,
    Scan,
    as_it_is,
    brighter_curve,
    darker_curve,
    grainy,
    halved,
    in_grey,
    jpeg_30,
    mirrored,
    moved,
    pale,
    tinted,
    turned_90,
    with_codes,
)  # fmt: skip
from tests.bench.real_forms import cast_blue, cast_green, cast_warm, clipped, sharpened, vignetted, webp_40
from tests.bench.real_pictures import Known, data_folder

WITHIN = 0.1  # share by which the area of a thing may differ from that on the photo as it is: plants of 4 to 10 mm
ALWAYS = "item-height-missing"
LEAST_MM2 = 12.0  # what the script counts, times the square of what is dust


@dataclass(frozen=True)
class Photo:
    """A photo, its square and what lies beside it, px of the picture upright."""

    name: str
    square_mm: float
    square_px: tuple[float, float]
    places_px: tuple[tuple[float, float], ...]
    dust_mm: float = 1.0
    are_all: bool = True  # nothing else in it is an item
    is_refused: bool = False


PLATES = "massivejords/Agar-plate-leaf-area, MIT"
PHOTOS = (
    Photo("p5.jpg", 10, (1065, 1588), ((1757, 1074), (2682, 1077))),
    Photo("p1.jpg", 10, (612, 1641), ((2004, 969), (2874, 985)), dust_mm=0.5),
    # dashabezik/Morley, Apache: four of its shoots; what of the thin roots is an item by itself is not known
    Photo("IMG_2176.JPG", 79, (2680, 500), ((734, 1485), (976, 1501), (1838, 1498), (2102, 1483)), are_all=False),
    Photo("20220621_161331.jpg", 79, (436, 836), (), is_refused=True),
)


def turned_180(scan: Scan) -> Scan:
    return turned_90(turned_90(scan))


def turned_270(scan: Scan) -> Scan:
    return turned_90(turned_180(scan))


def cropped(scan: Scan) -> Scan:
    """A little off one side, as people straighten photos: the lens's middle is no longer the picture's."""
    cut = round(0.03 * scan.pixels.shape[1])
    return moved(scan, scan.pixels[:, cut:-cut], [[1, 0, -cut], [0, 1, 0]])


def shaken(scan: Scan) -> Scan:
    import cv2

    return with_codes(scan, cv2.GaussianBlur(scan.pixels, (0, 0), 1.2))


def _jpeg(quality: int) -> Change:
    def saved(scan: Scan) -> Scan:
        return dataclasses.replace(scan, saved={**scan.saved, "quality": quality})

    saved.__name__ = f"jpeg_{quality}"
    return saved


def jpeg_of(change: Change) -> Change:
    """The change, what is said of the file kept: its EXIF, and JPEG."""

    def made(scan: Scan) -> Scan:
        other = change(scan)
        return dataclasses.replace(other, saved={**scan.saved, **other.saved})

    made.__name__ = change.__name__
    return made


CHANGES: tuple[Change, ...] = (
    as_it_is, turned_90, turned_180, turned_270, mirrored, cropped, halved, *map(_jpeg, (60, 15)), jpeg_30, webp_40,
    brighter_curve, darker_curve, tinted, cast_blue, cast_green, cast_warm, vignetted, grainy, shaken, sharpened,
    clipped, pale, in_grey,
)  # fmt: skip


@dataclass(frozen=True)
class Row:
    """What came of one changed photo."""

    found: Found
    lost: int
    phantom: int
    joined: int
    worst: float | None  # share by which an area is off

    @property
    def right(self) -> bool:
        return not (self.lost or self.phantom or self.joined) and (self.worst is None or self.worst <= WITHIN)

    @property
    def said(self) -> bool:
        return bool(self.found.error or set(self.found.looks) - {ALWAYS})


def scan_of(photo: Photo) -> Scan | None:
    """The photo upright, with its EXIF to be written again; None where it is not there."""
    from PIL import Image, ImageOps

    path = data_folder() / photo.name
    if not path.exists():
        return None
    image = ImageOps.exif_transpose(Image.open(path))
    known = Known(photo.name, "data", PLATES, 300, (photo.square_px, *photo.places_px))
    saved = {"exif": image.getexif().tobytes(), "quality": 93}
    return Scan(np.asarray(image.convert("RGB")), known, ".jpg", saved)


def look_at(photo: Photo, scan: Scan, areas: tuple[float, ...], keep: Path | None, name: str) -> tuple[Row, Row]:
    """Measure a changed photo both ways."""
    from PIL import Image

    folder = Path(tempfile.mkdtemp()) if keep is None else keep
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"{name}{scan.suffix}"
    Image.fromarray(scan.pixels).convert(scan.mode).save(path, **scan.saved)
    found = outline_of(path, square_mm=photo.square_mm, dust_mm=photo.dust_mm)
    if keep is not None and found.outlines is not None:
        save_check_picture(found, path)
    script = by_script(photo, np.asarray(Image.open(path).convert("RGB")), scan.known)
    if keep is None:
        path.unlink()
        folder.rmdir()
    import shapely

    polygons = [shapely.make_valid(item.polygon_px) for item in found.items]
    held = [[p.contains(shapely.Point(place)) for p in polygons] for place in scan.known.places_px[1:]]
    ours = _row(photo, found, held, [item.area_mm2 for item in found.items], areas)
    return ours, _row(photo, Found(), *script, areas)


def _row(photo: Photo, found: Found, held, areas_mm2, areas: tuple[float, ...]) -> Row:
    held = np.array(held, bool).reshape(len(photo.places_px), len(areas_mm2))
    off = [abs(areas_mm2[row.argmax()] / area - 1) for row, area in zip(held, areas, strict=False) if row.any()]
    wrong = photo.is_refused and not found.error
    return Row(
        found,
        lost=int((~held.any(1)).sum()),
        phantom=photo.are_all * int((~held.any(0)).sum()) + wrong,
        joined=int((held.sum(0) > 1).sum()),
        worst=max(off, default=None),
    )


def by_script(photo: Photo, pixels, known: Known):
    """Whether each place lies in each piece, and the pieces' areas in mm2, by the side of the square's piece."""
    import cv2

    grey = cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY)
    saturation = cv2.cvtColor(pixels, cv2.COLOR_RGB2HSV)[..., 1]
    shown = grey if np.median(grey) < 80 else saturation
    _, mask = cv2.threshold(shown, 0, 255, cv2.THRESH_BINARY + cv2.THRESH_OTSU)
    _, labels, stats, _ = cv2.connectedComponentsWithStats(mask)
    (x, y), places = known.places_px[0], known.places_px[1:]
    square = labels[int(y), int(x)]
    mm2 = photo.square_mm**2 / stats[square, 4]
    kept = [k for k in range(1, len(stats)) if k != square and stats[k, 4] * mm2 >= LEAST_MM2 * photo.dust_mm**2]
    held = [[labels[int(y), int(x)] == k for k in kept] for x, y in places]
    return held, [float(stats[k, 4] * mm2) for k in kept]


def line_of(name: str, ours: Row, script: Row) -> str:
    text = f"{name:34}"
    for row in (ours, script):
        off = "" if row.worst is None else f"{100 * row.worst:.1f}"
        text += f"{row.lost:>5}{row.phantom:>5}{row.joined:>5}{off:>7} {'yes' if row.right else 'no':>4} |"
    said = " ".join(sorted(set(ours.found.looks) - {ALWAYS}))
    return f"{text}{ours.found.seconds:6.1f} s {ours.found.error[:120] or said}"


def main() -> int:
    """Measure photos as the command line asks."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--only", nargs="+", help="these photos")
    parser.add_argument("--change", nargs="+", help="these changes")
    parser.add_argument("--keep", type=Path, help="folder for pictures and check pictures")
    options = parser.parse_args()
    silent, counts = [], np.zeros(3, int)
    print(f"{'photo and change':34}  lost phantom joined area % right | the same of the script")
    for photo in PHOTOS:
        if photo.name not in (options.only or photo.name) or (scan := scan_of(photo)) is None:
            continue
        first, _ = look_at(photo, scan, (), None, "first")
        areas = _areas(first, scan.known)
        for change in CHANGES:
            if options.change and change.__name__ not in options.change:
                continue
            name = f"{photo.name.split('.')[0]}-{change.__name__}"
            ours, script = look_at(photo, jpeg_of(change)(scan), areas, options.keep, name)
            print(line_of(name, ours, script), flush=True)
            counts += 1, ours.right, script.right
            if ours.found.crashed or not (ours.right or ours.said):
                silent.append(name)
    print(f"{counts[0]} photos: digitize right on {counts[1]}, the script on {counts[2]}")
    print(f"wrong without a LOOK: {', '.join(silent) or 'none'}")
    return 1 if silent else 0


def _areas(row: Row, known: Known) -> tuple[float, ...]:
    """Areas, mm2, of the things as they were found; none where one is lost."""
    import shapely

    found = [
        next((i.area_mm2 for i in row.found.items if i.polygon_px.buffer(0).contains(shapely.Point(place))), None)
        for place in known.places_px[1:]
    ]
    return () if None in found else tuple(found)


if __name__ == "__main__":
    raise SystemExit(main())
