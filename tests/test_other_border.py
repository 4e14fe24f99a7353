"""Two plausible borders, edges above the glass, codes of unknown curve: said, and covered; not where there are none.

Scans by `tests/truth`, whose edges are exact; distances by Shapely.
"""

import functools
import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from PIL import Image, ImageCms

from digitize.edge.runner import moved_by
from digitize.edge.steps import Against, near_steps, singly_explained
from digitize.edge.stretches import Stretch, outward_normals
from digitize.errors import UsageError
from digitize.options import Said
from digitize.reading.picture import read_picture
from digitize.recipe.outline import outline_picture
from digitize.records import Contour
from digitize.settings import Settings
from digitize.trust.lift import SoftEdge, height_mm, lift_contributions, slight_softness, softness_mm
from digitize.write.preview.marks import OTHER, draw_others
from digitize.write.preview.view import View
from tests import made
from tests.near import distances
from tests.rendered import as_picture
from tests.sweeps import sweep
from tests.truth import lid_cases, zoo
from tests.truth.lid import LidScene
from tests.truth.lid_things import Shade
from tests.truth.light import linear_light

SETTINGS = Settings(square_mm=(30.0, 30.0), tolerance_mm=0.3)  # judged are edges as measured, not lines and arcs


def read(pixels, dpi):
    """As from a file that says nothing of its curve."""
    return replace(as_picture(pixels, dpi=dpi), curve_stated=False)


def outlined(picture, **options):
    return outline_picture(read(picture.pixels, picture.dpi), replace(SETTINGS, **options))


pale_rim = functools.cache(lid_cases.dark_item_with_pale_rim)
pale_fob = functools.cache(functools.partial(lid_cases.dark_item_with_pale_rim, alone=True))


def clean_fob(colour, blur_px=0.8):
    """A fob without a rim."""
    scene = LidScene(100, 75, lid=lid_cases.lid_of(0.8, mottle=0.003), blur_px=blur_px)
    scene.add_square(30, (20, 55), 1.0)
    scene.add(zoo.key_fob(), (70, 42), 12, reflectance=colour)
    return scene.render()


def off_mm(picture, outlined_, item):
    """Signed distances of an item's exterior from the true one, positive outside."""
    zero = outlined_.scale.to_mm(np.array([item.origin_px]))
    places = picture.to_mm(outlined_.scale.to_px(item.exterior_mm + zero))
    middle = shapely.Polygon(places).centroid
    true = min(picture.items, key=lambda one: one.centroid.distance(middle))
    shapely.prepare(true)
    away = distances(places, true.exterior)
    return np.where(shapely.contains_xy(true, places), -away, away)


def codes(item):
    return {finding.code for finding in item.findings if finding.attention}


def second_border(item):
    """Return the one finding that tells of the second border: nothing else says the same."""
    (said,) = [finding for finding in item.findings if finding.code == "second-border"]
    return said


RIMS = [(0.5, 0.5), (0.74, 0.3)]


@pytest.mark.parametrize(("light", "width"), RIMS)
def test_the_outer_edge_of_a_pale_rim_is_measured_and_the_figure_reaches_to_the_inner_one(light, width):
    picture = pale_rim(light, width)
    came = outlined(picture)
    assert len(came.result.items) == 2
    for item in came.result.items:
        off = off_mm(picture, came, item)
        assert np.quantile(np.abs(off), 0.95) < (0.006 if light < 0.7 else 0.013)  # a step of 0.06 in noise of 0.01
        assert abs(np.median(off)) < 0.002
        assert codes(item) == {"second-border"}
        assert item.other_px
        assert second_border(item).value == pytest.approx(width, abs=0.03)
        assert "outer one was taken" in second_border(item).message
        assert width <= item.uncertainty.profile_k2_mm < width + 0.03


@sweep(("light", "width"), [(0.74, 0.2), (0.7, 0.2), (0.74, 0.1), (0.6, 0.1)], [(0.7, 0.2), (0.74, 0.1)])
def test_a_rim_too_narrow_or_too_pale_to_measure_is_covered(light, width):
    picture = pale_fob(light, width)
    came = outlined(picture)
    assert len(came.result.items) == 1
    for item in came.result.items:
        off = np.abs(off_mm(picture, came, item))
        assert codes(item) == {"second-border"}
        assert np.quantile(off, 0.95) <= item.uncertainty.profile_k2_mm
        assert item.uncertainty.profile_k2_mm < width + 0.03


