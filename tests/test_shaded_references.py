"""A plain square or a disc along one side of which a shadow lies: found all the same, and said."""

import numpy as np
import pytest

from digitize.errors import ScaleError
from digitize.recipe.outline import outline_picture
from digitize.reference.clean import unclean_square
from tests.test_camera_photo import SQUARE, eye, read, scene_of, score
from tests.test_reference import locate, scale_errors, scan, scene
from tests.truth.scenes import shape_of
from tests.truth.shapes import circle

AT, TURN = (-45, 5), 20
HALF_MM = 25.0


def seen(tmp_path, wide_mm, light):
    """What comes of an item beside a square with a strip of shadow so wide along one side."""
    scene = scene_of(eye())
    c, s = np.cos(np.radians(TURN)), np.sin(np.radians(TURN))
    strip = np.array([(24, -HALF_MM), (HALF_MM + wide_mm, -HALF_MM), (HALF_MM + wide_mm, HALF_MM), (24, HALF_MM)])
    scene.add_polygon([strip @ [[c, s], [-s, c]] + AT], (light,) * 3)
    scene.add_square((2 * HALF_MM, 2 * HALF_MM), AT, TURN)
    truth = scene.add_item(shape_of("key-fob"), (40, -5), 30, height_mm=3.0)
    result = outline_picture(read(tmp_path, scene), SQUARE).result
    off, item = score(result, truth)
    return off.p95_um, 1000 * item.uncertainty.profile_k2_mm, {one.code for one in result.findings if one.attention}


@pytest.mark.parametrize(("wide_mm", "light"), [(4.0, 0.32), (1.6, 0.3), (1.2, 0.45)])
def test_a_broad_shadow_hides_no_edge(tmp_path, wide_mm, light):
    off_um, stated_um, looks = seen(tmp_path, wide_mm, light)
    assert off_um < 25  # without any shadow it is 21
    assert off_um < stated_um
    assert "reference-touched" in looks


def test_a_shadow_two_pixels_wide_moves_the_side_and_is_said(tmp_path):
    off_um, stated_um, looks = seen(tmp_path, 0.4, 0.35)
    assert off_um > 60  # 0.4 mm are two pixels: the strip is half taken for the square
    assert off_um < stated_um
    assert "reference-touched" in looks


def test_a_strip_as_dark_as_the_square_is_a_part_of_it_and_refused_as_no_square(tmp_path):
    with pytest.raises(ScaleError, match="not the square it was said to be"):
        seen(tmp_path, 1.5, 0.1)


@pytest.mark.parametrize(("wide_mm", "light"), [(0.0, 0.3), (0.1, 0.3), (0.2, 0.5)])
def test_a_thin_shadow_along_one_side_in_a_scan_is_said_and_counts(wide_mm, light):
    """Of a square of 20 mm at 300 dpi: what lies on glass throws a shadow to one side, and this one is no edge's."""
    made = scene()
    if wide_mm:
        made.add_polygon([np.array([(30, 10), (32 + wide_mm, 10), (32 + wide_mm, 30), (30, 30)])], light)
    made.add_square(20, (22, 20))
    picture, rendered = scan(made)
    found = locate(picture, square_mm=(20, 20)).estimate
    off = float(np.abs(scale_errors(found, rendered)).max())
    stated = 2 * float(np.sqrt(sum(line.length_per_mm**2 for line in found.budget)))
    said = [one.code for one in found.findings]
    assert said == (["reference-touched"] if wide_mm else [])
    if wide_mm:
        assert off > 0.002  # over a fifth of a per cent, 0.04 mm
        assert off < 1.2 * stated
    else:
        assert off < 2e-4


@pytest.mark.parametrize("wide_mm", [0.0, 0.2])
def test_a_thin_shadow_along_one_side_of_a_disc_is_said_and_counts(wide_mm):
    made = scene()
    if wide_mm:
        turn = np.radians(np.linspace(-88, 88, 300))
        way = np.column_stack([np.cos(turn), np.sin(turn)])
        outer = (22, 20) + 12.5 * way + wide_mm * way[:, :1] * (1, 0)
        made.add_polygon([np.vstack([outer, ((22, 20) + 11.5 * way)[::-1]])], 0.3)
    made.add_polygon([circle(25.0, (22, 20)).polygon(1e-4)], 0.05)
    picture, rendered = scan(made)
    found = locate(picture, disc_mm=25.0).estimate
    off = float(np.abs(scale_errors(found, rendered)).max())
    stated = 2 * float(np.sqrt(sum(line.length_per_mm**2 for line in found.budget)))
    assert [one.code for one in found.findings] == (["reference-touched"] if wide_mm else [])
    assert (off > 0.005) == bool(wide_mm)  # half a per cent, 0.13 mm
    assert off < stated


SQUARE_PX = np.array([(100.0, 100.0), (300.0, 100.0), (300.0, 300.0), (100.0, 300.0)])


@pytest.mark.parametrize(
    ("rest", "part"),
    [
        ([0.01, 0.01, 0.011, 0.01], 0.0),  # clean
        ([0.03, 0.031, 0.03, 0.033], 0.0),  # all alike: noise
        ([0.004, 0.0065, 0.004, 0.004], 0.0),  # less than noise leaves of clean ones
        ([0.01, 0.04, 0.01, 0.01], 0.5 * 30.0 * 0.04 * 0.8 / 200.0),
    ],
)
def test_one_side_that_is_less_clean_than_the_others_is_said(rest, part):
    beside = unclean_square(np.array(rest), 0.8, SQUARE_PX)
    assert beside.part == pytest.approx(part)
    assert [one.place_px for one in beside.said] == ([(300.0, 200.0)] if part else [])
    assert [line.length_per_mm for line in beside.budget] == ([pytest.approx(part)] if part else [])
