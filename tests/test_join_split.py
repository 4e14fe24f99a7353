"""Items that a hand joins or splits: held against rendered discs and bars, whose edges are known."""

import json

import numpy as np
import pytest
import shapely

from digitize.api import outline
from digitize.document.document import document_bytes, read_document
from digitize.errors import UsageError
from digitize.hand.steps import Corrections, Step
from digitize.recipe.outline import outline_picture
from digitize.settings import Settings
from tests.test_by_hand import DISC, DPI, GROUND, ITEM, MIDDLE, MM, RADIUS, box, off_disc, on_disc, painted

HALF_GAP = 6.0  # px
OTHER = 0.25  # linear light of a second item


MADE = {}


def outlined(picture, *steps):
    """What comes of a picture and steps, made once."""
    key = (picture.sha256, id(picture), steps)
    if key not in MADE:
        settings = Settings(dpi=DPI, by_hand=Corrections(steps=steps) if steps else None)
        MADE[key] = picture, outline_picture(picture, settings).result  # the picture is kept, so that its id is
    return MADE[key][1]


@pytest.fixture(scope="module")
def glared():
    """A disc with a strip of glare right across, so that two items are seen."""
    strip = box(MIDDLE[0] - HALF_GAP, MIDDLE[1] - RADIUS - 5, MIDDLE[0] + HALF_GAP, MIDDLE[1] + RADIUS + 5)
    return painted(DISC, (strip, GROUND))


@pytest.fixture(scope="module")
def disc():
    return painted(DISC)


@pytest.fixture(scope="module")
def touching():
    """Two bars of two colours, edge to edge, their border at x = 160 to 172, aslant."""
    border = [(160.0, 60.0), (172.0, 220.0)]
    left = np.array([(60.0, 60.0), (250.0, 60.0), (250.0, 220.0), (60.0, 220.0)])
    right = np.array([border[0], (250.0, 60.0), (250.0, 220.0), border[1]])
    return painted((left, ITEM), (right, OTHER)), np.array(border)


def across(gap=3.0):
    """Four places at the ends of the strip, on both parts of the disc."""
    angle = np.degrees(np.arccos((HALF_GAP + gap) / RADIUS))
    return on_disc(angle), on_disc(180 - angle), on_disc(-angle), on_disc(180 + angle)


JOIN = Step(do="join", at=across())
CURVED = Step(do="join", at=across(), along="curved")


# --- join -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("order", [(0, 1, 3, 2), (3, 2, 1, 0)])
def test_two_parts_are_one_across_the_gap_whichever_is_set_first(glared, order):
    at = tuple(across()[k] for k in order)
    (item,) = outlined(glared, Step(do="join", at=at)).items
    (same,) = outlined(glared, JOIN).items
    assert len(item.exterior_mm) == len(same.exterior_mm)
    assert item.area_mm2 == pytest.approx(same.area_mm2, rel=1e-9)
    # chords across the gap: their sagitta is what the disc loses
    sagitta = RADIUS - np.sqrt(RADIUS**2 - (HALF_GAP + 3) ** 2)
    assert off_disc(item).min() == pytest.approx(-sagitta, abs=0.15)
    assert off_disc(item).max() < 0.25
    assert item.area_mm2 == pytest.approx(np.pi * (RADIUS * MM) ** 2, rel=2e-3)
    hand = item.contours[0].by_hand
    assert 4 * HALF_GAP <= hand.sum() <= 4 * (HALF_GAP + 4)
    assert len(item.by_hand_mm) == 2


def test_curved_on_the_gap_is_nearer_to_the_disc_and_what_it_is_off_is_in_the_figure(glared):
    (item,) = outlined(glared, CURVED).items
    assert np.abs(off_disc(item)).max() < 0.3
    (line,) = [one for one in item.uncertainty.budget if "hand" in one.name]
    assert 2 * line.profile_mm > np.abs(off_disc(item)[item.contours[0].by_hand]).max() * MM * 0.9
    assert [one.code for one in item.findings if one.code == "by-hand"]


