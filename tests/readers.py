"""What libraries of others see in our files: curves by layer, as dense points in mm on the sheet, y up.

The truth beside them is read from the outline document by the few lines here, which share no code with the package.
"""

from __future__ import annotations

import html
import io
import json
import math
import re
import subprocess
from dataclasses import dataclass, field
from pathlib import Path
from xml.etree import ElementTree

import cairosvg
import ezdxf
import numpy as np
import pymupdf
import pyogrio
import resvg_py
import shapely
from PIL import Image

from tests.test_write_pdf import drawn as pdfium_drawn

POINT_MM = 25.4 / 72  # ISO 32000: user space unit, 1/72 inch
SAG_MM = 1e-4  # of the chords that stand for an arc here
TURN_DEG = 27
CAIRO_SCALE = 10  # its coordinates are whole 1/256 of a unit
COLOURS = {
    "OUTLINE": "#3357f0",
    "POCKET": "#a83400",
    "WALL": "#b777ec",
    "PIN": "#cc8400",
    "PRINT": "#ad1e9f",
    "CHECK": "#05a45a",
}
SVG = "{http://www.w3.org/2000/svg}"


@dataclass
class Seen:
    """What is drawn on each layer: rings (N, 2) without a repeated last point, and open lines."""

    rings: dict[str, list[np.ndarray]] = field(default_factory=dict)
    lines: dict[str, list[np.ndarray]] = field(default_factory=dict)

    def add(self, layer: str, points: np.ndarray, *, closed: bool | None = None) -> None:
        ends_meet = math.dist(points[0], points[-1]) < 2e-4
        closed = ends_meet if closed is None else closed
        if closed and ends_meet:
            points = points[:-1]
        points = np.asarray(points, dtype=float)
        met = [] if closed else np.flatnonzero(np.hypot(*(points[1:-3] - points[-1]).T) < 2e-4) + 1
        if len(met):  # a lead and the path that it runs on into
            self.lines.setdefault(layer, []).append(points[: met[0] + 1])
            points, closed = points[met[0] : -1], True
        (self.rings if closed else self.lines).setdefault(layer, []).append(points)


# --- the document --------------------------------------------------------------------------------------------


def document_curves(document: dict) -> Seen:
    """What the outline document says is drawn."""
    seen = Seen()
    for item in document["items"]:
        at = np.array(item["placement"]["sheet_mm"])
        for curve in (*item["path"]["holes"], item["path"]["exterior"]):
            seen.add("OUTLINE", _points(curve) + at, closed=True)
        pocket = item["pocket"] or {}
        for curve in pocket.get("path", ()):
            seen.add("POCKET", _points(curve) + at, closed=True)
        for lead in pocket.get("leads", ()):
            seen.add("POCKET", _points(lead) + at, closed=False)
        for curve in pocket.get("wall", ()):
            seen.add("WALL", _points(curve) + at, closed=True)
        for pin in pocket.get("pins", ()):
            seen.add("PIN", _points(pin) + at, closed=True)
        for curve in item["print_area"]:
            seen.add("PRINT", _points(curve) + at, closed=True)
    return seen


def _points(curve: dict) -> np.ndarray:
    if curve["type"] == "circle":
        return _arc(np.array(curve["centre"]), curve["radius"], 0.0, math.tau)
    place, found = np.array(curve["start"], dtype=float), [np.array(curve["start"], dtype=float)]
    for segment in curve["segments"]:
        to = np.array(segment["to"], dtype=float)
        if segment["type"] == "arc":
            way = 1 if segment["direction"] == "counter-clockwise" else -1
            found += list(_arc_between(place, to, way * math.radians(segment["sweep_deg"])))
        found.append(to)
        place = to
    return np.array(found)


def _arc_between(start: np.ndarray, end: np.ndarray, sweep: float) -> np.ndarray:
    """Points between two ends; the centre lies chord / 2 / tan(sweep / 2) to the left of the chord's middle."""
    chord = end - start
    centre = (start + end) / 2 + np.array([-chord[1], chord[0]]) / 2 / math.tan(sweep / 2)
    begin = math.atan2(*(start - centre)[::-1])
    return _arc(centre, math.dist(start, centre), begin, sweep)[1:-1]


