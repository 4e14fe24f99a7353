"""A round disc as a scan's reference, held against scans that are rendered from exact shapes; what is no disc."""

import json
from dataclasses import replace

import numpy as np
import pytest

from digitize.api import outline
from digitize.errors import ScaleError, UsageError
from digitize.reading.reduced import reduce_picture
from digitize.records import CameraTag, Density
from digitize.reference.locate import locate_reference
from digitize.settings import Settings

from .rendered import scanned
from .test_cli import digitize, washer
from .truth import zoo
from .truth.flatbed import Scene, save_png
from .truth.shapes import Shape, circle

METAL = (0.25, 0.25, 0.28)
ITEM = (0.3, 0.1, 0.1)
DISC = Shape(circle(20.0), (), "disc")


def scene(*discs, dpi=200, item=True, **look):
    made = Scene(100, 60, dpi_x=dpi, blur_px=0.8, noise_codes=1.5, seed=3, **look)
    for shape, centre in discs:
        made.add_item(shape, centre, 0, METAL)
    if item:
        made.add_item(zoo.key_fob(), (68, 28), 20, ITEM)
    return made


def pixels(made):
    return scanned(made)[0]


def locate(picture, **options):
    return locate_reference(picture, reduce_picture(picture), Settings.of({"disc_mm": 20.0, **options}))


def said(dpi_x, dpi_y):
    """The density that a file states."""
    return Density(dpi_x / 25.4, dpi_y / 25.4, "PNG pHYs")


def why(picture, **options):
    with pytest.raises(ScaleError) as refused:
        locate(picture, **options)
    return refused.value


# --- the scale ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("dpi", "dpi_y", "skew_deg", "diameter"),
    [(300, 300, 0.0, 25.0), (300, 303, 0.3, 25.0), (100, 100, 0.0, 12.0), (150, 151.5, -0.4, 30.0)],
)
def test_both_scales_and_the_skew_are_those_of_the_scan_within_what_is_stated(dpi, dpi_y, skew_deg, diameter):
    made = scene(dpi=dpi, dpi_y=dpi_y, skew_deg=skew_deg)
    made.add_item(Shape(circle(diameter), (), "disc"), (22, 30), 0, METAL)
    estimate = locate(pixels(made), disc_mm=diameter).estimate
    # without the reading of the calipers, which is exact here
    stated = np.sqrt(sum(one.length_per_mm**2 for one in estimate.budget if one.name != "disc reading"))
    level = 2 * 0.01 * max(1.0, estimate.blur_px) * 25.4 / dpi / diameter  # half-way light known to a hundredth px
    for found, true in zip(estimate.facts.mm_per_px, (25.4 / dpi, 25.4 / dpi_y), strict=True):
        assert abs(found / true - 1) < 2 * np.hypot(stated, level)
        assert abs(found / true - 1) < 5e-4
    assert estimate.facts.skew_deg == pytest.approx(skew_deg, abs=0.05)
    assert estimate.findings == ()


def test_the_budget_names_reading_edge_and_roundness():
    estimate = locate(pixels(scene((DISC, (22, 30))))).estimate
    lines = {one.name: one.length_per_mm for one in estimate.budget}
    assert lines.keys() == {"disc reading", "disc edge fit", "disc roundness"}
    assert lines["disc reading"] == pytest.approx(0.02 / 20)  # calipers to 0.04 mm (k = 2), the default
    assert estimate.facts.reference == "round disc 20 mm"
    assert estimate.facts.measured
    finer = locate(pixels(scene((DISC, (22, 30)))), caliper_error_mm=0.01).estimate
    assert finer.budget[0].length_per_mm == pytest.approx(0.005 / 20)
    made = painted(ellipse(20.0, 20.0, bumps=0.002))  # five bumps of 0.2 % of the radius
    rough = {one.name: one.length_per_mm for one in locate(pixels(made)).estimate.budget}
    # root mean square 0.1414 % of the radius, in parts of the diameter
    assert rough["disc roundness"] == pytest.approx(0.0707e-2, rel=0.1)


def test_the_disc_is_no_item_and_sizes_are_true(tmp_path):
    made = scene((DISC, (22, 30)))
    rendered = made.render()
    save_png(tmp_path / "scan.png", rendered)
    found = outline(tmp_path / "scan.png", disc_mm=20.0)
    (item,) = found.items
    box = np.ptp(made.items[1].rings[0].sample(0.01)[0], axis=0)
    assert (item.width_mm, item.height_mm) == pytest.approx(box, abs=0.02)


def test_a_light_disc_on_a_dark_ground_will_do():
    located = locate(pixels(scene((DISC, (22, 30)), background=0.06)))
    assert located.estimate.facts.mm_per_px == pytest.approx((0.127, 0.127), rel=1e-3)
    (edge,) = located.squares_px
    x, y = edge.mean(axis=0)
    assert (x, y) == pytest.approx((22 / 0.127, 30 / 0.127), abs=1.0)


@pytest.mark.parametrize("chamfer_mm", [0.15, 0.3])
def test_a_bright_chamfer_that_may_be_taken_for_ground_is_said(chamfer_mm):
    made = Scene(100, 60, dpi_x=300, blur_px=0.8, noise_codes=1.5, seed=3)
    made.add_item(DISC, (22, 30), 0, (0.75, 0.75, 0.75))
    made.add_item(Shape(circle(20.0 - 2 * chamfer_mm), (), "face"), (22, 30), 0, METAL)
    (finding,) = locate(pixels(made)).estimate.findings
    assert (finding.code, finding.attention) == ("disc-edge", True)


