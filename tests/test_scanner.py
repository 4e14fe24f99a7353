"""Scanners' profiles: adjusted from a card's corners, tone by even edges, kept, read, refused, and what they gain."""

import datetime
import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from digitize.cli.commands import app
from digitize.errors import PictureError, ScaleError, UsageError
from digitize.kept import keep
from digitize.recipe.outline import outline_picture
from digitize.recipe.scanner import make_scanner_profile
from digitize.records import CameraTag, Density
from digitize.reference.on_glass import beyond_map, scale_of_scan, scale_of_scanner
from digitize.scanner.adjust import Printed, Seen, adjust
from digitize.scanner.profile import (
    ROOM,
    read_scanner,
    scanner_bytes,
    scanner_from,
    scanner_tables,
)
from digitize.scanner.tone import Edge, reach_px, tone_of
from digitize.settings import Settings
from tests.bench.scanner import LAYOUT, laid, picture_of, places
from tests.truth.flatbed import AffineMap, save_png
from tests.truth.shapes import Shape, rectangle
from tests.truth.worn import Worn, WornMap

DPI, DAY = 300.0, datetime.date(2026, 3, 1)
MM = 25.4 / DPI
SIZE = (2551, 3508)
CARD = np.array([(-25.0, 25.0), (25.0, 25.0), (25.0, -25.0), (-25.0, -25.0)])
WORN = Worn(carriage=0.002, bend_mm=0.08, phase=1.0, tone=0.9)
AFFINE = AffineMap(np.array([(1 / MM, 0.002 / MM), (0.0, -1 / MM)]), np.array([-0.5, SIZE[1] - 0.5]))
GRID = np.stack(np.meshgrid(np.linspace(40, 175, 12), np.linspace(40, 255, 18)), -1).reshape(-1, 2)
SEES = WornMap(AFFINE, WORN)


def corners(seed, count, *, worn=WORN, stretch=(1.001, 0.998), off_mm=0.01, noise_px=0.01):
    """A card's corners in scans all over the glass, turned by a quarter and some degrees from one to the next."""
    rng = np.random.default_rng(seed)
    printed = CARD * stretch + rng.normal(0, off_mm, CARD.shape)
    found = []
    for at, angle in places(worn, count):
        a = math.radians(angle)
        placed = printed @ np.array([(math.cos(a), math.sin(a)), (-math.sin(a), math.cos(a))]) + at
        px = WornMap(AFFINE, worn).to_px(placed) + rng.normal(0, noise_px, placed.shape)
        found.append(Seen(px, np.arange(4.0), 0.002))
    return found


def adjusted(seed=3, count=8, *, stretch=(1.001, 0.998), sd=0.0002, **how):
    seen = corners(seed, count, stretch=stretch, **how)
    return adjust(seen, Printed(CARD * stretch, (sd, sd), 0.02), SIZE, (MM, MM))


def off_truth(points_mm, *, affine):
    """How far places lie off the truth, RMS in mm, after the best turn (or any affine map) onto it."""
    a, b = points_mm - points_mm.mean(axis=0), GRID - GRID.mean(axis=0)
    if affine:
        fitted = a @ np.linalg.lstsq(a, b, rcond=None)[0]
    else:
        u, _, v = np.linalg.svd(a.T @ b)
        fitted = a @ u @ v
    return float(np.sqrt(((fitted - b) ** 2).sum(axis=1).mean()))


@pytest.fixture(scope="module")
def profile():
    """A profile from corners alone."""
    made = adjusted()
    table = {
        "name": "desk",
        "on": DAY,
        "device": "Lantern Row Flat 3",
        "scans": 8,
        "measured": True,
        "dpi": [DPI, DPI],
        "size_px": list(SIZE),
        "covered_px": list(made.covered_px),
        "mm_per_px": list(made.glass.mm_per_px),
        "skew": made.glass.skew,
        "bend_x_mm": [x for x, _ in made.glass.bend_mm],
        "bend_y_mm": [y for _, y in made.glass.bend_mm],
        "curve": [round(n / 16, 4) for n in range(17)],
        "tone": 1.1,
        "tone_sd": 0.01,
        "size_sd_part": made.size_sd_part,
        "axes_sd_part": made.axes_sd_part,
        "bend_sd_mm": made.bend_sd_mm,
        "rest_mm": made.rest_mm,
    }
    return scanner_from(table, "a test")


