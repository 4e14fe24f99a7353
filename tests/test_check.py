"""An outline held against calipers: verdicts, likely causes, and one outline laid on another."""

import json
import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation
from typer.testing import CliRunner

from digitize.cli.commands import app
from digitize.document.document import document_bytes
from digitize.records import Calipers
from digitize.trust.align import align, signed_distances
from digitize.trust.apart import apart
from digitize.trust.causes import Setting, likely_cause
from digitize.trust.readings import Compared, Size, compare, sizes_of, worst
from tests.made import circle_ring, rounded_ring, tag
from tests.made import result as made_result
from tests.sweeps import tried

# An invented tag: true sizes, and what of them each mistake leaves.
TRUE = {"length": 65.0, "width": 34.0, "box width": 64.0, "box height": 40.0, "hole 1": 4.5}
ALONG = {"length": "", "width": "", "box width": "x", "box height": "y", "hole 1": ""}


def result_of():
    return made_result(tag())


def told(sizes, *, k2=0.03, setting=None, readings=TRUE):
    """The cause found where the outline has these sizes and calipers read the true ones."""
    compared = [
        Compared(name, Size(mm, k2, ALONG[name], -1.0 if name.startswith("hole") else 1.0), readings[name], 0.04)
        for name, mm in sizes.items()
    ]
    found = likely_cause(compared, setting or Setting())
    return None if found is None else found.code


def scaled(factor, *names):
    return {name: mm * factor if not names or name in names else mm for name, mm in TRUE.items()}


def grown(by):
    return {name: mm - by if name.startswith("hole") else mm + by for name, mm in TRUE.items()}


@pytest.mark.parametrize(
    ("off", "verdict"),
    [(0.0, "agree"), (0.049, "agree"), (0.051, "doubtful"), (0.069, "doubtful"), (0.071, "disagree")],
)
@pytest.mark.parametrize("sign", [1, -1])
def test_verdicts_weigh_both_uncertainties(off, sign, verdict):
    """0.03 and 0.04 mm: 0.05 as root sum of squares (JCGM 100, 5.1.2), 0.07 one after the other (ISO 14253-1)."""
    assert Compared("length", Size(40.0, 0.03), 40.0 - sign * off, 0.04).verdict == verdict


@pytest.mark.parametrize(
    ("sizes", "setting", "code"),
    [
        # ratios of printers' "fit to page" for A4 and Letter, of dots per inch taken for others, of inches: common
        # practice, no source
        (scaled(1 / 0.9727), Setting(), "check-fit-to-page"),
        (scaled(1 / 0.9407), Setting(), "check-fit-to-page"),
        (scaled(96 / 72), Setting(), "check-density"),
        (scaled(96 / 90), Setting(), "check-density"),
        (scaled(72 / 300), Setting(), "check-density"),
        (scaled(96 / 300), Setting(), "check-density"),
        (scaled(25.4), Setting(), "check-inch"),
        (scaled(10.0), Setting(), "check-tenfold"),  # cm, or a point that slipped
        (scaled(0.1), Setting(), "check-tenfold"),
        ({**TRUE, "length": TRUE["width"], "width": TRUE["length"]}, Setting(), "check-exchanged"),
        ({"length": TRUE["width"], "width": TRUE["length"] + 0.3}, Setting(), "check-unexplained"),
        (scaled(1.012, "box height"), Setting(), "check-one-axis"),
        (scaled(0.985, "box width"), Setting(), "check-one-axis"),
        (scaled(1.0135), Setting(of_photo=True, item_height_mm=0.0), "check-height"),  # 3 mm high at 225 mm
        (scaled(1.012), Setting(), "check-scale"),
        (scaled(0.99), Setting(of_photo=True), "check-scale"),  # nothing lies lower than the card
        (scaled(0.9869), Setting(of_photo=True, item_height_mm=3.0), "check-height"),  # flat, said 3 mm high at 229 mm
        (scaled(0.965), Setting(of_photo=True, item_height_mm=3.0), "check-scale"),  # flat at 86 mm: too near
        ({"length": 65.3}, Setting(kerf_mm=0.3), "check-unexplained"),  # nor a kerf, nor all round
        ({"length": 65.0 / 0.9727}, Setting(), "check-fit-to-page"),
        (grown(0.2), Setting(), "check-too-large"),
        (grown(-0.2), Setting(), "check-too-small"),
        (grown(0.2), Setting(kerf_mm=0.18), "check-kerf"),
        (grown(-0.17), Setting(kerf_mm=0.18), "check-kerf"),
        ({**TRUE, "length": 65.3}, Setting(), "check-one-reading"),
        ({**TRUE, "length": 65.3, "hole 1": 4.9}, Setting(), "check-unexplained"),
        ({**TRUE, "length": 65.02}, Setting(), None),
    ],
)
def test_the_cause_of_a_mistake_is_named(sizes, setting, code):
    assert told(sizes, setting=setting) == code