def test_a_shadow_all_round_is_said_and_mostly_taken_out():
    made = Scene(100, 60, dpi_x=300, blur_px=0.8, noise_codes=1.5, seed=3)
    made.add_item(DISC, (22, 30), 0, METAL, shadow=0.3, shadow_mm=0.6)
    estimate = locate(pixels(made)).estimate
    assert [one.code for one in estimate.findings] == ["disc-edge"]
    stated = np.sqrt(sum(one.length_per_mm**2 for one in estimate.budget if one.name != "disc reading"))
    assert abs(estimate.facts.mm_per_px[0] * 300 / 25.4 - 1) < 2 * stated < 5e-3


# --- which is meant -------------------------------------------------------------------------------------------------


def test_a_reading_of_the_card_beside_a_disc_is_remarked():
    (finding,) = locate(pixels(scene((DISC, (22, 30)))), measured_mm=(53.8, 53.9)).estimate.findings
    assert (finding.code, finding.attention) == ("option-not-used", False)
    assert "The disc was taken at the diameter said with --disc." in finding.message


def test_holes_and_rings_within_a_disc_are_no_discs():
    made = scene((Shape(circle(20.0), (circle(8.0),), "disc with a hole"), (22, 30)))
    assert len(locate(pixels(made)).squares_px) == 1  # the fob has a round hole, too


def test_of_several_none_is_picked_and_the_one_pointed_at_is_taken():
    picture = pixels(scene((DISC, (22, 30)), (washer(14.0), (85, 50)), item=False))
    refused = why(picture)
    assert str(refused).startswith("2 round things in the picture may be the disc; none was picked: at 17")
    assert "--square-at X,Y" in str(refused)
    assert len(refused.squares_px) == 2
    assert "157 x 157 px (about 20.0 mm across by the file's density)" in str(
        why(replace(picture, density=said(200, 200)))
    )
    large, small = sorted(refused.squares_px)
    assert locate(picture, square_at_px=large).estimate.facts.mm_per_px[0] == pytest.approx(0.127, rel=1e-3)
    assert locate(picture, square_at_px=small).estimate.facts.mm_per_px[0] == pytest.approx(0.127 * 20 / 14, rel=1e-3)
    beside = why(picture, square_at_px=(400, 20))
    assert str(beside).startswith("No disc was found at 400,20 px. Seen in the picture: at ")
    assert len(beside.squares_px) == 2


def ellipse(across, high, centre=(22, 30), bumps=0.0):
    turn = 2 * np.pi * np.arange(720) / 720
    part = (1 + bumps * np.cos(5 * turn))[:, None]
    return np.array(centre) + part * np.stack([across / 2 * np.cos(turn), high / 2 * np.sin(turn)], axis=1)


@pytest.mark.parametrize(
    ("made", "says"),
    [
        (lambda: scene(), "Nothing round was found that the disc of 20 mm can be"),
        (lambda: scene((DISC, (6, 30))), "is cut by the picture's border"),
        (lambda: painted(ellipse(20.0, 19.2)), "is oval: 4."),
        (lambda: with_square_over(scene((DISC, (22, 30)))), "broken or covered edge|Nothing round"),
        (lambda: scene((Shape(circle(2.5), (), "small"), (22, 30))), "too small"),
    ],
)
def test_what_is_no_disc_is_refused_in_words(made, says):
    text = str(why(pixels(made())))
    assert any(part in text for part in says.split("|")), text
    assert "Lay one round disc flat beside the item" in text


def painted(ring):
    made = scene()
    made.add_polygon([ring], METAL)
    return made


def with_square_over(made):
    made.add_square(8, (31, 30), 0, 0.27)
    return made


def test_axes_that_differ_as_the_file_says_are_the_scanners():
    picture = pixels(scene((DISC, (22, 30)), dpi=200, dpi_y=206))
    assert "is oval: 3.0 %" in str(why(picture))
    found = locate(replace(picture, density=said(200, 206))).estimate.facts
    assert found.mm_per_px == pytest.approx((0.127, 25.4 / 206), rel=1e-3)


# --- where a disc will not do ---------------------------------------------------------------------------------------


def test_a_photo_needs_another_reference():
    text = str(why(replace(pixels(scene((DISC, (22, 30)))), camera=CameraTag(focal_35mm=27.0))))
    assert text.startswith("--disc is for scans: a circle alone does not tell from where a photo was taken.")


@pytest.mark.parametrize("more", [{"square_mm": 20}, {"taken_with": "camera"}, {"item_height_mm": 3.0}])
def test_what_contradicts_a_disc_is_refused(more):
    with pytest.raises(UsageError, match="--disc"):
        Settings.of({"disc_mm": 20.0, **more})


def test_the_command_takes_a_disc(tmp_path):
    save_png(tmp_path / "scan.png", scene((DISC, (22, 30))).render())
    done = digitize("outline", tmp_path / "scan.png", "--disc", "20", "--format", "json", "--to", tmp_path)
    assert done.returncode in (0, 1), done.said
    told = json.loads((tmp_path / "scan.json").read_bytes())
    assert told["scale"]["reference"] == "round disc 20 mm"
    assert told["options"]["disc_mm"] == 20.0
    assert len(told["items"]) == 1
