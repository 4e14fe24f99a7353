"""What coarse and two-level pictures leave unsure: rendered from exact areas, measured, against what is stated."""

from dataclasses import dataclass, replace

import numpy as np
import pytest

from digitize.errors import DigitizeError
from digitize.recipe.outline import outline_picture
from digitize.records import Density
from digitize.reference.picture_limits import has_two_levels, with_limits
from digitize.reference.scale import scale_from_density
from digitize.settings import Settings
from digitize.trust.uncertainty import arm_mm, combine, length_k2_mm, of_length_k2_mm
from tests.rendered import as_picture, codes_of, scanned
from tests.truth.flatbed import Scene
from tests.truth.score import compare
from tests.truth.shapes import Shape, circle, rectangle, ring

WIDTH_MM, HEIGHT_MM = 33.3, 21.7


def scene(dpi, *, item=None, turn=4.0, seed=0, **look):
    made = Scene(84, 44, **{"dpi_x": dpi, "blur_px": 0.6, "noise_codes": 1.0, "background": 0.85, "seed": seed, **look})
    made.add_square(30, (20, 22), 4)
    made.add_item(Shape(rectangle(WIDTH_MM, HEIGHT_MM) if item is None else item), (61, 22), turn, 0.05)
    return made


def thresholded(picture, code):
    return as_picture(np.where(picture.pixels[..., :1] > code, 255, 0).astype(np.uint8))


def outlined(picture):
    return outline_picture(picture, Settings(square_mm=(30, 30))).result


def codes(findings):
    return [f.code for f in findings if f.code in ("picture-coarse", "two-level")]


def at(dpi):
    return scale_from_density(Density(dpi / 25.4, dpi / 25.4, "--dpi"), 10)


# --- coarse ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("dpi", "said"), [(36, True), (72, True), (76, True), (77, False), (100, False), (600, False)])
def test_pictures_of_less_than_three_pixels_a_millimetre_are_coarse(dpi, said):
    picture, _ = scanned(Scene(10, 10, dpi_x=100))
    limited = with_limits(at(dpi), picture)
    found = [f for f in limited.findings if f.code == "picture-coarse"]
    assert len(found) == said
    assert limited.budget == at(dpi).budget  # what it leaves unsure is the item's
    if said:
        assert found[0].attention
        assert found[0].value == pytest.approx(dpi / 25.4)
        assert found[0].limit == 3.0
        assert f"{dpi} dpi" in found[0].message


def box_of_rectangle(turn_deg):
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    return WIDTH_MM * c + HEIGHT_MM * s, WIDTH_MM * s + HEIGHT_MM * c


def drawn(number, *, wide_mm=(10, 28)):
    """A rectangle, triangle or disc of a random size, turned anyhow, at 28 to 75 dpi: how far off, as stated; mm."""
    rng = np.random.default_rng([number, 4127])
    wide = rng.uniform(*wide_mm)
    corners = 0.55 * wide * np.column_stack([np.cos(np.radians([90, 210, 330])), np.sin(np.radians([90, 210, 330]))])
    item = (circle(wide), rectangle(wide, rng.uniform(0.8, 1.0) * wide), ring(corners))[number % 3]
    look = {"blur_px": rng.uniform(0.4, 1.1), "noise_codes": rng.uniform(0.5, 2.0), "background": rng.uniform(0.7, 0.9)}
    made = Scene(84, 44, dpi_x=float(np.exp(rng.uniform(np.log(28), np.log(75)))), seed=number, **look)
    made.add_square(30, (22 + rng.uniform(-0.5, 0.5), 22.0), rng.uniform(0, 90))
    made.add_item(Shape(item), (64, 22 + rng.uniform(-0.5, 0.5)), rng.uniform(0, 90), rng.uniform(0.03, 0.4))
    picture, rendered = scanned(made)
    try:
        (found,) = outlined(picture).items
        score = compare(found.exterior_mm, found.holes_mm, rendered.items[0])
    except (DigitizeError, ValueError):
        return None  # no square is found in some at 30 dpi
    x0, y0, x1, y1 = rendered.items[0].placed((0, 0), -score.turned_deg).bounds()
    left = tuple(one for one in found.uncertainty.budget if one.name not in ("card reading", "scanner bend"))  # exact
    stated, sizes = combine(left, arm_mm((found.exterior_mm,))), ((found.width_mm, x1 - x0), (found.height_mm, y1 - y0))
    of_sizes = [(got - true, of_length_k2_mm(stated, true)) for got, true in sizes]
    blunt = any(one.name == "blunt corners" for one in left)
    return Drawn(blunt, of_sizes, score.distances_um / 1000, stated.profile_k2_mm)


