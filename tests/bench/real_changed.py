"""Real scans changed as scans differ in the world: turned, cropped, grey, pressed small, tinted, on a half-open lid.

    python -m tests.bench.real_changed                       # all changes of the scans that are there
    python -m tests.bench.real_changed --only A2.jpeg --change turned_7 grey --keep FOLDER

Each change says where a place of the scan lies afterwards, so that what is known of the scan is known of the changed
one; areas are compared with those of the unchanged scan as digitize measures it. Beside the plain Otsu script.
Exit code 1 where the script finds the right things and digitize does not, or digitize is wrong without a LOOK.
"""

from __future__ import annotations

import argparse
import dataclasses
import sys
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.bench.found import outline_of, save_check_picture
from tests.bench.otsu import otsu_pieces
from tests.bench.real_pictures import PICTURES, Known
from tests.bench.real_verdict import Beside, count_ours, script_count

SCANS = ("citrus_1.jpg", "A1-01.jpeg", "A1-02.jpeg", "A2.jpeg")
MOST_PX = 1800  # long side that a scan is brought to first: the changes are of many kinds, and pixels cost time
HOLE_MM2 = 3.0  # what the script finds within a thing and is larger shows the lid
WITHIN = 0.03  # share by which areas may change: another curve or compression moves an edge by parts of a pixel


@dataclass(frozen=True)
class Scan:
    """A scan, and what is known of it."""

    pixels: np.ndarray  # (H, W, 3) uint8
    known: Known  # places in these pixels
    suffix: str = ".png"
    saved: dict[str, object] = dataclasses.field(default_factory=dict)  # how Pillow is to write it
    mode: str = "RGB"


Change = Callable[[Scan], Scan]


# --- what is done to a scan --------------------------------------------------------------------------------------


def moved(scan: Scan, pixels, matrix, *, dpi: float | None = None, cut: str = "") -> Scan:
    """The scan with other pixels; `matrix` (2, 3) takes old px to new."""
    matrix = np.asarray(matrix, float)

    def moved(places):
        return tuple(tuple((matrix[:, :2] @ place + matrix[:, 2]).tolist()) for place in places)

    known = dataclasses.replace(
        scan.known,
        places_px=moved(scan.known.places_px),
        either_px=moved(scan.known.either_px),
        dpi=dpi or scan.known.dpi,
        must_be_said=cut or scan.known.must_be_said,
    )
    return dataclasses.replace(scan, pixels=np.ascontiguousarray(pixels), known=known)


def with_codes(scan: Scan, codes) -> Scan:
    return dataclasses.replace(scan, pixels=np.clip(np.rint(codes), 0, 255).astype(np.uint8))


def as_it_is(scan: Scan) -> Scan:
    return scan


def mirrored(scan: Scan) -> Scan:
    return moved(scan, scan.pixels[:, ::-1], [[-1, 0, scan.pixels.shape[1] - 1], [0, 1, 0]])


def turned_90(scan: Scan) -> Scan:
    return moved(scan, np.rot90(scan.pixels, -1), [[0, -1, scan.pixels.shape[0] - 1], [1, 0, 0]])


def _turned(scan: Scan, degrees: float, ground: int) -> Scan:
    """Turned about its middle on a larger picture of one code, as scanning programs straighten a page."""
    import cv2

    h, w = scan.pixels.shape[:2]
    side = int(np.hypot(h, w)) + 4
    matrix = cv2.getRotationMatrix2D(((w - 1) / 2, (h - 1) / 2), degrees, 1.0)
    angle = np.radians(degrees)
    width = int(w * abs(np.cos(angle)) + h * abs(np.sin(angle))) + 4
    height = int(min(side, h * abs(np.cos(angle)) + w * abs(np.sin(angle)) + 4))
    matrix[:, 2] += ((width - w) / 2, (height - h) / 2)
    pixels = cv2.warpAffine(
        scan.pixels, matrix, (width, height), flags=cv2.INTER_CUBIC, borderValue=(ground, ground, ground)
    )
    return moved(scan, pixels, matrix)


def turned_7_on_white(scan: Scan) -> Scan:
    return _turned(scan, 7.0, 255)


def turned_3_on_white(scan: Scan) -> Scan:
    return _turned(scan, -3.0, 255)


def turned_3_on_black(scan: Scan) -> Scan:
    return _turned(scan, 3.0, 0)