def _arc(centre: np.ndarray, radius: float, begin: float, sweep: float) -> np.ndarray:
    step = 2 * math.acos(max(1 - SAG_MM / radius, 0.0))
    turn = begin + np.linspace(0, sweep, max(2, math.ceil(abs(sweep) / step) + 1))
    return centre + radius * np.column_stack([np.cos(turn), np.sin(turn)])


# --- DXF -----------------------------------------------------------------------------------------------------


def by_ezdxf(data: bytes) -> Seen:
    """Polylines, circles, lines and arcs, in the file's unit turned into mm."""
    document = ezdxf.read(io.StringIO(data.decode("utf-8" if b"AC1024" in data[:200] else "cp1252")))
    to_mm = 25.4 if document.header.get("$INSUNITS") == 1 else 1.0
    seen, loose = Seen(), {}
    for entity in document.modelspace():
        kind, layer = entity.dxftype(), entity.dxf.layer
        if layer not in COLOURS or layer == "CHECK":
            continue
        if kind in ("LINE", "ARC"):
            loose.setdefault(layer, []).append(to_mm * _run_of(entity))
        elif kind == "CIRCLE":
            seen.add(layer, to_mm * _flat(entity), closed=True)
        elif kind in ("LWPOLYLINE", "POLYLINE"):
            parts = [to_mm * _run_of(part) for part in entity.virtual_entities()]
            seen.add(layer, np.concatenate(_in_line(parts)), closed=entity.is_closed)
    for layer, parts in loose.items():
        for chain in _chains(parts):
            seen.add(layer, chain)
    return seen


def _run_of(entity) -> np.ndarray:
    if entity.dxftype() == "LINE":
        return np.array([(p.x, p.y) for p in (entity.dxf.start, entity.dxf.end)])
    return _flat(entity)


def _flat(entity) -> np.ndarray:
    return np.array([(p.x, p.y) for p in entity.flattening(SAG_MM / 25.4)])


def _in_line(parts: list[np.ndarray]) -> list[np.ndarray]:
    """Turn round what runs the other way: an ARC always runs counter-clockwise."""
    found: list[np.ndarray] = []
    for number, part in enumerate(parts):
        beside = found[-1][-1:] if found else parts[min(1, len(parts) - 1)][[0, -1]]
        off = [min(math.dist(end, one) for one in beside) for end in (part[0], part[-1])]
        ahead = off[0] <= off[1] if found else off[1] <= off[0] or len(parts) == 1
        found.append(part if ahead else part[::-1])
        assert number == 0 or math.dist(found[-1][0], found[-2][-1]) < 2e-4
    return found


def _chains(parts: list[np.ndarray]) -> list[np.ndarray]:
    """Lines and arcs that follow one another in the file, as they were cut from paths; a lead ends where one begins."""
    found: list[list[np.ndarray]] = []
    for part in parts:
        open_chain = found[-1] if found and not _comes_back(found[-1]) else None
        if open_chain is not None and len(open_chain) == 1:
            first = open_chain[0]  # which way it runs is told by what follows
            if not any(math.dist(end, first[-1]) < 2e-4 for end in part[[0, -1]]):
                open_chain[0] = first[::-1]
        fits = [one for one in (part, part[::-1]) if open_chain and math.dist(one[0], open_chain[-1][-1]) < 2e-4]
        if fits:
            open_chain.append(fits[0])
        else:
            found.append([part])
    return [np.concatenate(run) for chain in found for run in _parted(chain)]


def _comes_back(chain: list[np.ndarray]) -> bool:
    """Whether a chain ends at one of its own joints."""
    return len(chain) > 1 and any(math.dist(one[0], chain[-1][-1]) < 2e-4 for one in chain)


def _parted(chain: list[np.ndarray]) -> list[list[np.ndarray]]:
    """A chain's lead and its closed path."""
    at = next((n for n, one in enumerate(chain) if math.dist(one[0], chain[-1][-1]) < 2e-4), 0)
    return [part for part in (chain[:at], chain[at:]) if part]


