"""The whole recipe against sizes that others have published, and against other people's libraries.

Scans are rendered from the published numbers by the tests' own renderer (tests/truth), at 300 dpi with x and y scales
1 % apart, and measured from the PNG as a user would.
"""

import math
import os
from functools import cache
from pathlib import Path as FilePath

import numpy as np
import pytest

from digitize.reading.picture import read_picture
from digitize.recipe.outline import outline_picture
from digitize.records import Circle
from digitize.settings import Settings
from tests.sweeps import sweep
from tests.truth import zoo
from tests.truth.flatbed import Scene, save_png
from tests.truth.light import linear_light
from tests.truth.shapes import Ring, Shape, circle, rectangle

PX_MM = 25.4 / 300
# Diameters in mm. US Mint, "Coin Specifications" (usmint.gov).
US_COINS = {"cent": 19.05, "nickel": 21.21, "dime": 17.91, "quarter": 24.26, "half": 30.61, "dollar": 26.49}
# Council Regulation (EC) No 975/98, Annex I (EUR-Lex).
EURO_COINS = {"2-euro": 25.75, "1-euro": 23.25, "50-cent": 24.25}
ITEM = (0.12, 0.10, 0.08)


def length_limit_mm(length):
    """The target for a length on a flatbed with a measured card: 30 um and 0.3 um a mm."""
    return (30 + 0.3 * length) / 1000


def scan(folder, items, size_mm, *, square_mm=30.0, square_at, turn_deg=8.0, background=0.85):
    """Render `items` (shape, centre, degrees) beside a square; return the picture as read, and the render."""
    scene = Scene(
        *size_mm, dpi_x=301.5, dpi_y=298.5, skew_deg=0.05, background=background, blur_px=0.8, noise_codes=1.5, seed=3
    )
    scene.add_square(square_mm, square_at, turn_deg)
    for shape, centre, degrees in items:
        scene.add_item(shape, centre, degrees, ITEM)
    rendered = scene.render()
    path = folder / "scan.png"
    save_png(path, rendered, dpi=300)
    return read_picture(path), rendered


def measure(folder, items, size_mm, *, square_mm=30.0, pocket=None, **look):
    picture, _ = scan(folder, items, size_mm, square_mm=square_mm, **look)
    settings = Settings.of({"square_mm": square_mm, **(pocket or {})})
    result = outline_picture(picture, settings).result
    assert len(result.items) == len(items)
    assert not [f for f in result.all_findings if f.attention]
    return result.items


def calipers(ring, degrees):
    """What calipers read across a ring in the given directions (a convex hull's widths)."""
    a = np.radians(np.asarray(degrees, float))
    reach = np.asarray(ring) @ np.stack([np.cos(a), np.sin(a)])
    return np.ptp(reach, axis=0)


# --- published sizes ---------------------------------------------------------------------------------------------


def test_id1_card_has_the_sizes_of_iso_7810(tmp_path):
    # ISO/IEC 7810, ID-1: 85.60 x 53.98 mm, corner radius 2.88 to 3.48 mm, here 3.18.
    (card,) = measure(tmp_path, [(zoo.id1_card(), (97, 38), 17)], (148, 80), square_at=(25, 40))
    widths = calipers(card.exterior_mm, [17, 107])
    assert abs(widths[0] - 85.60) < length_limit_mm(85.60) / 4
    assert abs(widths[1] - 53.98) < length_limit_mm(53.98) / 4
    # 85.60 x 53.98 - (4 - pi) 3.18^2 and 2 (85.60 + 53.98) - (8 - 2 pi) 3.18
    assert card.area_mm2 == pytest.approx(4612.007, abs=0.002 * 273.7)
    assert card.perimeter_mm == pytest.approx(273.701, abs=0.05)
    arcs = radii(card.path)
    assert len(arcs) == 4
    assert all(2.88 < radius < 3.48 for radius in arcs)
    assert np.mean(arcs) == pytest.approx(3.18, abs=0.05)


def radii(path):
    ring = Ring(path.points_mm, path.bulges)
    return [piece.radius for piece in ring.pieces if hasattr(piece, "bulge")]