def halved(scan: Scan) -> Scan:
    import cv2

    h, w = scan.pixels.shape[:2]
    pixels = cv2.resize(scan.pixels, (w // 2, h // 2), interpolation=cv2.INTER_AREA)
    return moved(scan, pixels, [[0.5, 0, -0.25], [0, 0.5, -0.25]], dpi=scan.known.dpi / 2)


def _boxes(scan: Scan):
    """Box (x0, y0, x1, y1) round each thing that the script finds at a known place."""
    labels, _ = otsu_pieces(scan.pixels, scan.known.dpi)
    held = [labels == labels[int(y), int(x)] for x, y in scan.known.places_px]
    return [(xs.min(), ys.min(), xs.max() + 1, ys.max() + 1) for ys, xs in map(np.nonzero, held)]


def _cropped(scan: Scan, room_px: int) -> Scan:
    x0, y0, x1, y1 = (f([box[k] for box in _boxes(scan)]) for k, f in enumerate((np.min, np.min, np.max, np.max)))
    left, top = max(0, x0 - room_px), max(0, y0 - room_px)
    pixels = scan.pixels[top : y1 + room_px, left : x1 + room_px]
    cut = "things are cut by the border" if room_px <= 0 else ""
    return moved(scan, pixels, [[1, 0, -left], [0, 1, -top]], cut=cut)


def cropped_close(scan: Scan) -> Scan:
    return _cropped(scan, 14)


def cropped_into(scan: Scan) -> Scan:
    """The outermost things are cut by the rim: nothing may be said of them but that."""
    return _cropped(scan, -6)


def in_grey(scan: Scan) -> Scan:
    return dataclasses.replace(scan, mode="L")


def as_cmyk(scan: Scan) -> Scan:
    return dataclasses.replace(scan, mode="CMYK", suffix=".jpg", saved={"quality": 90})


def jpeg_30(scan: Scan) -> Scan:
    return dataclasses.replace(scan, suffix=".jpg", saved={"quality": 30})


def darker_curve(scan: Scan) -> Scan:
    return with_codes(scan, 255 * (scan.pixels / 255.0) ** 1.8)


def brighter_curve(scan: Scan) -> Scan:
    return with_codes(scan, 255 * (scan.pixels / 255.0) ** 0.55)


def pale(scan: Scan) -> Scan:
    return with_codes(scan, 130 + 0.45 * scan.pixels)


def tinted(scan: Scan) -> Scan:
    return with_codes(scan, scan.pixels * (1.0, 0.92, 0.74))


def grainy(scan: Scan) -> Scan:
    return with_codes(scan, scan.pixels + np.random.default_rng(7).normal(0, 8, scan.pixels.shape))


def _ground(scan: Scan):
    """Share (H, W, 1) of what is lid in each pixel, soft along edges: 0 within what the script finds, but for holes."""
    import cv2

    labels, _ = otsu_pieces(scan.pixels, scan.known.dpi)
    held = np.isin(labels, [labels[int(y), int(x)] for x, y in scan.known.places_px]).astype(np.uint8)
    contours, levels = cv2.findContours(held, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
    for contour, (_, _, _, outer) in zip(contours, levels[0], strict=True):
        if outer >= 0 and cv2.contourArea(contour) * (25.4 / scan.known.dpi) ** 2 < HOLE_MM2:
            cv2.drawContours(held, [contour], -1, 1, cv2.FILLED)  # a glossy fleck: no lid is seen in it
    wide = cv2.dilate(held, np.ones((3, 3), np.uint8)).astype(np.float32)
    return 1 - cv2.GaussianBlur(wide, (0, 0), 0.8)[..., None]


def lid_half_open(scan: Scan) -> Scan:
    """The lid stands open along one side: what is not held by it falls to a third of its light, and is uneven."""
    w = scan.pixels.shape[1]
    light = (scan.pixels / 255.0) ** 2.2
    fall = np.interp(np.arange(w) / w, (0, 0.35, 1), (1.0, 0.85, 0.3))[None, :, None]
    ground = _ground(scan)
    return with_codes(scan, 255 * (light * (1 - ground + ground * fall)) ** (1 / 2.2))


def lid_open(scan: Scan) -> Scan:
    """No lid: a nearly black ground, on which a dark leaf is the lighter thing."""
    ground = _ground(scan)
    dark = 6 + np.random.default_rng(3).normal(0, 2, scan.pixels.shape)
    return with_codes(scan, scan.pixels * (1 - ground) + dark * ground)


def _in_dark(scan: Scan, room_px: int, soft_px: float) -> Scan:
    """With a dark, noisy ground of some width on all sides."""
    import cv2

    h, w = scan.pixels.shape[:2]
    shown = np.pad(np.ones((h, w), np.float32), room_px)
    shown = cv2.GaussianBlur(shown, (0, 0), soft_px)[..., None]
    lid = np.pad(scan.pixels, ((room_px, room_px), (room_px, room_px), (0, 0)), mode="edge")
    dark = np.random.default_rng(5).normal(34, 3, lid.shape)
    laid = moved(scan, lid, [[1, 0, room_px], [0, 1, room_px]])
    return with_codes(laid, lid * shown + dark * (1 - shown))


def framed(scan: Scan) -> Scan:
    """The lid is smaller than the glass: a dark frame shows all round it."""
    return _in_dark(scan, round(0.02 * min(scan.pixels.shape[:2])), 1.2)


def on_a_sheet(scan: Scan) -> Scan:
    """The things lie on a sheet, on a dark ground, a little aslant."""
    there = _in_dark(scan, round(0.09 * min(scan.pixels.shape[:2])), 0.8)
    turned = _turned(there, 2.0, 34)
    noise = np.random.default_rng(6).normal(0, 3, turned.pixels.shape)
    return with_codes(turned, np.where(np.abs(turned.pixels.astype(int) - 34) < 1, 34 + noise, turned.pixels))


def two_up(scan: Scan) -> Scan:
    """The scan beside itself turned by half a turn."""
    h, w = scan.pixels.shape[:2]
    pixels = np.concatenate([scan.pixels, scan.pixels[::-1, ::-1]], axis=1)
    more = tuple((2 * w - 1 - x, h - 1 - y) for x, y in scan.known.places_px)
    known = dataclasses.replace(scan.known, places_px=scan.known.places_px + more, areas_cm2=scan.known.areas_cm2 * 2)
    return dataclasses.replace(scan, pixels=np.ascontiguousarray(pixels), known=known)


CHANGES: tuple[Change, ...] = (
    as_it_is, mirrored, turned_90, turned_3_on_white, turned_7_on_white, turned_3_on_black, halved, cropped_close,
    cropped_into, in_grey, as_cmyk, jpeg_30, darker_curve, brighter_curve, pale, tinted, grainy, lid_half_open,
    lid_open, two_up, framed, on_a_sheet,
)  # fmt: skip


# --- what comes of it --------------------------------------------------------------------------------------------


def scan_of(known: Known) -> Scan | None:
    """The scan, not larger than need be; None where it is not there."""
    pixels = known.pixels()
    if pixels is None:
        return None
    scan = Scan(pixels, known)
    while max(scan.pixels.shape) > MOST_PX:
        scan = halved(scan)
    return scan


def with_own_areas(scan: Scan) -> Scan:
    """The scan, its areas as digitize measures them."""
    with tempfile.TemporaryDirectory() as folder:
        found = outline_of(_written(scan, Path(folder)), dpi=scan.known.dpi)
    import shapely

    areas = [
        next((i.area_mm2 / 100 for i in found.items if i.polygon_px.buffer(0).contains(shapely.Point(place))), None)
        for place in scan.known.places_px
    ]
    if None in areas:
        return scan
    return dataclasses.replace(scan, known=dataclasses.replace(scan.known, areas_cm2=tuple(areas), close=WITHIN))


def look_at(scan: Scan, keep: Path | None, name: str) -> Beside:
    """Measure a changed scan both ways."""
    with tempfile.TemporaryDirectory() as folder:
        path = _written(scan, Path(folder))
        found = outline_of(path, dpi=scan.known.dpi)
        pixels = _read(path)
        if keep is not None:
            keep.mkdir(parents=True, exist_ok=True)
            (keep / f"{name}{scan.suffix}").write_bytes(path.read_bytes())
    if keep is not None and found.outlines is not None:
        save_check_picture(found, keep / f"{name}{scan.suffix}")
    return Beside(scan.known, count_ours(scan.known, found), script_count(scan.known, pixels), found)


def _written(scan: Scan, folder: Path) -> Path:
    from PIL import Image

    path = folder / f"scan{scan.suffix}"
    Image.fromarray(scan.pixels).convert(scan.mode).save(path, **scan.saved)
    return path


def _read(path: Path):
    from PIL import Image

    return np.asarray(Image.open(path).convert("RGB"))


def line_of(name: str, row: Beside) -> str:
    said = "flagged" if row.found.flagged else "quiet"
    ours, script = row.ours, row.script
    text = f"{name:34}{len(row.known.places_px):>3} |"
    for count in (ours, script):
        area = "" if count.area_error is None else f"{100 * count.area_error:.2f}"
        verdict = "yes" if count.right(row.known) else "no"
        text += f"{count.found:>4}{count.lost:>4}{count.phantom:>4}{count.joined:>4}{area:>7} {verdict:>4} |"
    return f"{text} {said} {row.found.error[:90] or ' '.join(sorted(set(row.found.looks)))}"


def main(changes: Sequence[Change] = CHANGES) -> int:
    """Measure scans by these changes, as the command line asks."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--only", nargs="+", help="these scans")
    parser.add_argument("--change", nargs="+", help="these changes")
    parser.add_argument("--keep", type=Path, help="folder for pictures and check pictures")
    options = parser.parse_args()
    bad = []
    print(f"{'scan and change':34}{'':>3} |{'found lost phantom joined area %':>28} | the same of the script | LOOKs")
    for known in PICTURES:
        if known.name not in (options.only or SCANS) or (scan := scan_of(known)) is None:
            continue
        scan = with_own_areas(scan)
        for change in changes:
            if options.change and change.__name__ not in options.change:
                continue
            row = look_at(change(scan), options.keep, name := f"{known.name.split('.')[0]}-{change.__name__}")
            print(line_of(name, row), flush=True)
            if row.beaten or row.unsound or not (row.right or row.found.flagged):
                bad.append(name)
    print(f"beaten by the script, or wrong without a LOOK: {', '.join(bad) or 'none'}")
    return 1 if bad else 0


if __name__ == "__main__":
    raise SystemExit(main())
