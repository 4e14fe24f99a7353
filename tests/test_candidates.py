"""What is item on lids as they are: steps all round, nothing dropped in silence; truth from the renderer of lids."""

import numpy as np
import pytest

from digitize.edge.trace import trace_edge
from digitize.reading.reduced import reduce_picture
from digitize.silhouette.candidates import settle
from digitize.silhouette.find import find_silhouettes
from digitize.silhouette.ways import Ask
from tests.rendered import as_picture, scanned
from tests.truth.flatbed import Scene
from tests.truth.light import linear_light, srgb_codes
from tests.truth.shapes import Shape, circle, rectangle

DPI = 300.0
MM_PX = 25.4 / DPI
ASK = Ask(mm_per_px=MM_PX)
LID = 0.85


def page(dpi=DPI, **look):
    return Scene(70, 50, **{"dpi_x": dpi, "background": LID, "blur_px": 0.8, "noise_codes": 1.5, "seed": 5, **look})


def found_in(picture, dpi=DPI):
    return find_silhouettes(picture, reduce_picture(picture), (), (), Ask(mm_per_px=25.4 / dpi))


def times(picture, share):
    """Picture whose light is multiplied by (H, W) shares."""
    light = linear_light(picture.pixels.astype(float)) * share[..., None]
    return as_picture(np.rint(srgb_codes(np.clip(light, 0, 1))).astype(np.uint8))


def grid(picture):
    """Pixel places x and y, mm from the left and from the top."""
    rows, columns = np.mgrid[: picture.height_px, : picture.width_px]
    return columns * MM_PX, rows * MM_PX


def codes(found):
    return {f.code for f in (*found.findings, *(f for r in found.regions for f in r.findings))}


# --- uneven lids -------------------------------------------------------------------------------------------------


def fallen_off(picture):
    """A lid that loses light stepwise toward the right and toward a corner, and is black in a strip at the left."""
    x, y = grid(picture)
    share = 1 - 0.17 / (1 + np.exp(-(x - 27) / 2.5)) - 0.15 / (1 + np.exp(-(x - 52) / 2.5))
    share -= 0.2 * np.exp(-(((x - 70) / 16) ** 2) - (y / 20) ** 2)
    share[x < 1.5] = 0.02
    return times(picture, share)


@pytest.mark.parametrize("reflectance", [0.08, (0.42, 0.24, 0.11)])
def test_a_lid_that_falls_off_and_has_a_dark_rim_is_no_item_and_hides_none(reflectance):
    made = page()
    items = [made.add_item(Shape(rectangle(16, 22, 4)), (x, 25), 8, reflectance) for x in (16, 38, 60)]
    picture, rendered = scanned(made)
    found = found_in(fallen_off(picture))
    assert len(found.regions) == 3
    for region, item in zip(found.regions, items, strict=True):
        off = item.signed_distance(rendered.to_mm(region.chains[0]))
        assert np.abs(off).max() < 1.7 * MM_PX
    assert "rim" in {one.why for one in found.left_out}


def test_an_item_in_wide_soft_shade_is_cut_from_it_at_its_own_level():
    made = page()
    item = made.add_item(Shape(rectangle(24, 20, 6)), (35, 25), 8, 0.05)
    picture, rendered = scanned(made)
    x, y = grid(picture)
    shade = 1 - 0.55 * np.exp(-(((x - 35) / 16) ** 2) - ((y - 25) / 13) ** 2)
    found = found_in(times(picture, shade))
    assert len(found.regions) == 1
    assert np.abs(item.signed_distance(rendered.to_mm(found.regions[0].chains[0]))).max() < 2.5 * MM_PX


