"""Corrections by hand: what they move is held against rendered discs, whose edges are known; then files and command."""

import json
from pathlib import Path

import numpy as np
import pytest

from digitize.api import outline
from digitize.document.document import document_bytes, read_document
from digitize.errors import OutlineError, UsageError
from digitize.hand.read import corrections_toml, read_corrections
from digitize.hand.steps import Corrections, Step
from digitize.measure.rings import signed_area
from digitize.reading.picture import read_picture
from digitize.recipe.outline import outline_picture
from digitize.settings import Settings
from digitize.write.preview.picture import check_png_bytes
from digitize.write.words import notes
from tests.rendered import as_picture, codes_of, polygon_px
from tests.truth.light import paint
from tests.truth.raster import blurred_coverage

SHAPE, MIDDLE, RADIUS = (300, 320), (150.3, 145.7), 100.0
ITEM, GROUND, SHADE, PATCH = 0.05, 0.9, 0.3, 0.09  # linear light
DPI = 600
SAMPLES = Path(__file__).resolve().parents[1] / "samples"
MM = 25.4 / DPI


def on_disc(angle_deg, radius=RADIUS):
    """Return a place, counter-clockwise seen y up from the right."""
    a = np.radians(angle_deg)
    return MIDDLE[0] + radius * np.cos(a), MIDDLE[1] - radius * np.sin(a)


def painted(*layers):
    """Return a picture of polygons on the ground, one over another, each with its light."""
    canvas = np.broadcast_to(np.float32(GROUND), (*SHAPE, 3)).copy()
    for ring, light in layers:
        paint(canvas, blurred_coverage([np.asarray(ring)], SHAPE, 0.8), np.full(3, light))
    return as_picture(codes_of(canvas), dpi=DPI)


def box(x0, y0, x1, y1):
    return [(x0, y0), (x1, y0), (x1, y1), (x0, y1)]


DISC = polygon_px(MIDDLE, RADIUS, 720), ITEM
BESIDE = box(262, 20, 312, 250), ITEM


@pytest.fixture(scope="module")
def glare():
    """A disc with a bite of the ground's own light at its right."""
    right = MIDDLE[0] + RADIUS
    return painted(DISC, (box(right - 12, MIDDLE[1] - 15, right + 20, MIDDLE[1] + 15), GROUND))


@pytest.fixture(scope="module")
def shade():
    """A disc with a sharp shadow 14 px wide beside its left."""
    arc = [on_disc(angle, RADIUS + 14) for angle in np.linspace(150, 210, 61)]
    return painted(([MIDDLE, *arc], SHADE), DISC)


@pytest.fixture(scope="module")
def spotted():
    """A disc with a hole at its left and a pale round patch at its right."""
    left, right = (MIDDLE[0] - 45, MIDDLE[1]), (MIDDLE[0] + 45, MIDDLE[1])
    return painted(DISC, (polygon_px(left, 18.0, 180), GROUND), (polygon_px(right, 16.0, 180), PATCH))


def outlined(picture, *steps, **options):
    made = Corrections(steps=tuple(steps)) if steps else None
    return outline_picture(picture, Settings(dpi=DPI, by_hand=made, **options))


def off_disc(item, ring=0, middle=MIDDLE, radius=RADIUS):
    """How far the points of a ring lie outside of a disc, px."""
    return np.hypot(*(item.contours[ring].points_px - middle).T) - radius


def codes(result):
    return [finding.code for finding in result.all_findings]


def by_hand_mm(item):
    return [one.profile_mm for one in item.uncertainty.budget if one.name == "by hand"]


# --- bridges -------------------------------------------------------------------------------------------------------


def test_a_bite_of_glare_is_filled_curved_on_from_both_sides(glare):
    bitten = outlined(glare).result.items[0]
    assert off_disc(bitten).min() < -11
    mended = outlined(glare, Step(do="bridge", at=(on_disc(12), on_disc(-12)), along="curved")).result.items[0]
    assert np.abs(off_disc(mended)).max() < 0.2
    assert mended.area_mm2 == pytest.approx(np.pi * (RADIUS * MM) ** 2, rel=1e-3)