# --- the map ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(3))
def test_the_map_takes_away_what_no_affine_map_does(seed):
    made = adjusted(seed)
    px = SEES.to_px(GRID)
    without = off_truth(AFFINE.to_mm(px), affine=True)
    with_it = off_truth(made.glass.to_mm(px), affine=False)
    assert without > 0.015
    assert with_it < 0.8 * without
    assert with_it < 3 * math.sqrt(2) * made.bend_sd_mm


def test_axes_are_told_though_the_card_is_not_square():
    """No calipers: the print is taken as drawn and is not; sizes are as unsure as print, the axes' ratio is not."""
    made = adjust(corners(3, 8), Printed(CARD, (0.003, 0.003), 0.02), SIZE, (MM, MM))
    left, right, low, high = made.glass.to_mm(SEES.to_px([(40, 150), (175, 150), (108, 40), (108, 255)]))
    assert (math.dist(left, right) / 135) / (math.dist(low, high) / 215) == pytest.approx(1, abs=0.0005)
    assert made.axes_sd_part < 0.0003
    assert made.size_sd_part == pytest.approx(0.003 / math.sqrt(2), rel=0.05)


def test_from_pixels_to_the_glass_and_back():
    glass = adjusted().glass
    px = np.random.default_rng(1).uniform((0, 0), SIZE, (200, 2))
    assert glass.to_px(glass.to_mm(px)) == pytest.approx(px, abs=1e-6)
    assert glass.to_mm(px[:0]).shape == (0, 2)


def test_a_few_places_tell_little():
    assert adjusted(count=4).bend_sd_mm > 1.5 * adjusted(count=8).bend_sd_mm


# --- the tone --------------------------------------------------------------------------------------------------


def blurred_edge(power, angle_deg, seed, *, blur_px=0.9, noise=0.003):
    """Light to a power across a slanted edge, dark 0.04 and light 0.88."""
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[0:250, -14:15].astype(float)
    a = math.radians(angle_deg)
    off = (x * math.cos(a) - (y - 125) * math.sin(a)).ravel() + 0.3
    off = off[np.abs(off) < reach_px()]
    step = 0.5 * (1 + np.vectorize(math.erf)(off / blur_px / math.sqrt(2)))
    return Edge(off - 0.2, np.maximum((0.04 + 0.84 * step) ** power + rng.normal(0, noise, len(off)), 0.0))


@pytest.mark.parametrize("power", [0.8, 1.0, 1.25])
def test_edges_tell_how_codes_follow_the_light(power):
    edges = [blurred_edge(power, angle, 7 * angle) for angle in (2, 3, 5, 7, 11)]
    tone, sd = tone_of(edges)
    assert tone == pytest.approx(1 / power, rel=0.06)
    assert abs(tone * power - 1) < 3 * sd < 0.2


def test_an_edge_along_the_pixels_tells_nothing():
    with pytest.raises(ValueError, match="at least one edge that"):
        tone_of([blurred_edge(1.0, 0.0, 1)])


# --- kept ------------------------------------------------------------------------------------------------------


@pytest.fixture
def settings_folder(tmp_path, monkeypatch):
    monkeypatch.setenv("DIGITIZE_SETTINGS", str(tmp_path / "settings"))
    return tmp_path / "settings"


def test_a_profile_is_kept_and_read_again(profile, settings_folder):
    path = keep(ROOM, "desk", scanner_bytes(profile))
    assert path == settings_folder / "scanners" / "desk.toml"
    assert read_scanner("desk") == profile
    assert scanner_from(scanner_tables(profile), "x") == profile
    assert Settings.of(Settings(scanner="desk").given()).scanner == profile  # as a document tells it