def test_a_stain_is_left_out_aloud_and_a_pale_item_of_its_size_is_not():
    made = page()
    made.add_item(Shape(rectangle(16, 16, 4)), (16, 25), 8, 0.1)
    pale = made.add_item(Shape(rectangle(14, 10, 2)), (52, 36), 8, 0.78)
    picture, rendered = scanned(made)
    x, y = grid(picture)
    blot = np.random.default_rng(3).normal(0, 0.25, picture.pixels.shape[:2])
    stain = 0.12 * np.exp(-0.5 * (((x - 52) / 3) ** 2 + ((y - 38) / 2.5) ** 2)) * (1 + blot)
    found = found_in(times(picture, 1 - stain))
    assert len(found.regions) == 2
    assert np.abs(pale.signed_distance(rendered.to_mm(found.regions[0].chains[0]))).max() < 2 * MM_PX
    assert "left-out" in codes(found)
    assert any(
        abs(one.place_px[0] * MM_PX - 52) < 3 and abs(one.place_px[1] * MM_PX - 38) < 3 for one in found.left_out
    )


# --- nothing is dropped in silence -------------------------------------------------------------------------------


def strewn(seed):
    """A page of items and of things that are none, their places (mm from the left and top) and sizes."""
    rng = np.random.default_rng(seed)
    made = page(gradient=(0.03, -0.02), seed=seed)
    places = [(x, y) for x in (12, 35, 58) for y in (12, 36)]
    rng.shuffle(places)
    things = []
    for k, (x, y) in enumerate(places):
        size = (14, 12, 3.5, 2.5, 12, 1.6)[k]
        shape = rectangle(size, size * 0.8, 0.2 * size) if k < 4 else rectangle(1.3 if k == 4 else 3, size, 0.3)
        made.add_item(Shape(shape), (x, 50 - y), float(rng.uniform(0, 90)), float(rng.uniform(0.05, 0.6)))
        things.append((x, y))
    picture, _ = scanned(made)
    x, y = grid(picture)
    at = rng.uniform(20, 50), rng.uniform(20, 28)
    picture = times(picture, 1 - 0.2 * np.exp(-0.5 * (((x - at[0]) / 1.8) ** 2 + ((y - at[1]) / 1.8) ** 2)))
    return picture, [*things, at]


def accounted(found, place_mm):
    """Whether a place lies in an item's box or in what was left out."""
    x, y = np.array(place_mm) / MM_PX
    boxes = [r.box_px for r in found.regions] + [one.box_px for one in found.left_out if one.why != "rim"]
    return any(x0 - 3 <= x <= x1 + 3 and y0 - 3 <= y <= y1 + 3 for x0, y0, x1, y1 in boxes)


@pytest.mark.parametrize("seed", range(6))
def test_all_that_is_larger_than_dust_is_an_item_or_left_out(seed):
    picture, things = strewn(seed)
    found = found_in(picture)
    assert [place for place in things if not accounted(found, place)] == []
    assert len(found.regions) >= 2


def test_what_is_left_out_is_sorted_by_size_and_lies_where_it_says():
    picture, _ = strewn(1)
    found = found_in(picture)
    areas = [one.area_mm2 for one in found.left_out]
    assert areas == sorted(areas, reverse=True)
    for one in found.left_out:
        x0, y0, x1, y1 = one.box_px
        assert x0 <= one.place_px[0] <= x1
        assert y0 <= one.place_px[1] <= y1
        assert one.area_mm2 <= (x1 - x0) * (y1 - y0) * MM_PX**2 + 1e-9


def test_a_soft_halo_as_wide_as_the_item_in_it_is_let_go():
    """Both patches have one box: they are told apart as what they are, not by their values."""
    y, x = np.mgrid[-60:61, -60:61].astype(np.float32)
    departure = np.clip(12.0 - 0.22 * np.hypot(x, y), 0.0, None)  # a stain, soft all round
    departure[((np.abs(x) < 5) | (np.abs(y) < 5)) & (np.maximum(np.abs(x), np.abs(y)) < 51)] = 30.0  # a cross on it
    settled = settle(departure, np.ones(x.shape, bool), pixel_mm=0.2, dust_mm=1.0, border_is_rim=True)
    assert settled.differs[60, 12:109].all()
    assert not settled.differs[85, 85]


# --- thin rings, rims, dark holes --------------------------------------------------------------------------------