def test_a_straight_bridge_is_the_chord(glare):
    item = outlined(glare, Step(do="bridge", at=(on_disc(12), on_disc(-12)), along="straight")).result.items[0]
    hand = item.by_hand_px[0]
    assert np.abs(hand[:, 0] - (MIDDLE[0] + RADIUS * np.cos(np.radians(12)))).max() < 0.7  # a click counts to a point
    assert np.hypot(*np.diff(hand, axis=0).T).max() < 1.5
    assert off_disc(item).min() == pytest.approx(RADIUS * (np.cos(np.radians(12)) - 1), abs=0.5)  # sagitta


@pytest.mark.parametrize("turned", [False, True])
def test_a_shadow_is_cut_off_along_the_items_own_edge_whichever_end_is_set_first(shade, turned):
    assert off_disc(outlined(shade).result.items[0]).max() > 13
    ends = [on_disc(140), on_disc(220)]
    item = outlined(shade, Step(do="bridge", at=tuple(ends[::-1] if turned else ends))).result.items[0]
    off = np.abs(off_disc(item))
    assert np.quantile(off[item.contours[0].by_hand], 0.8) < 0.05
    assert off.max() < 1.0  # where the shadow begins the light outside changes within the blur


def test_a_bridge_passes_the_places_between_its_ends(glare):
    tip = on_disc(0, RADIUS + 5)
    item = outlined(glare, Step(do="bridge", at=(on_disc(15), tip, on_disc(-15)), along="straight")).result.items[0]
    assert np.hypot(*(item.contours[0].points_px - tip).T).min() < 0.01
    assert any(np.allclose(item.contours[0].points_px[c], tip, atol=0.01) for c in item.contours[0].corners)


def test_places_between_keep_their_order_whichever_end_is_set_first(glare):
    places = (on_disc(15), on_disc(6, RADIUS + 4), on_disc(-6, RADIUS + 2), on_disc(-15))
    made = [
        outlined(glare, Step(do="bridge", at=at, along="straight")).result.items[0] for at in (places, places[::-1])
    ]
    assert made[0].area_mm2 == pytest.approx(made[1].area_mm2, abs=1e-9)
    assert all(np.hypot(*(made[1].contours[0].points_px - place).T).min() < 0.01 for place in places[1:-1])


def test_along_an_edge_that_is_not_there_it_is_said(glare):
    result = outlined(glare, Step(do="bridge", at=(on_disc(12), on_disc(-12)))).result
    assert "by-hand-without-edge" in codes(result)
    assert "by-hand-without-edge" not in codes(outlined(glare).result)


# --- the stated figure ---------------------------------------------------------------------------------------------


def test_what_a_hand_set_has_a_line_of_its_own_in_the_budget_and_covers_what_it_is_off(glare):
    assert by_hand_mm(outlined(glare).result.items[0]) == []
    bridge = {"do": "bridge", "at": (on_disc(12), on_disc(-12))}
    item = outlined(glare, Step(**bridge, along="curved")).result.items[0]
    (sd,) = by_hand_mm(item)
    off = MM * np.abs(off_disc(item)[item.contours[0].by_hand]).max()
    assert 2 * sd >= off
    assert item.uncertainty.profile_k2_mm >= 2 * sd
    assert by_hand_mm(outlined(glare, Step(**bridge, along="straight")).result.items[0]) == [sd]  # the two differ so


def test_a_short_bridge_counts_as_sure_as_a_pointer_is_set_to_a_pixel():
    """Over 4 degrees straight and curved on are the same: what is left is a pixel either way, k = 2."""
    step = Step(do="bridge", at=(on_disc(2), on_disc(-2)), along="straight")
    (sd,) = by_hand_mm(outlined(painted(DISC), step).result.items[0])
    assert 2 * sd == pytest.approx(1.0 * MM, rel=0.1)


def test_a_farther_pull_is_less_sure():
    disc = painted(DISC)
    sure = [
        by_hand_mm(outlined(disc, Step(do="move", at=(on_disc(30), on_disc(30, RADIUS + far)))).result.items[0])[0]
        for far in (1, 4)
    ]
    assert sure[1] > 1.5 * sure[0] > 0


