"""What in a photo is no item is left out and said: what runs out of it, what has no edge, what is too many."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
import pytest

import digitize
from digitize.errors import OutlineError
from digitize.recipe.outline import outline_picture
from digitize.records import Contour
from digitize.silhouette.clutter import has_edge, is_of_lines, left_out_without_edge, without_clutter
from tests.bench.real_pictures import data_folder
from tests.test_camera_photo import SQUARE, beside_square, codes, read, score, small_eye, wide_eye
from tests.truth.photo import Photo
from tests.truth.scenes import shape_of


@dataclass
class Patch:
    """A stand-in for a connected part."""

    box: tuple[int, int, int, int]
    area: int
    is_cut: bool = False


def test_what_is_whole_is_kept_in_its_order():
    patches = [Patch((0, 0, 9, 9), 60, True), Patch((20, 5, 4, 4), 12), Patch((30, 5, 9, 9), 70)]
    kept, (said,) = without_clutter(patches, px=3, px_mm=0.5)
    assert kept == patches[1:]
    assert said.code == "left-out-at-border"
    assert "A patch of 4 x 4 mm" in said.message  # 9 px of 0.5 mm, rounded to even
    assert said.place_px == (13.5, 13.5)
    assert not said.attention  # what is kept is larger


def test_a_large_patch_at_the_border_wants_a_person():
    _, (said,) = without_clutter([Patch((0, 0, 90, 90), 6000, True), Patch((200, 5, 9, 9), 70)], px=3, px_mm=0.5)
    assert said.attention


def test_very_many_are_cut_down_to_the_largest():
    patches = [Patch((20 * i, 5, 9, 9), 50 + i) for i in range(47)]  # 40 are the most; common practice, no source
    kept, (said,) = without_clutter(patches, px=1, px_mm=1.0)
    assert kept == patches[7:]
    assert (said.code, said.value) == ("too-many-items", 47)
    assert without_clutter(patches[7:], px=1, px_mm=1.0) == (patches[7:], [])


PAPER, INK, LEAF = (0.45, 0.40, 0.37), (0.03, 0.04, 0.05), (0.03, 0.03, 0.004)  # of real photos, linear light


@pytest.mark.parametrize(
    ("wide_px", "light", "ground", "dust_mm", "lines"),
    [
        (12, INK, PAPER, 1.0, True),  # a pen's stroke, 1.2 mm
        (12, INK, PAPER, 0.3, True),  # is as wide whatever dust is
        (12, (0.95, 0.90, 0.87), PAPER, 1.0, True),  # a streak of light
        (20, INK, PAPER, 1.0, False),
        (20, INK, PAPER, 2.0, True),
        (12, LEAF, PAPER, 1.0, False),
        (12, (0.3, 0.3, 0.29), (0.03, 0.03, 0.03), 1.0, False),  # something pale on a dark sheet
    ],
)
def test_what_is_narrow_and_has_no_hue_is_writing(wide_px, light, ground, dust_mm, lines):
    mask = np.zeros((200, 300), np.uint8)
    cv2.polylines(mask, [np.array([(20, 40), (120, 160), (200, 30), (280, 150)])], False, 1, wide_px)
    cv2.circle(mask, (280, 150), 14, 1, -1)  # a blot at its end
    seen = np.tile(np.array(light, np.float32), (50, 1))
    assert is_of_lines(mask, seen, np.array(ground, np.float32), dust_mm=dust_mm, mm_per_px=0.1) is lines


@pytest.mark.open_data(str(data_folder() / "p5.jpg"))
def test_writing_and_glare_on_a_dish_are_no_items_and_said():
    """massivejords/Agar-plate-leaf-area, MIT: a phone's photo; two plants are as large as items."""
    found = digitize.outline(data_folder() / "p5.jpg", square_mm=10, tolerance_mm=0.3)
    assert sorted(round(item.area_mm2) for item in found.items) == [21, 52]
    said = next(one for one in found.findings if one.code == "left-out-as-lines")
    assert said.attention
    assert said.value == 2
    pointed = digitize.outline(data_folder() / "p5.jpg", square_mm=10, tolerance_mm=0.3, item_at_px=(2570, 2410))
    assert [round(item.area_mm2) for item in pointed.items] == [16]