def test_an_old_one_is_said(profile):
    assert len(profile.lines(DAY + datetime.timedelta(days=365))) == 1
    assert "366 days ago" in profile.lines(DAY + datetime.timedelta(days=366))[1]
    assert "8 scans on 2026-03-01" in profile.lines(DAY)[0]


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"tone": None}, "tone"),
        ({"tone": 9.0}, "tone = 9.0"),
        ({"bend_x_mm": [0.0]}, "bend_x_mm has not"),
        ({"on": "yesterday"}, "isoformat"),
        ({"size_px": [True, 3]}, "size_px"),
    ],
)
def test_a_damaged_one_is_refused(profile, change, said):
    tables = {key: value for key, value in {**scanner_tables(profile), **change}.items() if value is not None}
    with pytest.raises(UsageError, match=said):
        scanner_from(tables, "a file")


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ({"scanner": "attic"}, "no profile is kept under that name"),
        ({"scanner": "../desk"}, "expected the name"),
        ({"scanner": " "}, "expected the name"),
        ({"scanner": 3}, "expected the name"),
    ],
)
def test_a_name_that_is_none_is_refused(settings_folder, said, words):
    with pytest.raises(UsageError, match=words):
        Settings(**said)


def test_what_contradicts_is_refused(profile):
    with pytest.raises(UsageError, match="for scans"):
        Settings(scanner=profile, item_height_mm=3)
    with pytest.raises(UsageError, match="give one of them"):
        Settings(scanner=profile, dpi=300)


def scan_of(profile, **changes):
    from digitize.records import Picture

    table = np.repeat(np.linspace(0, 1, 256, dtype=np.float32)[:, None], 3, axis=1)
    pixels = np.zeros((SIZE[1], SIZE[0], 1), np.uint8)
    picture = Picture("a.png", "0" * 64, pixels, table, Density(DPI / 25.4, DPI / 25.4, "PNG pHYs"))
    return replace(picture, **changes)


def test_a_scan_gets_its_scanners_tone(profile):
    table = profile.seen(scan_of(profile)).to_linear
    assert table[128, 0] == pytest.approx((128 / 255) ** 1.1, abs=1e-5)
    assert profile.seen(scan_of(profile)).curve_stated


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"density": Density(23.6, 23.6, "PNG pHYs")}, "for 300 dpi"),
        ({"pixels": np.zeros((3508, 2550, 1), np.uint8)}, "2551 x 3508 px, this picture has 2550"),
        (
            {"camera": CameraTag("Lantern Row", "Flat 4")},
            "of a Lantern Row Flat 3, this picture of a Lantern Row Flat 4",
        ),
        ({"to_linear": np.repeat((np.linspace(0, 1, 256) ** 2.2)[:, None], 3, axis=1)}, "another colour profile"),
    ],
)
def test_another_way_of_scanning_is_refused(profile, changes, words):
    with pytest.raises(UsageError, match=words):
        profile.seen(scan_of(profile, **changes))


# --- the reference on the glass --------------------------------------------------------------------------------


def reference(profile, at=(60.0, 70.0), *, stretch=(1.0, 1.0), measured=True):
    px = SEES.to_px(CARD * stretch + at)
    facts = {"side_mm": 54.0, "point_sd_px": 0.01, "caliper_sd_mm": 0.01, "shown_corners_px": px}
    return scale_of_scan(profile, px, CARD, reference="a card", measured=measured, **facts)


def test_a_reference_gives_one_size_on_the_map(profile):
    estimate = reference(profile)
    assert not estimate.findings
    own = {one.name: one for one in estimate.budget}
    assert own["card reading"].length_per_mm == pytest.approx(0.01 / 54 / math.sqrt(2))  # the mean of two readings
    assert own["scanner map"].profile_mm > 0
    places_mm = estimate.scale.to_mm(SEES.to_px(GRID))
    assert off_truth(places_mm, affine=False) < 0.02
    assert estimate.scale.to_px(places_mm) == pytest.approx(SEES.to_px(GRID), abs=1e-6)
    assert "a card on scanner desk of 2026-03-01" in estimate.facts.reference