# --- points, holes, items ------------------------------------------------------------------------------------------


def test_a_point_is_moved_and_its_neighbourhood_with_it_but_nothing_else():
    item = outlined(painted(DISC), Step(do="move", at=(on_disc(30), on_disc(30, RADIUS + 3)))).result.items[0]
    points, off = item.contours[0].points_px, off_disc(item)
    assert np.hypot(*(points - on_disc(30, RADIUS + 3)).T).min() < 0.01
    away = np.hypot(*(points - on_disc(30)).T)
    assert np.abs(off[away > 14]).max() < 0.1
    assert np.array_equal(item.contours[0].by_hand, np.abs(off) > 0.02) or item.contours[0].by_hand[off > 0.05].all()


def test_a_hole_is_dropped_and_a_patch_is_taken_for_one(spotted):
    assert [len(item.holes_mm) for item in outlined(spotted).result.items] == [1]
    inside = (MIDDLE[0] - 45, MIDDLE[1])
    assert outlined(spotted, Step(do="drop", at=(inside,))).result.items[0].holes_mm == ()
    right = (MIDDLE[0] + 45, MIDDLE[1])
    item = outlined(spotted, Step(do="take", at=((right[0] + 5, right[1] - 4),))).result.items[0]
    assert len(item.holes_mm) == 2
    assert np.abs(off_disc(item, 2, right, 16.0)).max() < 0.1


def test_a_patch_that_is_none_is_not_taken(spotted):
    result = outlined(spotted, Step(do="take", at=((MIDDLE[0], MIDDLE[1] + 60),))).result
    assert len(result.items[0].holes_mm) == 1
    assert "by-hand-nothing" in codes(result)


def test_an_item_is_dropped_and_the_last_one_is_not():
    two = painted(DISC, BESIDE)
    result = outlined(two, Step(do="drop", at=((290, 50),))).result
    assert len(result.items) == 1
    assert "by-hand-dropped" in codes(result)
    with pytest.raises(OutlineError, match="Every item was dropped"):
        outlined(two, Step(do="drop", at=((290, 50),)), Step(do="drop", at=(MIDDLE,)))


def test_a_step_belongs_to_the_nearest_item_alone():
    two = painted(DISC, BESIDE)
    moved = outlined(two, Step(do="move", at=((262, 150), (264, 150)))).result.items
    still = outlined(two).result.items
    disc, other = (next(i for i in items if i.width_mm > 7) for items in (moved, still))
    assert np.array_equal(disc.exterior_mm, other.exterior_mm)
    assert sum(bool(item.by_hand_px) for item in moved) == 1


@pytest.mark.parametrize(
    "step",
    [
        Step(do="move", at=(MIDDLE, on_disc(0))),
        Step(do="bridge", at=(on_disc(40), MIDDLE)),
        Step(do="bridge", at=(on_disc(40), on_disc(40))),
        Step(do="border", at=(on_disc(40), on_disc(80)), border="outer"),
        Step(do="border", at=(on_disc(40),), border="outer"),
        Step(do="drop", at=((2, 2),)),
        Step(do="take", at=((2, 2),)),
    ],
)
def test_a_step_that_finds_nothing_says_so_and_changes_nothing(step):
    disc = painted(DISC)
    result, plain = outlined(disc, step).result, outlined(disc).result
    assert [finding.place_px for finding in result.findings if finding.code == "by-hand-nothing"] == [step.at[0]]
    assert np.array_equal(result.items[0].exterior_mm, plain.items[0].exterior_mm)
    assert result.items[0].uncertainty == plain.items[0].uncertainty


# --- two borders ---------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def rimmed():
    """A disc with a pale rim 8 px wide."""
    return painted((polygon_px(MIDDLE, RADIUS + 8, 720), 0.75), DISC)


def test_the_other_border_is_taken_for_the_whole_item_as_by_the_option(rimmed):
    by_option = outlined(rimmed, edge="inner").result.items[0]
    by_step = outlined(rimmed, Step(do="border", at=(on_disc(0),), border="inner")).result.items[0]
    assert np.array_equal(by_option.exterior_mm, by_step.exterior_mm)
    assert by_option.uncertainty == by_step.uncertainty