@pytest.mark.parametrize("coins", [US_COINS, EURO_COINS], ids=["us-mint", "eur-lex"])
def test_coins_have_their_official_diameters(tmp_path, coins):
    places = [((60 + 38 * (k % 3), 22 + 38 * (k // 3))) for k in range(len(coins))]
    shapes = [(Shape(circle(d), (), name), at, 0.0) for (name, d), at in zip(coins.items(), places, strict=True)]
    height = 46 + 38 * ((len(coins) - 1) // 3)
    items = measure(tmp_path, shapes, (158, height), square_at=(22, height / 2))
    found = sorted(2 * item.path.radius_mm for item in items if isinstance(item.path, Circle))
    assert found == pytest.approx(sorted(coins.values()), abs=0.02 * PX_MM)  # the target is 0.01 px of the radius
    for item in items:
        assert item.width_mm == pytest.approx(item.height_mm, abs=0.06 * PX_MM)


def test_heptagon_has_one_width_but_is_no_disc(tmp_path):
    # A curve of constant width w has perimeter pi w (Barbier's theorem); a Reuleaux polygon of n sides has the area
    # w^2 / 2 (pi - n tan(pi / 2n)). Width of the seven-sided coin: 27.3 mm.
    width, sides = 27.3, 7
    (coin,) = measure(tmp_path, [(zoo.heptagon_coin(), (68, 26), 5)], (92, 52), square_at=(25, 26))
    widths = calipers(coin.exterior_mm, np.arange(0, 180, 1.0))
    # Every width is taken at a corner, which the blur rounds and which is restored.
    assert widths.mean() == pytest.approx(width, abs=0.1 * PX_MM)
    assert np.ptp(widths) < 0.25 * PX_MM
    assert coin.perimeter_mm == pytest.approx(math.pi * width, rel=5e-4)
    area = width**2 / 2 * (math.pi - sides * math.tan(math.pi / (2 * sides)))
    assert area == pytest.approx(575.3, abs=0.05)
    assert coin.area_mm2 == pytest.approx(area, abs=0.02 * PX_MM * math.pi * width)
    assert not isinstance(coin.path, Circle)
    assert sorted(radii(coin.path)) == pytest.approx([width] * sides, rel=0.02)


def test_a5_sheet_has_the_sides_of_iso_216(tmp_path):
    # ISO 216: A5 is 148 x 210 mm.
    (sheet,) = measure(tmp_path, [(zoo.a_sheet(5), (122, 112), 1)], (202, 224), square_at=(24, 40))
    across, along = calipers(sheet.exterior_mm, [1, 91])
    assert abs(across - 148) < length_limit_mm(148) / 2
    assert abs(along - 210) < length_limit_mm(210) / 2
    assert len(sheet.path.points_mm) == 4
    assert not sheet.path.bulges.any()


# --- other libraries ---------------------------------------------------------------------------------------------


def test_edge_lies_on_the_level_line_of_scikit_image(tmp_path):
    # skimage.measure.find_contours at the mean of the two lights, in linear light: on a smooth edge without shade
    # the mid level of a symmetric blur is the edge.
    from skimage.measure import find_contours

    picture, rendered = scan(tmp_path, [(zoo.pebble(), (66, 26), 20)], (92, 52), square_at=(24, 26))
    contour = outline_picture(picture, Settings(square_mm=(30, 30))).result.items[0].contours[0]
    light = linear_light(rendered.pixels).mean(axis=2)
    lines = find_contours(light, (0.85 + np.mean(ITEM)) / 2)
    near = min(lines, key=lambda line: np.linalg.norm(line[:, ::-1].mean(0) - contour.points_px.mean(0)))
    apart = distances_to(contour.points_px, near[:, ::-1])
    assert len(apart) > 500
    assert abs(signed_excess(contour.points_px, near[:, ::-1])) < 0.005
    assert np.sqrt((apart**2).mean()) < 0.04  # of which the level line's own noise is the larger part
    assert apart.max() < 0.2


def distances_to(points, line):
    """Distance of each point to a polyline, px."""
    from shapely import LineString
    from shapely import points as as_points

    return np.array(LineString(line).distance(as_points(points)))


def signed_excess(points, line):
    """How much farther out the first ring lies than the second on the whole, px."""
    from shapely import Polygon

    ours, theirs = Polygon(points), Polygon(line)
    return (ours.area - theirs.area) / theirs.length


@sweep(("clearance", "kerf"), [(0.2, 0.18), (0.5, 0.0), (0.0, 0.3)], [(0.2, 0.18), (0.0, 0.3)])
def test_pocket_lies_on_the_buffer_of_shapely(tmp_path, clearance, kerf):
    # shapely.Polygon.buffer, 64 segments a quadrant: its own chord error is below 0.1 um here.
    from shapely import Polygon

    allowances = {"clearance_mm": clearance, "kerf_mm": kerf}
    shapes = [(zoo.tag(), (84, 34), 10)]
    (item,) = measure(tmp_path, shapes, (128, 68), square_at=(24, 34), pocket=allowances)
    buffered = Polygon(item.exterior_mm).buffer(clearance - kerf / 2, quad_segs=64)
    (curve,) = item.pocket.curves
    path = Polygon(Ring(curve.points_mm, curve.bulges).polygon(1e-4, longest=0.05))
    assert path.hausdorff_distance(buffered.segmentize(0.05)) < 0.02 + 0.002  # the tolerance, and the edge's noise
    # Held to a tenth of that on the whole: neither larger nor smaller.
    assert abs(path.area - buffered.area) / buffered.length < 0.002


# --- an open data set --------------------------------------------------------------------------------------------

LEAVES = "A2.jpeg"
# cm2, as measured by its author on the same pixels: the data of the R package LeafArea (mattocci27/LeafArea).
LEAF_PLACES_PX = ((109, 454), (297, 454), (511, 454), (720, 502))
LEAF_AREAS_CM2 = (41.427, 43.328, 44.875, 47.558)


@cache
def data_folder():
    """Return the open data folder: $DIGITIZE_DATA, or shared/data beside the clone."""
    given = os.environ.get("DIGITIZE_DATA")
    return FilePath(given) if given else FilePath(__file__).resolve().parents[2] / "shared" / "data"


@pytest.mark.open_data(str(data_folder() / LEAVES))
def test_leaves_have_their_published_areas():
    picture, items = _leaves()
    areas = np.array(sorted(item.area_mm2 / 100 for item in items))
    assert areas == pytest.approx(np.array(LEAF_AREAS_CM2), rel=0.015)
    # The published areas are pixels below a threshold on the file's codes, which this repeats; it takes a dark leaf
    # by some half a blur too small all round. The same count at the mid level in linear light takes the darker part
    # of the leaves' shadows for leaf. The truth lies between the two.
    codes, light = _threshold_areas(picture.pixels)
    assert codes == pytest.approx(np.array(LEAF_AREAS_CM2), rel=0.004)
    assert (areas > codes).all()
    assert (areas < light).all()


@pytest.mark.open_data(str(data_folder() / LEAVES))
def test_the_wide_shadow_beside_a_lifted_leaf_is_not_leaf():
    # The first leaf lies clear of the glass at its upper right: the shadow there is 2 mm wide and takes up to 60 % of
    # the light. The leaf's edge is where the light changes most along a row; 1 px is 0.254 mm.
    picture, items = _leaves()
    first = min(items, key=lambda item: np.hypot(*(item.contours[0].points_px.mean(axis=0) - LEAF_PLACES_PX[0])))
    outline = first.contours[0].points_px
    light = linear_light(picture.pixels.astype(float)).mean(axis=2)
    beyond = []
    for row in range(200, 300):
        steepest = 75.5 + np.diff(light[row, 75:165]).argmax()
        places = outline[(np.abs(outline[:, 1] - row) < 0.7) & (outline[:, 0] > 75), 0]
        beyond.append((places - steepest)[np.abs(places - steepest).argmin()])
    assert (
        abs(np.median(beyond)) < 1.8
    )  # along the row, across the edge 0.7 of it; 4.1 while the shadow counted as leaf
    assert np.quantile(np.abs(beyond), 0.9) < 2.6


@cache
def _leaves():
    """The picture and the outlines of its leaves; lines within two pixels."""
    picture = read_picture(data_folder() / LEAVES)
    items = outline_picture(picture, Settings(dpi=(100, 100), tolerance_mm=0.5)).result.items
    assert len(items) == len(LEAF_PLACES_PX)
    return picture, items


def _threshold_areas(pixels):
    """Areas of the four leaves, cm2, by counting pixels below Otsu's threshold on codes, and below the mid light."""
    from skimage.filters import threshold_otsu
    from skimage.measure import label, regionprops

    inner = pixels[20:-5, 12:-5].astype(float)  # without the scanner's frame
    codes = inner @ (0.299, 0.587, 0.114)  # Rec. 601
    split = threshold_otsu(codes)
    light = linear_light(codes)
    middle = (np.median(light[codes < split]) + np.median(light[codes > split])) / 2

    def areas(dark):
        pixel_cm2 = 0.0254**2
        return np.array(sorted(r.area * pixel_cm2 for r in regionprops(label(dark)) if r.area > 5000))

    return areas(codes < split), areas(light < middle)


def test_the_ruler_of_these_tests_is_true():
    square = rectangle(10, 20).polygon(1e-6)
    assert calipers(square, [0, 90]) == pytest.approx([10, 20])
    assert distances_to([(0.0, 1.0)], [(-1, 0), (1, 0)]) == pytest.approx([1.0])
    assert signed_excess([(0, 0), (4, 0), (4, 4), (0, 4)], [(1, 1), (3, 1), (3, 3), (1, 3)]) == pytest.approx(12 / 8)
