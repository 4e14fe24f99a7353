"""What in a photo is no item is left out and said: what runs out of it, what has no edge, what is too many."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pytest

from digitize.errors import OutlineError
from digitize.recipe.outline import outline_picture
from digitize.records import Contour
from digitize.silhouette.clutter import has_edge, left_out_without_edge, without_clutter
from tests.test_camera_photo import SQUARE, beside_square, codes, eye, read, score
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
    scene, truth = beside_square()
    scene.add_polygon([np.array([(-60, -200), (-20, -60), (0, -62), (30, -200)])], (0.5, 0.3, 0.2))
    result = outline_picture(read(tmp_path, scene), SQUARE).result
    found, _ = score(result, truth)
    assert len(result.items) == 1
    assert found.p95_um < 40
    assert "left-out-at-border" in codes(result)


def running_out():
    scene, _ = beside_square(eye(tilt=0.0))
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
    scene, truth = beside_square()
    picture = shaded(tmp_path, scene, (-20, -75), 16, 0.9)
    result = outline_picture(picture, SQUARE).result
    found, _ = score(result, truth)
    assert len(result.items) == 1
    assert found.p95_um < 40
    assert "left-out-without-edge" in codes(result)