def test_the_other_border_is_taken_for_a_stretch(rimmed):
    assert abs(np.median(off_disc(outlined(rimmed).result.items[0]) - 8)) < 0.2
    item = outlined(rimmed, Step(do="border", at=(on_disc(20), on_disc(100)), border="inner")).result.items[0]
    at, off = item.contours[0].points_px - MIDDLE, off_disc(item)
    angle = np.degrees(np.arctan2(-at[:, 1], at[:, 0])) % 360
    assert np.abs(off[(angle > 32) & (angle < 88)]).max() < 0.3
    assert np.abs(off[(angle > 105) | (angle < 15)] - 8).max() < 0.3
    assert [one.code for one in item.findings if one.code == "second-border"]  # the rest is still open
    assert {one.name for one in item.uncertainty.budget} >= {"second border", "chosen border"}


def test_where_all_of_it_is_chosen_nothing_is_open(rimmed):
    thirds = [Step(do="border", at=(on_disc(angle), on_disc(angle + 130)), border="outer") for angle in (0, 120, 240)]
    item = outlined(rimmed, *thirds).result.items[0]
    assert "second border" not in {one.name for one in item.uncertainty.budget}
    assert item.uncertainty.profile_k2_mm < outlined(rimmed).result.items[0].uncertainty.profile_k2_mm


# --- what says that a hand was there -------------------------------------------------------------------------------


def test_document_drawings_and_check_picture_say_what_a_hand_set(glare):
    step = Step(do="bridge", at=(on_disc(12), on_disc(-12)), along="curved")
    made = outlined(glare, step)
    (item,) = made.result.items
    told = json.loads(document_bytes(made.result))
    assert told["options"]["by_hand"] == {"step": [step.plain()]}
    (line,) = told["items"][0]["by_hand"]
    ring = np.array(told["items"][0]["geometry"]["coordinates"][0])
    assert all(np.abs(ring - place).sum(axis=1).min() < 1e-9 for place in np.array(line))
    assert len(line) == item.contours[0].by_hand.sum()
    assert document_bytes(read_document(document_bytes(made.result)).result) == document_bytes(made.result)
    assert any("set by hand" in line for line in notes(made.result, made.result.items, width=200))
    plain = outlined(glare)
    assert "by_hand" not in json.loads(document_bytes(plain.result))["items"][0]
    assert not any("by hand" in line for line in notes(plain.result, plain.result.items, width=200))
    assert check_png_bytes(glare, made.result, made.scale) != check_png_bytes(glare, plain.result, plain.scale)


@pytest.mark.parametrize("options", [{"upright": True}, {"imaged_face": "back"}])
def test_the_stretches_lie_on_the_ring_however_it_is_turned(glare, options):
    step = Step(do="bridge", at=(on_disc(12), on_disc(-12)), along="curved")
    (item,) = outlined(glare, step, **options).result.items
    (line,) = item.by_hand_mm
    assert all(np.hypot(*(item.exterior_mm - place).T).min() == 0 for place in line)
    far = line.mean(axis=0) - np.array([item.width_mm, item.height_mm]) / 2
    assert np.hypot(*far) == pytest.approx(RADIUS * MM, rel=0.02)
    if options.get("imaged_face"):  # the bite is at the right of the picture, about the middle of its height
        assert far[0] < 0
        assert abs(far[1]) < 0.1