@dataclass(frozen=True)
class Drawn:
    blunt: bool
    sizes: list
    distances_mm: np.ndarray
    stated_mm: float

    @property
    def spread(self):
        """Root mean square of the edge's distances over their stated standard uncertainty."""
        return float(np.sqrt(np.mean(self.distances_mm**2)) / (0.5 * self.stated_mm))


@pytest.fixture(scope="module")
def coarse():
    made = [drawn(number) for number in range(21)] + [drawn(3 * n + 1, wide_mm=(7, 10)) for n in range(10)]
    return [one for one in made if one is not None]


@pytest.mark.parametrize("blunt", [False, True], ids=["corners restored", "too near another"])
def test_over_random_coarse_scans_sizes_and_edges_are_off_by_what_is_stated(coarse, blunt):
    some = [one for one in coarse if one.blunt == blunt]
    assert len(some) >= 5
    sizes = [abs(off) <= stated for one in some for off, stated in one.sizes]
    edges = [(np.abs(one.distances_mm) <= one.stated_mm).mean() for one in some]
    assert np.mean(sizes) >= 0.88  # of 95 %, where few were drawn
    assert np.mean(edges) >= 0.92
    assert 0.5 < np.median([one.spread for one in some]) < 1.3  # a tenth where each was taken for the worst


@pytest.mark.parametrize(("dpi", "turn"), [(30, 4.0), (30, 30.0), (36, 4.0), (50, 4.0)])
def test_the_stated_uncertainty_covers_what_coarse_pictures_are_off(dpi, turn):
    for seed in range(3):
        result = outlined(scanned(scene(dpi, turn=turn, seed=seed))[0])
        assert codes(result.findings) == ["picture-coarse"]
        (item,) = result.items
        assert "coarse picture" in {one.name for one in item.uncertainty.budget}
        width, height = box_of_rectangle(turn)
        assert abs(item.width_mm - width) < length_k2_mm(item)
        assert abs(item.height_mm - height) < length_k2_mm(item)


# --- two levels --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("code", [70, 110, 150, 200])
def test_line_art_is_said_and_its_uncertainty_covers_where_the_threshold_lay(code):
    # a disc: of sharp corners a threshold takes more than of the edge
    result = outlined(thresholded(scanned(scene(150, item=circle(WIDTH_MM)))[0], code))
    assert codes(result.findings) == ["two-level"]
    (item,) = result.items
    for size in (item.width_mm, item.height_mm):
        assert abs(size - WIDTH_MM) < length_k2_mm(item)
    # an edge lies anywhere within a pixel: at least 1 / sqrt(12) of it as standard deviation (JCGM 100, 4.3.7)
    assert item.uncertainty.profile_k2_mm >= 2 / np.sqrt(12) * 25.4 / 151


def test_line_art_in_colour_grey_of_16_bit_and_after_jpeg_is_line_art():
    import cv2

    grey = thresholded(scanned(scene(150))[0], 128).pixels
    assert has_two_levels(as_picture(np.repeat(grey, 3, axis=2)))
    assert has_two_levels(as_picture(grey.astype(np.uint16) * 257))
    softer = np.where(grey > 0, 240, 20).astype(np.uint8)
    written = cv2.imencode(".jpg", softer, [cv2.IMWRITE_JPEG_QUALITY, 95])[1]
    assert has_two_levels(as_picture(cv2.imdecode(written, cv2.IMREAD_GRAYSCALE)[..., None]))


@pytest.mark.parametrize("blur", [0.3, 0.6, 1.2])
@pytest.mark.parametrize("noise", [0.0, 1.5])
def test_scans_in_grey_are_none_however_clean_and_sharp(blur, noise):
    picture, _ = scanned(scene(150, blur_px=blur, noise_codes=noise))
    assert not has_two_levels(picture)
    assert not has_two_levels(replace(picture, pixels=np.ascontiguousarray(picture.pixels[..., :1])))


def test_one_colour_and_one_pixel_are_no_line_art():
    assert not has_two_levels(as_picture(np.full((1, 1, 1), 7, np.uint8)))
    assert not has_two_levels(as_picture(np.full((90, 90, 3), 255, np.uint8)))
    assert not has_two_levels(as_picture(codes_of(np.full((60, 60, 1), 0.5), noise_codes=2)))