def test_a_map_s_bend_and_what_it_leaves_are_independent(profile):
    of_map = replace(profile, bend_sd_mm=0.003, rest_mm=0.004)
    own = {one.name: one for one in reference(of_map).budget}
    assert own["scanner map"].profile_mm == pytest.approx(0.005)


def test_what_a_profile_knows_of_size_and_axes_is_in_every_length(profile):
    """A size off by 1 part in 1,000 makes a length so; of axes apart by 2, each is off by 1 (JCGM 100, 5.1.2)."""
    of_sizes = replace(profile, size_sd_part=0.001, axes_sd_part=0.002)
    own = {one.name: one for one in reference(of_sizes, measured=False).budget}
    assert own["scanner size"].length_per_mm == pytest.approx(0.001)
    assert own["scanner axes"].length_per_mm == pytest.approx(0.001)


def test_a_card_that_was_not_measured_takes_the_scanners_size(profile):
    estimate = reference(profile, stretch=(1.002, 1.002), measured=False)
    assert estimate.scale.matrix.tolist() == [[1, 0], [0, 1]]
    assert {one.name for one in estimate.budget} >= {"scanner size", "scanner map", "tone curve", "scanner axes"}


@pytest.mark.parametrize(("stretch", "what"), [((1.0, 1.004), "one axis"), ((1.004, 1.004), "sizes")])
def test_a_scanner_that_changed_is_said_and_the_reference_followed(profile, stretch, what):
    estimate = reference(profile, stretch=stretch)
    (finding,) = estimate.findings
    assert finding.code == "scanner-changed"
    assert what in finding.message
    assert finding.attention
    corners_mm = estimate.scale.to_mm(SEES.to_px(CARD * stretch + (60.0, 70.0)))
    sides = np.linalg.norm(np.roll(corners_mm, -1, axis=0) - corners_mm, axis=1)
    assert sides == pytest.approx([50] * 4, abs=0.01)


def test_a_scan_without_a_reference_rests_on_the_profile(profile):
    estimate = scale_of_scanner(profile)
    assert [one.code for one in estimate.findings] == ["scale-from-scanner"]
    assert off_truth(estimate.scale.to_mm(SEES.to_px(GRID)), affine=False) < 0.05
    assert estimate.facts.measured


def test_an_item_beyond_the_map_is_said(profile):
    assert beyond_map(None, GRID) == ()
    assert beyond_map(profile, SEES.to_px(GRID)) == ()
    (finding,) = beyond_map(profile, np.array([(-200.0, 100.0), (300.0, 300.0)]))
    assert finding.code == "beyond-scanner-map"
    assert finding.place_px == (-200.0, 100.0)


# --- from scans ------------------------------------------------------------------------------------------------

SMALL = Worn(carriage=-0.003, bend_mm=0.08, phase=2.0, tone=0.85, glass_mm=(150.0, 200.0))
STRETCH = (1.001, 0.9985)
READING = (54.0 * STRETCH[0], 54.0 * STRETCH[1])


@pytest.fixture(scope="module")
def scans():
    """Scans of the card at 100 dpi, and one of it beside an item."""
    found = [
        picture_of(laid(SMALL, 100, at, angle, STRETCH, n), f"{n}.png")
        for n, (at, angle) in enumerate(places(SMALL, 6))
    ]
    scene = laid(SMALL, 100, (43.0, 60.0), 2.0, STRETCH, 77)
    truth = scene.add_item(Shape(rectangle(40, 60, 3)), (110, 140), 5.0, (0.06,) * 3)
    return [picture for picture, _ in found], scene.render(), truth


@pytest.fixture(scope="module")
def from_scans(scans):
    return make_scanner_profile(scans[0], "desk", today=DAY, measured_mm=READING, caliper_sd_mm=0.005)