@pytest.mark.parametrize("light", [0.5, 0.55])
def test_a_rim_that_melts_into_the_edge_is_told_by_its_softness_all_round(light):
    picture = pale_fob(light, 0.1)
    came = outlined(picture)
    assert len(came.result.items) == 1
    for item in came.result.items:
        assert np.quantile(np.abs(off_mm(picture, came, item)), 0.95) < 0.004  # 0.06 mm within it before
        assert codes(item) == {"second-border"}
        assert 0.1 < item.uncertainty.profile_k2_mm < 0.11


def test_an_outer_border_that_melts_into_the_inner_one_states_more_when_it_is_asked_for():
    picture = pale_fob(0.7, 0.1)
    outer, inner = (outlined(picture, edge=edge) for edge in ("outer", "inner"))
    for item, within in zip(outer.result.items, inner.result.items, strict=True):
        off = np.quantile(np.abs(off_mm(picture, outer, item)), 0.95)
        assert 0.015 < off < item.uncertainty.profile_k2_mm < 3 * off
        assert np.median(off_mm(picture, inner, within)) == pytest.approx(-0.1, abs=0.01)
        assert within.uncertainty.profile_k2_mm < 0.03


@pytest.mark.parametrize(("light", "width"), [(0.6, 0.5), (0.74, 0.2)])
def test_the_outer_border_is_taken_where_it_is_asked_for(light, width):
    picture = pale_rim(light, width)
    outer, inner = (outlined(picture, edge=edge) for edge in ("outer", "inner"))
    assert not outer.result.failed
    assert len(outer.result.items) == len(inner.result.items) == 2
    for item, within in zip(outer.result.items, inner.result.items, strict=True):
        off = off_mm(picture, outer, item)
        assert np.quantile(np.abs(off), 0.95) < 0.015
        assert abs(np.median(off)) < 0.004
        assert np.median(off_mm(picture, inner, within)) == pytest.approx(-width, abs=0.015)
        assert not second_border(item).attention
        assert item.uncertainty.profile_k2_mm < 0.06
        (chosen,) = [line for line in item.uncertainty.budget if line.name == "chosen border"]
        if (light, width) == (0.74, 0.2):  # a step of 0.06: the palest says how large the line is, of all others too
            assert 0.6 < np.sqrt(np.mean(off**2)) / chosen.profile_mm < 1.5
        assert np.ptp(item.holes_mm[0], axis=0) == pytest.approx(5.0, abs=0.05)  # both holes, as drawn
        assert np.ptp(within.holes_mm[0], axis=0) == pytest.approx(5.0 + 2 * width, abs=0.05)


@pytest.mark.parametrize("number", [6])
def test_an_ordinary_shade_is_no_second_border(number):
    (picture,) = lid_cases.ordinary_folder(1, first=number)
    for item in outlined(picture).result.items:
        assert not codes(item) & {"second-border", "edge-above-glass"}


@pytest.mark.parametrize("light", [(0.06, 0.05, 0.05), (0.55, 0.42, 0.28)])
def test_a_clean_item_has_one_border_and_lies_on_the_glass(light):
    picture = clean_fob(light)
    (item,) = outlined(picture).result.items
    assert not codes(item) & {"second-border", "edge-above-glass"}
    assert item.uncertainty.profile_k2_mm < 0.045


# The figure is of what the lift may do; wood's hue tells its edge nearer than that, 0.05 mm off in place of 0.06.
LIFTED = [(2.0, (0.45, 0.30, 0.20), 0.26), (4.0, (0.06, 0.05, 0.05), 0.40)]


@pytest.mark.parametrize(("blur_px", "colour", "most_mm"), LIFTED)
def test_an_edge_above_the_glass_is_said_with_a_figure_that_covers_and_is_not_far_too_large(blur_px, colour, most_mm):
    picture = lid_cases.lifted_item(blur_px, reflectance=colour)
    came = outlined(picture)
    (item,) = came.result.items
    assert "edge-above-glass" in codes(item)
    off = np.abs(off_mm(picture, came, item)).max()
    assert off < item.uncertainty.profile_k2_mm < most_mm


def test_pale_wood_in_a_deep_shadow_is_covered():
    picture = lid_cases.pale_wood_with_shadow(tags=4)
    came = outlined(picture)
    assert len(came.result.items) == 4
    for item in came.result.items:
        off = np.quantile(np.abs(off_mm(picture, came, item)), 0.95)
        assert off < 0.05 or (codes(item) and off <= item.uncertainty.profile_k2_mm)