@given(st.integers(0, 10**6), st.sampled_from([(1 / 0.9727, "check-fit-to-page"), (96 / 72, "check-density")]))
@settings(max_examples=60, deadline=None)
def test_the_cause_is_named_in_spite_of_ordinary_errors(seed, mistake):
    rng, (factor, code) = np.random.default_rng(seed), mistake
    readings = {name: mm + rng.normal(0, 0.01) for name, mm in TRUE.items()}
    sizes = {name: mm * factor + rng.normal(0, 0.007) for name, mm in TRUE.items()}
    assert told(sizes, readings=readings) == code


def test_a_cause_says_its_figure_and_a_next_step():
    compared = [Compared("length", Size(66.82, 0.03), 65.0, 0.04), Compared("width", Size(34.953, 0.03), 34.0, 0.04)]
    message = likely_cause(compared, Setting()).message
    assert "1.0280" in message
    assert "97.27 %" in message


def test_sizes_of_a_made_item():
    """The tag of `tests.made` is 60 x 40 mm with a round hole; its calipers read it along its box."""
    item = with_calipers(result_of().items[0])
    sizes = sizes_of(item)
    assert (sizes["box width"].mm, sizes["box height"].mm) == (item.width_mm, item.height_mm)
    assert (sizes["length"].along, sizes["width"].along) == ("x", "y")
    number, hole = next((n, one) for n, one in enumerate(item.hole_paths, 1) if hasattr(one, "radius_mm"))
    assert sizes[f"hole {number}"].mm == 2 * hole.radius_mm
    # offset 0.024 and 0.3 per metre, k = 2: hypot(0.024, 0.018) at 60 mm
    assert sizes["box width"].k2_mm == pytest.approx(math.hypot(0.024, 0.3 * item.width_mm / 1000))


def test_compare_and_the_worst():
    item = with_calipers(result_of().items[0])
    good = compare(item, {"box width": item.width_mm + 0.01})
    bad = compare(item, {"box width": item.width_mm + 0.01, "box height": item.height_mm + 0.2})
    assert (worst(good), worst(bad)) == ("agree", "disagree")


def with_calipers(item):
    return replace(item, calipers=Calipers(item.width_mm, item.height_mm, 0.0, 0.03, 0.03))


# --- one ring on another -------------------------------------------------------------------------------------------


def blob(seed=3, count=2400):
    rng = np.random.default_rng(seed)
    turn = np.linspace(0, math.tau, count, endpoint=False)
    radius = 20 + sum(rng.uniform(0.3, 1.5) * np.cos(k * turn + rng.uniform(0, 6)) for k in (2, 3, 5))
    return np.column_stack([radius * np.cos(turn), radius * np.sin(turn)])


def carried(ring, degrees, shift, *, over=False):
    """Turn and move a ring by another library; turned over it runs backwards, so it is reversed."""
    points = np.column_stack([ring * ((-1, 1) if over else (1, 1)), np.zeros(len(ring))])
    moved = Rotation.from_euler("z", degrees, degrees=True).apply(points)[:, :2] + shift
    return moved[::-1] if over else moved


@given(st.floats(-179, 179), st.integers(0, 2399), st.booleans())
@pytest.mark.sweep
@settings(max_examples=tried(12, of=25), deadline=None)
def test_a_ring_is_laid_back_where_it_came_from(degrees, start, over):
    ring = blob()
    moving = np.roll(carried(ring, degrees, (12.0, -5.0), over=over), start, axis=0)
    placed = align(ring, moving, over=over)
    assert placed.rms_mm < 1e-4
    back = placed.moved(moving)
    assert np.abs(signed_distances(ring, back)).max() < 1e-3
    turned = math.degrees(placed.turn_rad) + (-degrees if over else degrees)
    assert (turned + 180) % 360 - 180 == pytest.approx(0, abs=0.01)


@pytest.mark.parametrize("degrees", [-3.0, 2.0, 40.0])
def test_a_symmetric_ring_takes_the_least_turn(degrees):
    square = rounded_ring(40, 40, 4)
    placed = align(square, carried(square, degrees, (3, 1)))
    assert math.degrees(placed.turn_rad) == pytest.approx(-degrees, abs=1e-3)