@pytest.mark.parametrize(("sd", "edge"), [([0.01] * 10, True), ([0.3] * 10, False), ([0.01] * 8 + [0.5] * 2, True)])
def test_an_edge_is_known_to_a_part_of_a_pixel(sd, edge):
    points = np.column_stack([np.arange(10.0), np.zeros(10)])
    assert has_edge(Contour(points, np.array(sd), (), False, 0.8, 0.5)) is edge


def test_the_largest_patch_without_an_edge_is_shown():
    said = left_out_without_edge([(0, 0, 10, 10), (100, 50, 140, 90)])
    assert said.place_px == (120.0, 70.0)
    assert said.message.startswith("2 patches, the largest 40 x 40 px, without a clear edge were")


# --- in photos ---------------------------------------------------------------------------------------------------


def test_a_hand_at_the_border_is_no_item(tmp_path):
    scene, truth = beside_square(wide_eye(distance=300.0))
    scene.add_polygon([np.array([(-60, -200), (-20, -60), (0, -62), (30, -200)])], (0.5, 0.3, 0.2))
    result = outline_picture(read(tmp_path, scene), SQUARE).result
    found, _ = score(result, truth)
    assert len(result.items) == 1
    assert found.p95_um < 40
    assert "left-out-at-border" in codes(result)


def running_out():
    scene, _ = beside_square(small_eye(tilt=0.0))
    scene.prisms.clear()
    scene.add_item(shape_of("tag"), (190, 0), 0, height_mm=3.0)
    return scene


def test_an_item_that_runs_out_of_the_photo_is_refused(tmp_path):
    with pytest.raises(OutlineError, match=r"No whole item was found. A patch of \d+ x \d+ mm that runs out"):
        outline_picture(read(tmp_path, running_out()), SQUARE)


def test_an_item_that_runs_out_for_much_of_its_edge_gets_no_outline_even_if_pointed_at(tmp_path):
    scene = running_out()
    place = tuple(scene.camera.to_px(np.array([[180.0, 0.0]]), 3.0)[0])
    with pytest.raises(OutlineError, match="Lay it inward"):
        outline_picture(read(tmp_path, scene), replace(SQUARE, item_at_px=place))


def shaded(tmp_path, scene, place_mm, radius_mm, depth):
    """Read the photo of a scene with a soft dark spot put into it."""
    photo = scene.render()
    (x, y), (edge, _) = scene.camera.to_px(np.array([place_mm, (place_mm[0] + radius_mm, place_mm[1])]))
    rows, columns = np.mgrid[: photo.pixels.shape[0], : photo.pixels.shape[1]]
    spot = depth * np.exp(-0.5 * ((columns - x) ** 2 + (rows - y) ** 2) / (edge - x) ** 2)
    # the codes follow about the power 1 / 2.2 of light
    pixels = np.rint(photo.pixels * (1 - spot[..., None]) ** (1 / 2.2)).astype(np.uint8)

    class Shaded:
        camera = scene.camera

        def render(self):
            return Photo(pixels, photo.camera, photo.prisms, photo.squares)

    return read(tmp_path, Shaded())


def test_a_soft_dark_spot_is_no_item(tmp_path):
    scene, truth = beside_square(wide_eye(distance=300.0))
    picture = shaded(tmp_path, scene, (-20, -75), 16, 0.9)
    result = outline_picture(picture, SQUARE).result
    found, _ = score(result, truth)
    assert len(result.items) == 1
    assert found.p95_um < 40
    assert "left-out-without-edge" in codes(result)