def by_gdal(path: Path) -> Seen:
    """The lines that GDAL makes of a DXF file: arcs in steps, which are set fine."""
    pyogrio.set_gdal_config_options({"OGR_ARC_STEPSIZE": "0.05", "DXF_ENCODING": "UTF-8"})
    _, _, geometries, (layers, kinds) = pyogrio.raw.read(path, columns=["Layer", "SubClasses"])
    inches = b"$INSUNITS\n 70\n1\n" in path.read_bytes().replace(b"\r", b"")
    seen, loose = Seen(), {}
    for layer, geometry, kind in zip(layers, shapely.from_wkb(geometries), kinds, strict=True):
        if layer not in COLOURS or layer == "CHECK" or geometry.geom_type == "Point":
            continue
        points = shapely.get_coordinates(geometry) * (25.4 if inches else 1.0)
        if kind and kind.endswith(("AcDbLine", "AcDbArc")):
            loose.setdefault(layer, []).append(points)
        else:
            seen.add(layer, points)
    for layer, parts in loose.items():
        for chain in _chains(parts):
            seen.add(layer, chain)
    return seen


# --- SVG -----------------------------------------------------------------------------------------------------


def zero_of(svg: bytes) -> np.ndarray:
    """Where the sheet's zero lies on the page, mm, y down, as the description says."""
    words = ElementTree.fromstring(svg).find(SVG + "desc").text
    return np.array([float(v) for v in re.search(r"x = ([-\d.]+), y = ([-\d.]+) of", words).groups()])


def by_cairo(svg: bytes) -> Seen:
    """CairoSVG's PDF of an SVG file, read by MuPDF."""
    page = by_mupdf(cairosvg.svg2pdf(bytestring=svg, scale=CAIRO_SCALE), scale=CAIRO_SCALE, by_layer=False)
    zero = zero_of(svg)
    height = float(ElementTree.fromstring(svg).get("height").removesuffix("mm"))
    shift = np.array([-zero[0], zero[1] - height])
    for kind in (page.rings, page.lines):
        for layer in kind:
            kind[layer] = [points + shift for points in kind[layer]]
    return page


def resvg_area(svg: bytes, layer: str, *, px_per_mm: int) -> tuple[float, np.ndarray]:
    """Area of what is filled on a layer, mm2, and its centroid on the sheet, by resvg's pixels.

    The drawing is turned: an edge along the rows would lie off by up to an eighth of a pixel, all of it the same way,
    as resvg looks at four lines a row; aslant, that averages out.
    """
    ElementTree.register_namespace("", SVG[1:-1])
    root = ElementTree.fromstring(svg)
    width, height = (float(root.get(side).removesuffix("mm")) for side in ("width", "height"))
    middle, side = np.array([width, height]) / 2, math.ceil(math.hypot(width, height))
    for group in root.findall(SVG + "g"):
        group.set("transform", f"rotate({TURN_DEG} {middle[0]} {middle[1]})")
        if group.get("id") != layer:
            root.remove(group)
    root.set("width", f"{side * px_per_mm}")
    root.set("height", f"{side * px_per_mm}")
    root.set("viewBox", f"{middle[0] - side / 2} {middle[1] - side / 2} {side} {side}")
    png = resvg_py.svg_to_bytes(svg_string=ElementTree.tostring(root, encoding="unicode"), skip_system_fonts=True)
    alpha = np.asarray(Image.open(io.BytesIO(png)))[..., 3] / 255.0
    area, across = float(alpha.sum()), np.arange(alpha.shape[0]) + 0.5
    seen = np.array([alpha.sum(axis=0) @ across, alpha.sum(axis=1) @ across]) / area / px_per_mm - side / 2
    cos, sin = math.cos(math.radians(TURN_DEG)), math.sin(math.radians(TURN_DEG))
    x, y = middle + np.array((cos * seen[0] + sin * seen[1], cos * seen[1] - sin * seen[0]))
    zero = zero_of(svg)
    return area / px_per_mm**2, np.array([x - zero[0], zero[1] - y])