# A blur of 0.8 px is too narrow to tell a wrong curve by: the figure is that of a file that is most likely sRGB.
UNTOLD = pytest.mark.xfail(strict=True, reason="0.04 mm off where 0.024 are stated, as one file of many would be")


@pytest.mark.parametrize(
    ("colour", "blur_px"),
    [
        pytest.param((0.06, 0.05, 0.05), 0.8, marks=UNTOLD),
        ((0.06, 0.05, 0.05), 3.0),
        ((0.3, 0.2, 0.12), 1.6),
    ],
)
def test_a_scan_whose_codes_are_the_light_itself_is_covered_where_the_file_does_not_say_so(colour, blur_px):
    picture = clean_fob(colour, blur_px)
    codes_of_light = np.rint(255 * linear_light(picture.pixels.astype(float))).astype(np.uint8)
    for pixels, most in ((picture.pixels, 0.005), (codes_of_light, math.inf)):
        came = outline_picture(read(pixels, picture.dpi), SETTINGS)
        (item,) = came.result.items
        off = np.abs(off_mm(picture, came, item))
        assert off.max() <= min(item.uncertainty.profile_k2_mm, most)
        assert {line.name for line in item.uncertainty.budget} & {"tone curve", "second border"}
        assert item.uncertainty.profile_k2_mm < 0.07 or pixels is codes_of_light


def test_a_file_that_states_its_curve_has_no_doubt_of_it(tmp_path):
    picture = clean_fob((0.06, 0.05, 0.05))
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    Image.fromarray(picture.pixels).save(tmp_path / "scan.png", dpi=(300, 300), icc_profile=profile, compress_level=1)
    (item,) = outline_picture(read_picture(tmp_path / "scan.png"), SETTINGS).result.items
    assert "tone curve" not in {line.name for line in item.uncertainty.budget}


# --- the parts -----------------------------------------------------------------------------------------------------


def contour(blur_px):
    points = made.circle_ring(100, 100, 50)
    return Contour(points, made.ring(np.full(len(points), 0.02)), (), False, blur_px, 0.7)


def test_softness_is_what_the_reference_does_not_have():
    assert softness_mm((contour(3.0),), 0.8, 25.4 / 600) == pytest.approx(math.sqrt(9 - 0.64) * 25.4 / 600)
    assert softness_mm((contour(1.0),), 0.8, 25.4 / 600) == 0.0
    assert softness_mm((contour(3.0),), None, 25.4 / 600) == 0.0
    # an edge 1.25 times as soft as its reference: 0.75 of that more, a quarter of it at k = 1
    (line,) = slight_softness((contour(1.0),), 0.8, 25.4 / 600)
    assert line.profile_mm == pytest.approx(0.15 * 25.4 / 600)
    assert slight_softness((contour(0.85),), 0.8, 25.4 / 600) == ()
    assert slight_softness((contour(3.0),), 0.8, 25.4 / 600) == ()  # told as height
    # 1.5 mm above the glass, 9 degrees: a disc of 0.2376 mm radius, half of it along a line
    assert height_mm(0.1188) == pytest.approx(1.5, abs=0.001)
    assert lift_contributions(SoftEdge(0.0, 0.7, 0.03)) == ()
    (edge, along) = lift_contributions(SoftEdge(0.1188, 0.2, 0.03))
    assert edge.profile_mm == pytest.approx(0.1188)
    assert along.length_per_mm == pytest.approx(1.5 / 350 / 1.732, rel=0.001)
    (edge, _) = lift_contributions(SoftEdge(0.1188, 0.9, 0.03))  # the same shade is a third of this contrast
    assert edge.profile_mm == pytest.approx(0.1188 / 3)
    (edge, _) = lift_contributions(SoftEdge(0.1188, 0.2, 0.1188))  # no softer than the blur: most of a shade shows
    assert edge.profile_mm == pytest.approx(0.1188 / 4)


def stretch_of(*steps: tuple[float, float], sigma: float = 0.9):
    """Light that falls by so much at each place, blurred."""
    at = np.arange(-10.0, 10.01, 0.5)
    fall = sum(
        by * np.array([0.5 * (1 + math.erf((x - place) / sigma / math.sqrt(2))) for x in at]) for place, by in steps
    )
    light = np.repeat((0.9 - fall)[:, None], 3, axis=1)
    return Stretch(at, light, 0.0005, light[0], light[-1])