@pytest.mark.parametrize("diameter", [18, 34])
def test_a_ring_1_2_mm_wide_is_an_item(diameter):
    made = page()
    ring = made.add_item(Shape(circle(diameter), (circle(diameter - 2.4),)), (35, 25), 0, 0.3)
    picture, rendered = scanned(made)
    (region,) = found_in(picture).regions
    assert len(region.chains) == 2
    assert np.abs(ring.signed_distance(rendered.to_mm(region.chains[0]))).max() < 1.5 * MM_PX


@pytest.mark.parametrize("light", [0.5, 0.6, 0.7, 0.74])
def test_the_outer_edge_of_a_paler_rim_is_the_items(light):
    made = page(600, background=0.8)
    item = made.add_item(Shape(rectangle(24, 20, 3)), (35, 25), 15, light)
    made.add_item(Shape(rectangle(23, 19, 2.5)), (35, 25), 15, 0.15)
    picture, rendered = scanned(made)
    (region,) = found_in(picture, 600).regions
    traced = trace_edge(picture, region.mask, region.mask_origin, region.chains[0], is_hole=False)
    off_um = 1000 * item.signed_distance(rendered.to_mm(traced.contour.points_px))
    assert np.quantile(np.abs(off_um), 0.95) < 10


@pytest.mark.parametrize("light", [0.6, 0.7])
def test_a_narrow_rim_is_seen(light):
    made = page(600, background=0.8)
    made.add_item(Shape(rectangle(24, 20, 3)), (35, 25), 15, light)
    made.add_item(Shape(rectangle(23.6, 19.6, 2.8)), (35, 25), 15, 0.15)
    (region,) = found_in(scanned(made)[0], 600).regions
    assert region.rim.width_px == pytest.approx(0.2 / 25.4 * 600, abs=1.5)


def test_an_item_without_a_rim_has_none():
    made = page(600, background=0.8)
    made.add_item(Shape(rectangle(24, 20, 3)), (35, 25), 15, 0.15, shadow=0.15, shadow_mm=0.6)
    (region,) = found_in(scanned(made)[0], 600).regions
    assert region.rim is None


@pytest.mark.parametrize("floor", [0.7, 1.3])
def test_a_round_patch_about_as_dark_as_the_item_is_said(floor):
    made = page()
    made.add_item(Shape(rectangle(30, 24, 3)), (35, 25), 15, 0.063)
    made.add_item(Shape(circle(3)), (38, 28), 0, 0.063 * floor)
    (region,) = found_in(scanned(made)[0]).regions
    (finding,) = [f for f in region.findings if f.code == "perhaps-hole"]
    assert finding.value == pytest.approx(3, abs=0.25)
    assert np.array(finding.place_px) * MM_PX == pytest.approx((38, 22), abs=0.2)


@pytest.mark.parametrize(("floor", "said"), [((0.08, 0.08, 0.08), True), ((0.05, 0.12, 0.06), False)])
def test_a_round_patch_of_the_lids_own_colour_in_a_coloured_item_is_said(floor, said):
    made = page()
    made.add_item(Shape(rectangle(30, 24, 3)), (35, 25), 15, (0.28, 0.12, 0.09))
    made.add_item(Shape(circle(4)), (38, 28), 0, floor)
    (region,) = found_in(scanned(made)[0]).regions
    assert ("perhaps-hole" in [f.code for f in region.findings]) == said


@pytest.mark.parametrize(("floor", "said"), [(0.041, True), (0.09, False)])
def test_on_a_dark_ground_a_round_patch_nearly_as_dark_is_said_whatever_the_items_light(floor, said):
    made = page(background=0.023)
    made.add_item(Shape(rectangle(30, 24, 3)), (35, 25), 15, 0.42)
    made.add_item(Shape(circle(3.5)), (38, 28), 0, floor)
    (region,) = found_in(scanned(made)[0]).regions
    assert ("perhaps-hole" in [f.code for f in region.findings]) == said