def test_a_nearly_symmetric_ring_is_not_laid_on_the_wrong_way_round():
    """One corner of a plate is cut by 0.15 mm only: all four turns nearly fit, one does."""
    plate = np.array([(0, 0), (40, 0), (40, 40), (1, 40), (0, 39.0)])
    dense = shapely.get_coordinates(shapely.segmentize(shapely.linearrings(plate), 0.1))[:-1]
    placed = align(dense, carried(dense, 90.0, (5, 5)))
    assert math.degrees(placed.turn_rad) == pytest.approx(-90, abs=0.01)
    assert placed.rms_mm < 1e-4


def test_how_far_two_outlines_lie_apart():
    """Discs of radius 20 and 20.05: everywhere 0.05 mm apart, the second outside."""
    first, second = (disc(radius) for radius in (20.0, 20.05))
    found = apart(first, second)
    assert found.mean_mm == pytest.approx(0.05, abs=1e-3)
    assert found.rms_mm == pytest.approx(0.05, abs=1e-3)
    assert found.near_mm == pytest.approx(0.05, abs=1e-3)
    assert found.off_mm.min() == pytest.approx(0.05, abs=2e-3)


def disc(radius):
    made = result_of().items[0]
    ring = circle_ring(radius, radius, radius, count=4000)
    return replace(
        made, exterior_mm=ring, holes_mm=(), hole_paths=(), width_mm=2 * radius, height_mm=2 * radius, area_mm2=1.0
    )


# --- the command ---------------------------------------------------------------------------------------------------


@pytest.fixture
def document(tmp_path):
    result = result_of()
    result = replace(result, items=tuple(with_calipers(item) for item in result.items))
    path = tmp_path / "tag.json"
    path.write_bytes(document_bytes(result))
    return path, result


def run(*words):
    return CliRunner().invoke(app, ["check", *map(str, words)])


def test_command_agrees(document):
    path, result = document
    item = result.items[0]
    done = run(path, "--item", item.name, "--length", f"{item.width_mm:.2f}".replace(".", ","), "--json")
    assert done.exit_code == 0
    found = json.loads(done.stdout)
    assert (found["verdict"], found["cause"]) == ("agree", None)
    assert found["readings"][0]["read_mm"] == pytest.approx(item.width_mm, abs=0.005)


def test_a_holes_number_and_diameter_may_be_two_words(document):
    path, _ = document
    one, two = (run(path, "--item", "1", *words) for words in (("--hole", "1=4,02"), ("--hole", "1", "4,02")))
    assert (two.exit_code, two.output) == (one.exit_code, one.output)
    assert "4.020" in two.output
    assert "hole's number" in run(path, "--item", "1", "--hole", "1").output


def test_command_disagrees_with_exit_code_1(document):
    path, result = document
    item = result.items[0]
    done = run(path, "--item", "1", "--length", item.width_mm * 0.9727, "--width", item.height_mm * 0.9727)
    assert done.exit_code == 1
    assert "97.27 %" in done.output


def test_a_caliper_error_makes_doubt_of_it(document):
    path, result = document
    words = (path, "--item", "1", "--box-width", result.items[0].width_mm + 0.1)
    assert run(*words).exit_code == 1
    assert run(*words, "--caliper-error", 0.2).exit_code == 0


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ((), "No reading was given"),
        (("--hole", "0=4"), "hole's number"),
        (("--hole", "99=4"), "it has 1 hole"),
        (("--hole", "1=4", "--hole", "1=5"), "twice"),
        (("--length", "minus"), "expected a number"),
        (("--length", "-3"), "0.1 to 5000"),
        (("--item", "nobody", "--length", "3"), "no item nobody"),
        (("--turned-over", "--length", "3"), "second document"),
    ],
)
def test_what_cannot_be_meant_is_refused(document, words, said):
    done = run(document[0], *(() if "--item" in words else ("--item", "1")), *words)
    assert done.exit_code == 2
    assert said in done.output


def test_what_is_no_outline_is_refused(tmp_path):
    (tmp_path / "other.json").write_text("{}")
    assert run(tmp_path / "other.json", "--length", 3).exit_code == 3
    assert run(tmp_path / "none.json", "--length", 3).exit_code == 2


def test_two_documents_are_compared_and_drawn(document, tmp_path):
    path, _ = document
    done = run(path, path, "--item", "1", "--other-item", "1", "--to", tmp_path / "d.svg", "--json")
    assert done.exit_code == 0, done.output
    assert json.loads(done.stdout)["most_mm"] < 1e-3
    svgelements = pytest.importorskip("svgelements")
    drawn = svgelements.SVG.parse(tmp_path / "d.svg")
    assert sum(isinstance(one, svgelements.Polyline) for one in drawn.elements()) > 100