def test_stretches_that_one_step_explains_are_told_from_those_of_two_that_have_melted():
    one, two = stretch_of((0.2, 0.6)), stretch_of((-1.0, 0.3), (1.6, 0.3))
    both = Against([one, two], np.array([one.outside] * 2), np.array([one.inside] * 2))
    assert singly_explained(both, 0.9).tolist() == [True, False]
    none, found = near_steps(both, 0.9, sure=True)
    assert none is None
    assert found == pytest.approx((-1.0, 1.6), abs=0.2)


def test_corners_are_moved_so_that_their_sides_move_in_parallel():
    square = np.array([(0, 0), (0, 10), (10, 10), (10, 0)], float)  # counter-clockwise seen y up
    grown = moved_by(square, np.full(4, 2.0))
    assert sorted(map(tuple, grown.round(9).tolist())) == [(-2, -2), (-2, 12), (12, -2), (12, 12)]
    dense = made.circle_ring(0, 0, 50, clockwise=True)  # in a picture
    assert np.allclose(np.hypot(*moved_by(dense, np.full(len(dense), 3.0)).T), 53.0, atol=0.01)
    assert (np.einsum("nk,nk->n", outward_normals(dense), dense) > 49.9).all()


def test_another_border_is_drawn_dashed():
    blank = View(np.zeros((60, 400, 3), np.uint8), 1.0, (-0.5, -0.5))
    line = made.ring([(x, 30) for x in range(0, 400, 2)])
    draw_others(blank, [replace(made.fob(), other_px=(line,))])
    bright = (np.abs(blank.pixels[30].astype(int) - OTHER) < 40).all(axis=1)
    assert 0.3 < bright.mean() < 0.8
    assert np.count_nonzero(np.diff(bright.astype(int)) == 1) > 10


@pytest.mark.parametrize(
    ("text", "read"),
    [
        ("3", (3.0, None)),
        ("0+-0.1", (0.0, 0.1)),
        ("3+-0.5", (3.0, 0.5)),
        ("3.2±0,3", (3.2, 0.3)),
        ("2 +/- 0.2", (2.0, 0.2)),
    ],
)
def test_heights_say_how_well_they_are_known(text, read):
    settings = Said(Settings, {"item_height_mm": text}).made()
    assert (settings.item_height_mm, settings.height_within_mm) == read


@pytest.mark.parametrize("text", ["", "high", "3+-", "3+-1+-1", "3-0.5"])
def test_a_height_that_cannot_be_read_is_refused(text):
    with pytest.raises(UsageError, match="--item-height"):
        Said(Settings, {"item_height_mm": text}).made()


def test_how_well_a_height_is_known_is_said_once():
    with pytest.raises(UsageError, match="--height-within"):
        Said(Settings, {"item_height_mm": "3+-0.5", "height_within_mm": "0.2"}).made()


def test_an_edge_that_is_neither_is_refused():
    with pytest.raises(UsageError, match="outer, inner"):
        Said(Settings, {"edge": "upper"}).made()


# --- no reference ------------------------------------------------------------------------------------------------


def tags_of_lift(*lifts_px):
    """Dark fobs on a white lid, without a reference, each as much softer than the scanner."""
    scene = LidScene(50 * len(lifts_px) + 5, 55, lid=lid_cases.WHITE, blur_px=0.8)
    shade = Shade(0.08, 0.3, (0.1, 0.1))
    for k, lift in enumerate(lifts_px):
        scene.add(zoo.key_fob(), (27 + 50 * k, 27), 5, reflectance=(0.08, 0.07, 0.06), lift_px=lift, shade=shade)
    return scene.render()


@pytest.mark.parametrize(
    ("lifts", "said"),
    [((0.0, 3.0), (0, 1)), ((0.0, 0.0), (0, 0)), ((4.0,), (1,)), ((4.0, 4.0), (1, 1)), ((0.8,), (0,))],
)
def test_without_a_reference_the_sharpest_item_tells_what_lies_above_the_glass(lifts, said):
    picture = tags_of_lift(*lifts)
    came = outline_picture(read(picture.pixels, picture.dpi), Settings(dpi=(300.0, 300.0)))
    assert [int("edge-above-glass" in codes(item)) for item in came.result.items] == list(said)
    for item, is_soft in zip(came.result.items, said, strict=True):
        lines = [line for line in item.uncertainty.budget if line.name == "lifted"]
        assert len(lines) == is_soft
        off = np.abs(off_mm(picture, came, item)).max()
        assert off < (2 * lines[0].profile_mm if lines else 0.03)