@pytest.mark.parametrize("print_", [Shape(rectangle(12, 3, 0.5)), Shape(rectangle(5, 5)), None])
def test_other_print_is_not_taken_for_a_hole(print_):
    made = page()
    made.add_item(Shape(rectangle(30, 24, 3)), (35, 25), 15, 0.3)
    if print_ is not None:
        made.add_item(print_, (38, 28), 15, 0.2)
    (region,) = found_in(scanned(made)[0]).regions
    assert region.findings == ()


@pytest.mark.parametrize(("shape", "across"), [(Shape(circle(5)), 5), (Shape(rectangle(9, 2)), 9.2)])
def test_a_pale_patch_darker_than_the_lid_is_cut_as_a_hole_and_said_to_be_perhaps_print(shape, across):
    made = page(background=0.8)
    made.add_item(Shape(rectangle(30, 24, 3), (circle(4, (-10, 7)),)), (35, 25), 15, 0.06)
    made.add_item(shape, (38, 23), 15, 0.56)
    (region,) = found_in(scanned(made)[0]).regions
    (finding,) = [f for f in region.findings if f.code == "perhaps-print"]
    assert finding.attention
    assert finding.value == pytest.approx(across, abs=0.3)
    assert np.array(finding.place_px) * MM_PX == pytest.approx((38, 27), abs=0.4)
    assert "30 % darker" in finding.message


@pytest.mark.parametrize("shade", [0.0, 0.15])
def test_the_lid_in_a_hole_is_not_said_to_be_print(shade):
    made = page(background=0.8)
    made.add_item(Shape(rectangle(30, 24, 3), (circle(4, (-10, 7)),)), (35, 25), 15, 0.06, shadow=shade, shadow_mm=0.6)
    (region,) = found_in(scanned(made)[0]).regions
    assert len(region.chains) == 2
    assert "perhaps-print" not in [f.code for f in region.findings]


def test_settling_keeps_a_sharp_patch_and_drops_a_slope():
    departure = np.zeros((120, 200), np.float32)
    departure[30:90, 20:80] = 8.0
    departure[20:100, 110:190] = (
        4.0 * np.sin(np.linspace(0, np.pi, 80))[None, :] * np.sin(np.linspace(0, np.pi, 80))[:, None]
    )
    settled = settle(departure, np.ones(departure.shape, bool), pixel_mm=0.2, dust_mm=1.0, border_is_rim=True)
    assert settled.differs[30:90, 20:80].all()
    assert not settled.differs[:, 100:].any()
    assert {one.reason for one in settled.dropped} <= {"soft", "stain"}


@pytest.mark.parametrize(("inner", "is_own"), [(0.63, True), (0.4, False)])
def test_a_pale_place_amid_an_item_cut_from_its_shade_is_its_own_and_a_hole_is_none(inner, is_own):
    """An item on a wide slope is cut out of it at a level that its own pale place does not reach."""
    y, x = np.mgrid[:300, :300].astype(np.float32)
    departure = 40.0 * np.exp(-(((x - 150) ** 2 + (y - 150) ** 2) / 80.0**2))  # its shade, soft all round
    departure[110:190, 110:190] = 60.0
    departure[140:160, 140:160] = 60.0 * inner
    settled = settle(departure, np.ones(departure.shape, bool), pixel_mm=0.2, dust_mm=1.0, border_is_rim=True)
    assert settled.differs[112:138, 112:188].all()
    assert not settled.differs[20:100].any()  # the shade
    assert settled.differs[142:158, 142:158].any() == is_own


def test_settling_cuts_a_sharp_patch_out_of_the_slope_it_lies_on():
    y, x = np.mgrid[:160, :240].astype(np.float32)
    departure = 5.0 * np.exp(-(((x - 120) / 60) ** 2) - ((y - 80) / 40) ** 2)
    departure[60:100, 90:150] += 12.0
    settled = settle(departure, np.ones(departure.shape, bool), pixel_mm=0.2, dust_mm=1.0, border_is_rim=True)
    assert settled.differs[60:100, 90:150].all()
    assert settled.differs.sum() == 40 * 60
    assert "soft" in {one.reason for one in settled.dropped}