_ASK = """
const asked = JSON.parse(document.getElementById('asked').textContent);
const told = [...document.querySelectorAll('body > svg')].map((drawing, number) => {
  const dot = drawing.createSVGPoint(), found = {};
  for (const [layer, points] of Object.entries(asked[number])) {
    const own = `:scope > g[id="${layer}"]`;
    const shapes = [...drawing.querySelectorAll(`${own} > path, ${own} > circle`)];
    found[layer] = shapes.map(shape => points.map(([x, y]) => {
      dot.x = x; dot.y = y; return shape.isPointInFill(dot) ? 1 : 0; }).join(''));
  }
  return found;
});
document.getElementById('told').textContent = JSON.stringify(told);
"""


def chromium_inside(drawings: list[tuple[bytes, dict[str, np.ndarray]]], folder: Path) -> list[dict[str, list[str]]]:
    """Of each shape of each SVG's layers, which of the points asked (page, mm) Chromium holds to be inside: 0 and 1."""
    points = json.dumps([{layer: places.tolist() for layer, places in asked.items()} for _, asked in drawings])
    page = folder / "page.html"
    shown = [svg.decode() for svg, _ in drawings]
    page.write_text(
        "<!doctype html><meta charset=utf-8><body>"
        + "".join(drawing[drawing.index("<svg") :] for drawing in shown)
        + f'<p id="asked">{points}</p><p id="told"></p><script>{_ASK}</script>',
        encoding="utf-8",
    )
    command = ["chromium", "--headless", "--no-sandbox", "--disable-gpu", f"--user-data-dir={folder / 'profile'}"]
    run = subprocess.run(
        [*command, "--dump-dom", page.as_uri()], capture_output=True, timeout=120, check=True, text=True
    )
    return json.loads(html.unescape(re.search(r'<p id="told">(.*?)</p>', run.stdout, re.S).group(1)))


# --- PDF -----------------------------------------------------------------------------------------------------


def by_mupdf(pdf: bytes, *, scale: float = 1.0, by_layer: bool = True) -> Seen:
    """Stroked paths of a page by MuPDF, page's lower left is zero; layers by their name or their colour."""
    with pymupdf.open(stream=pdf, filetype="pdf") as document:
        page = document[0]
        high = page.rect.height
        seen = Seen()
        for one in page.get_drawings():
            layer = one["layer"] if by_layer else _layer_of([round(255 * part) for part in one["color"] or (0, 0, 0)])
            if layer in COLOURS and layer != "CHECK":
                points = np.array([point for item in one["items"] for point in _mupdf_run(item)])
                points = np.column_stack([points[:, 0], high - points[:, 1]]) * POINT_MM / scale
                if one["closePath"] and math.dist(points[0], points[-1]) > 2e-4:
                    points = np.vstack([points, points[:1]])
                seen.add(layer, points)
    return seen


def _mupdf_run(item) -> list[tuple[float, float]]:
    kind, *places = item
    if kind == "c":
        return [tuple(p) for p in _bezier(np.array([(p.x, p.y) for p in places]))]
    if kind == "l":
        return [(p.x, p.y) for p in places]
    raise AssertionError(kind)


def _bezier(p: np.ndarray, count: int = 400) -> np.ndarray:
    t = np.linspace(0, 1, count)[:, None]
    return (1 - t) ** 3 * p[0] + 3 * t * (1 - t) ** 2 * p[1] + 3 * t**2 * (1 - t) * p[2] + t**3 * p[3]


def _layer_of(rgb) -> str:
    def off(name: str) -> int:
        return max(abs(int(COLOURS[name][k : k + 2], 16) - rgb[n]) for n, k in enumerate((1, 3, 5)))

    best = min(COLOURS, key=off)
    return best if off(best) <= 2 else ""


def by_pdfium(pdf: bytes) -> Seen:
    """Stroked paths of a page by PDFium."""
    seen = Seen()
    for layer, paths in pdfium_drawn(pdf)[1].items():
        if layer in COLOURS and layer != "CHECK":
            for points in paths:
                seen.add(layer, points)
    return seen