def test_in_a_photo_too_the_stretches_lie_on_the_ring_that_was_freed_of_height():
    picture = read_picture(SAMPLES / "badge.jpg")
    asked = {"measured_mm": (54, 54), "item_height_mm": 3.2, "imaged_face": "back"}
    plain = outline_picture(picture, Settings(**asked)).result.items[0].contours[0].points_px
    ends = tuple(map(tuple, plain[[len(plain) // 8, len(plain) // 8 + 60]].tolist()))
    step = Step(do="bridge", at=ends, along="curved")
    (item,) = outline_picture(picture, Settings(**asked, by_hand=Corrections(steps=(step,)))).result.items
    (line,) = item.by_hand_mm
    assert all(np.hypot(*(item.exterior_mm - place).T).min() == 0 for place in line)
    long_px = np.hypot(*np.diff(item.by_hand_px[0], axis=0).T).sum()
    mm_per_px = np.sqrt(item.area_mm2 / abs(signed_area(plain)))
    assert np.hypot(*np.diff(line, axis=0).T).sum() == pytest.approx(long_px * mm_per_px, rel=0.1)


# --- steps and their files -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("told", "says"),
    [
        ({"do": "erase", "at": [[1, 2]]}, "one of bridge, move"),
        ({"do": "drop", "at": []}, "needs 1 place, not 0"),
        ({"do": "bridge", "at": [[1, 2]]}, "needs 2 to 50 places"),
        ({"do": "bridge", "at": [[1, 2], [3, "x"]]}, "is no place"),
        ({"do": "bridge", "at": [[1, 2], [3, float("nan")]]}, "is no place"),
        ({"do": "bridge", "at": [[1, 2], [3, 4]], "along": "bent"}, "edge, straight, curved"),
        ({"do": "border", "at": [[1, 2]]}, "outer, inner"),
        ({"do": "drop", "at": [[1, 2]], "border": "outer"}, "has no border"),
        ({"do": "drop", "at": [[1, 2]], "note": "x"}, "note is nothing"),
        ({"do": ["drop"], "at": [[1, 2]]}, "one of bridge"),
        ("drop", "tells what to do"),
    ],
)
def test_a_step_that_cannot_be_meant_is_refused(told, says):
    with pytest.raises(UsageError, match=says):
        Step.of(told)


STEPS = (
    Step(do="bridge", at=((10.126, 20), (30, 40.5)), along="curved"),
    Step(do="border", at=((1, 2),), border="inner"),
    Step(do="drop", at=((3, 4),)),
)


def test_steps_are_written_and_read_back(tmp_path):
    held = Corrections(steps=STEPS, picture="ab" * 32)
    path = tmp_path / "tag.by-hand.toml"
    path.write_bytes(corrections_toml(held))
    assert read_corrections(path) == held
    assert Corrections.of(held.plain()) == held


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "expected steps by hand"),
        ('format = "digitize-by-hand"\nversion = 2\n', "expected steps by hand"),
        ('format = "digitize-by-hand"\nversion = 1\nstep = 3\n', "list of steps"),
        ('format = "digitize-by-hand"\nversion = 1\n[[step]]\ndo = "drop"\n', "needs 1 place"),
        ("{", "no outline document"),
        ('{"options": {}}', "holds no steps"),
        ("[[[", "no TOML"),
    ],
)
def test_a_file_that_holds_none_is_refused_by_its_name(tmp_path, text, says):
    path = tmp_path / "steps"
    path.write_text(text)
    with pytest.raises(UsageError, match=says) as refused:
        Settings.of({"by_hand": str(path)})
    assert str(refused.value).startswith(f"--by-hand {path}")


def test_steps_of_another_picture_are_refused(glare):
    with pytest.raises(UsageError, match="made on another picture"):
        outline_picture(glare, Settings(dpi=DPI, by_hand=Corrections(steps=STEPS, picture="ab" * 32)))


def test_a_file_of_steps_and_an_outline_document_give_the_same_bytes(tmp_path, glare):
    from PIL import Image

    picture = tmp_path / "disc.png"
    Image.fromarray(glare.pixels).save(picture)
    steps = tmp_path / "steps.toml"
    steps.write_bytes(
        corrections_toml(Corrections(steps=(Step(do="bridge", at=(on_disc(12), on_disc(-12)), along="curved"),)))
    )
    by_file = document_bytes(outline(picture, dpi=600, by_hand=steps).result)
    document = tmp_path / "disc.json"
    document.write_bytes(by_file)
    assert document_bytes(outline(picture, dpi=600, by_hand=document).result) == by_file
    told = read_document(by_file).result.options
    assert document_bytes(outline(picture, **told).result) == by_file
    assert read_document(by_file).result.items[0].by_hand_mm