def test_a_hole_of_either_part_is_one_of_the_whole():
    strip = box(MIDDLE[0] - HALF_GAP, MIDDLE[1] - RADIUS - 5, MIDDLE[0] + HALF_GAP, MIDDLE[1] + RADIUS + 5)
    holes = [
        (box(MIDDLE[0] + dx - 12, MIDDLE[1] - 12, MIDDLE[0] + dx + 12, MIDDLE[1] + 12), GROUND) for dx in (-50, 50)
    ]
    picture = painted(DISC, (strip, GROUND), *holes)
    assert [len(item.holes_mm) for item in outlined(picture).items] == [1, 1]
    (item,) = outlined(picture, JOIN).items
    assert len(item.holes_mm) == 2
    (item,) = outlined(picture, JOIN, Step(do="drop", at=((MIDDLE[0] + 50, MIDDLE[1]),))).items
    assert len(item.holes_mm) == 1


def test_what_cannot_be_joined_is_said(glared, disc):
    two = outlined(glared, Step(do="join", at=(across()[0], across()[0], across()[2], across()[2])))
    assert len(two.items) == 2
    assert [one.code for one in two.findings if one.code == "by-hand-nothing"]
    far = outlined(glared, Step(do="join", at=(across()[0], (5, 5), across()[2], (5, 9))))
    assert (len(far.items), [one.code for one in far.findings if one.code == "by-hand-nothing"]) == (
        2,
        ["by-hand-nothing"],
    )


# --- split ----------------------------------------------------------------------------------------------------------


def test_a_disc_is_cut_along_a_chord(disc):
    step = Step(do="split", at=(on_disc(120), on_disc(-120)), along="straight")
    left, right = outlined(disc, step).items
    part = np.radians(120)  # of a circular segment: r^2 / 2 (a - sin a)
    segment = (RADIUS * MM) ** 2 / 2 * (part - np.sin(part))
    assert left.area_mm2 == pytest.approx(segment, rel=5e-3)
    assert right.area_mm2 == pytest.approx(np.pi * (RADIUS * MM) ** 2 - segment, rel=2e-3)
    assert left.sheet_mm[0] < right.sheet_mm[0]
    for item in (left, right):
        drawn = item.contours[0].points_px[item.contours[0].by_hand]
        assert np.abs(drawn[:, 0] - on_disc(120)[0]).max() < 0.6  # upright, between points a px apart
        assert len(item.contours[0].corners) >= 2
        assert [one for one in item.uncertainty.budget if "hand" in one.name]


@pytest.mark.parametrize("turned", [False, True])
def test_a_cut_follows_the_edge_between_two_colours_straight_where_there_is_none(touching, disc, turned):
    picture, border = touching
    assert len(outlined(picture).items) == 1
    ends = [tuple(border[0] + (9.0, 0.0)), tuple(border[1] + (9.0, 0.0))]  # beside it, on the outline
    step = Step(do="split", at=tuple(ends[::-1] if turned else ends))
    left, right = outlined(picture, step).items
    line = shapely.LineString(border)
    for item in (left, right):
        contour = item.contours[0]
        drawn = contour.points_px[contour.by_hand]
        inner = drawn[np.abs(drawn[:, 1] - 140) < 78]
        off = shapely.distance(line, shapely.points(inner))
        assert len(inner) > 150
        assert off.max() < 0.3
    straight = outlined(picture, Step(do="split", at=tuple(ends), along="straight")).items[0]
    drawn = straight.contours[0].points_px[straight.contours[0].by_hand]
    assert shapely.distance(line, shapely.points(drawn)).max() > 3
    chord = (on_disc(90), on_disc(-90))
    plain, asked = (outlined(disc, Step(do="split", at=chord, along=along)) for along in ("straight", "edge"))
    assert np.array_equal(plain.items[0].exterior_mm, asked.items[0].exterior_mm)