def test_scans_of_a_card_make_a_profile_that_gains(scans, from_scans, tmp_path, monkeypatch):
    from digitize.reading.picture import read_picture

    monkeypatch.setenv("DIGITIZE_SETTINGS", str(tmp_path))
    keep(ROOM, "desk", scanner_bytes(from_scans))
    _, rendered, _ = scans
    save_png(tmp_path / "tag.png", rendered)
    picture = read_picture(tmp_path / "tag.png")
    errors = {}
    for name in (None, "desk"):
        (item,) = outline_picture(picture, Settings(measured_mm=READING, scanner=name)).result.items
        errors[name] = np.abs([item.calipers.width_mm - 40, item.calipers.length_mm - 60])
    assert errors["desk"].max() < 0.02
    assert errors["desk"].max() < 0.5 * errors[None].max()
    assert from_scans.tone == pytest.approx(1 / 0.85, rel=0.06)


def test_the_command_keeps_it_says_so_and_it_is_taken_by_name(scans, from_scans, tmp_path, monkeypatch):
    monkeypatch.setenv("DIGITIZE_SETTINGS", str(tmp_path / "settings"))
    monkeypatch.chdir(tmp_path)
    pictures, rendered = scans[:2]
    monkeypatch.setattr("digitize.reading.picture.read_picture", lambda path, **_: pictures[int(Path(path).stem)])
    asked = {}
    monkeypatch.setattr(
        "digitize.recipe.scanner.make_scanner_profile", lambda *_, **how: asked.update(how) or from_scans
    )
    run = CliRunner().invoke
    usual = 'format = "digitize-workshop"\nversion = 1\nclearance = 0.2\npaper = "letter"\ncaliper-error = 0.01\n'
    (tmp_path / "digitize.toml").write_text(usual)
    done = run(
        app, ["profile", "scanner", "desk", *(f"{n}.png" for n in range(6)), "--measured", f"{READING[0]}x{READING[1]}"]
    )
    assert done.exit_code == 0, done.output
    assert "scanner desk: 6 scans on" in done.output
    assert "bent by up to" in done.output
    assert "from digitize.toml: caliper-error 0.01\n" in done.output  # and not what this command has no use for
    assert asked["caliper_sd_mm"] == 0.005
    assert asked["measured_mm"] == pytest.approx(READING)
    assert asked["today"] == datetime.date.today()
    monkeypatch.undo()
    monkeypatch.setenv("DIGITIZE_SETTINGS", str(tmp_path / "settings"))
    save_png(tmp_path / "tag.png", rendered)
    words = ["outline", tmp_path / "tag.png", "--scanner", "desk", "--to", tmp_path / "out", "--format", "json"]
    done = run(app, list(map(str, words)))
    assert done.exit_code == 0, done.output
    assert "scanner desk: 6 scans on" in done.output
    document = json.loads((tmp_path / "out" / "tag.json").read_text())
    assert document["options"]["scanner"]["on"] == "2026-03-01"
    assert "scanner desk of" in document["scale"]["reference"]
    assert "scanner desk" in run(app, ["profile", "scanner"]).output


@pytest.mark.parametrize(
    ("change", "error", "words"),
    [
        (lambda found: found[:3], PictureError, "at least 4 scans"),
        (
            lambda found: [*found, replace(found[0], pixels=found[0].pixels[:-1], sha256="1")],
            PictureError,
            "different sizes",
        ),
        (lambda found: [*found, found[0]], PictureError, "given twice"),
        (
            lambda found: [*found[:-1], replace(found[-1], density=Density(1, 1, "PNG pHYs"))],
            PictureError,
            "different densities",
        ),
        (
            lambda found: [*found[:-1], replace(found[-1], camera=CameraTag("Lantern Row", "Flat 4"))],
            PictureError,
            "different scanners",
        ),
        (
            lambda found: [*found[:-1], replace(found[-1], pixels=np.full_like(found[-1].pixels, 200))],
            ScaleError,
            "no ring card was recognised",
        ),
    ],
)
def test_scans_that_do_not_fit_together_are_refused(scans, change, error, words):
    with pytest.raises(error, match=words):
        make_scanner_profile(change(list(scans[0])), "desk", today=DAY, measured_mm=READING, caliper_sd_mm=0.01)


def test_the_cards_own_print_is_drawn_in_these_tests():
    assert LAYOUT.rings[0].outer_mm == 54