def test_through_places_between_and_each_part_can_be_mended_or_dropped(disc):
    bent = Step(do="split", at=(on_disc(90), (MIDDLE[0] - 30, MIDDLE[1]), on_disc(-90)), along="straight")
    left, right = outlined(disc, bent).items
    triangle = 30 * RADIUS * MM**2
    assert right.area_mm2 - left.area_mm2 == pytest.approx(2 * triangle, rel=0.01)
    (only,) = outlined(disc, bent, Step(do="drop", at=((MIDDLE[0] + 50, MIDDLE[1]),))).items
    assert only.area_mm2 == pytest.approx(left.area_mm2)
    pull = Step(do="move", at=(on_disc(0), on_disc(0, RADIUS + 4)))
    pulled = outlined(disc, bent, pull).items[1]
    assert off_disc(pulled).max() == pytest.approx(4, abs=0.3)


def test_joined_again_it_is_the_disc(disc):
    chord = Step(do="split", at=(on_disc(90), on_disc(-90)), along="straight")
    a, b = on_disc(80), on_disc(100)
    c, d = on_disc(-80), on_disc(-100)
    (item,) = outlined(disc, chord, Step(do="join", at=(a, b, c, d), along="curved")).items
    assert np.abs(off_disc(item)).max() < 0.3


@pytest.mark.parametrize(
    "at",
    [
        (on_disc(0), on_disc(0)),
        (on_disc(0), (2.0, 2.0)),
        (on_disc(10), (MIDDLE[0] + RADIUS + 30, MIDDLE[1]), on_disc(-10)),  # out of the item
    ],
)
def test_what_cannot_be_split_is_said(disc, at):
    result = outlined(disc, Step(do="split", at=at))
    assert len(result.items) == 1
    assert [one.code for one in result.findings if one.code == "by-hand-nothing"]


def test_a_cut_through_a_hole_is_none():
    picture = painted(DISC, (box(MIDDLE[0] - 12, MIDDLE[1] - 12, MIDDLE[0] + 12, MIDDLE[1] + 12), GROUND))
    result = outlined(picture, Step(do="split", at=(on_disc(90), on_disc(-90))))
    assert (len(result.items), result.findings[-1].code) == (1, "by-hand-nothing")
    for at in ((on_disc(60), on_disc(-60)), (on_disc(-60), on_disc(60))):
        left, right = outlined(picture, Step(do="split", at=at)).items
        assert (len(left.holes_mm), len(right.holes_mm)) == (1, 0)  # the hole is left of the cut


# --- in document and again ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("told", "says"),
    [
        ({"do": "join", "at": [[1, 2], [3, 4]]}, "needs 4 places, not 2"),
        ({"do": "split", "at": [[1, 2]]}, "needs 2 to 50 places"),
        ({"do": "split", "at": [[1, 2], [3, 4]], "along": "curved"}, "one of edge, straight, not curved"),
    ],
)
def test_a_step_that_cannot_be_meant_is_refused(told, says):
    with pytest.raises(UsageError, match=says):
        Step.of(told)


def test_the_document_holds_them_and_the_same_comes_out_again(glared, tmp_path):
    from PIL import Image

    picture = tmp_path / "disc.png"
    Image.fromarray(glared.pixels).save(picture)
    steps = Corrections(steps=(JOIN, Step(do="split", at=(on_disc(20), on_disc(160)), along="straight")))
    made = document_bytes(outline(picture, dpi=DPI, by_hand=steps).result)
    told = json.loads(made)
    assert told["options"]["by_hand"] == steps.plain()
    assert [one["do"] for one in steps.plain()["step"]] == ["join", "split"]
    assert len(told["items"]) == 2
    assert all(one["by_hand"] for one in told["items"])
    assert document_bytes(outline(picture, **read_document(made).result.options).result) == made
