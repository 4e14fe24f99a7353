"""The samples of the repository against the exact shapes they were drawn from."""

import json
from pathlib import Path

import numpy as np
import pytest

from digitize.document.document import document_bytes, read_document
from digitize.options import Said
from digitize.reading.picture import read_picture
from digitize.recipe.outline import outline_picture
from digitize.settings import Settings
from tests.truth.score import compare
from tests.truth.shapes import Ring, Shape

SAMPLES = Path(__file__).resolve().parents[1] / "samples"
NAMES = sorted(path.name.removesuffix(".expected.json") for path in SAMPLES.glob("*.expected.json"))
# At 600 dpi the targets are 1.5 um bias, 6 um at 95 % and 40 um at the most (tests/bench/accuracy.py); a pixel of
# these scans is up to twice as large, most are JPEG, and the case throws a shadow.
BIAS_UM, P95_UM, MOST_UM = 5.0, 12.0, 80.0


def expected(name):
    return json.loads((SAMPLES / f"{name}.expected.json").read_text())


def settings(options):
    given = dict(zip(options[::2], options[1::2], strict=True))
    assert set(given) <= {"--square", "--measured"}
    return Said(Settings, {f"{word[2:]}_mm": value for word, value in given.items()}).made()


def shape(item):
    def ring(rows):
        rows = np.array(rows)
        return Ring(rows[:, :2], rows[:, 2])

    def backwards(rows):  # the truth's holes run counter-clockwise
        back = rows[::-1]
        return [[x, y, -before[2]] for (x, y, _), before in zip(back, [*back[1:], back[0]], strict=True)]

    return Shape(ring(item["exterior"]), tuple(ring(backwards(hole)) for hole in item["holes"]), item["name"])


@pytest.fixture(scope="module", params=NAMES)
def measured(request):
    truth = expected(request.param)
    result = outline_picture(read_picture(SAMPLES / truth["picture"]), settings(truth["options"])).result
    return truth, result


def test_every_item_is_found_and_nothing_else(measured):
    truth, result = measured
    assert len(result.items) == len(truth["items"])
    assert [len(item.holes_mm) for item in result.items] == [len(item["holes"]) for item in truth["items"]]
    assert not [f for f in result.all_findings if f.attention]


def test_outlines_are_those_drawn(measured):
    truth, result = measured
    for item, true in zip(result.items, truth["items"], strict=True):
        score = compare(item.exterior_mm, item.holes_mm, shape(true))
        assert abs(score.bias_um) < BIAS_UM
        assert score.p95_um < P95_UM
        assert score.max_um < MOST_UM


def test_sizes_lie_within_what_is_stated(measured):
    truth, result = measured
    for item, true in zip(result.items, truth["items"], strict=True):
        stated = item.uncertainty.length_offset_k2_mm
        assert abs(item.width_mm - true["width_mm"]) < stated + item.uncertainty.length_per_metre_k2_mm / 10
        assert abs(item.height_mm - true["height_mm"]) < stated + item.uncertainty.length_per_metre_k2_mm / 10
        assert item.area_mm2 == pytest.approx(true["area_mm2"], abs=true["perimeter_mm"] * 0.005)
        # Taken on the dense polygon: noise lengthens it a little, corners rounded by the blur shorten it.
        assert item.perimeter_mm == pytest.approx(true["perimeter_mm"], rel=1e-3)


def test_documents_can_be_read_again(measured):
    _, result = measured
    again = read_document(document_bytes(result)).result
    assert [item.name for item in again.items] == [item.name for item in result.items]


@pytest.mark.parametrize("name", NAMES)
def test_expected_rings_close_in_on_the_expected_sizes(name):
    for item in expected(name)["items"]:
        drawn = shape(item)
        assert drawn.area == pytest.approx(item["area_mm2"], abs=1e-3)
        assert drawn.perimeter == pytest.approx(item["perimeter_mm"], abs=1e-4)
        assert drawn.bounds() == pytest.approx((0, 0, item["width_mm"], item["height_mm"]), abs=1e-4)


def test_the_package_holds_the_same_fobs():
    packaged = SAMPLES.parent / "digitize" / "data" / "fobs.jpg"
    assert packaged.read_bytes() == (SAMPLES / "fobs.jpg").read_bytes()
    assert packaged.stat().st_size < 500_000


def test_samples_stay_small():
    assert sum(path.stat().st_size for path in SAMPLES.iterdir() if path.is_file()) < 4_000_000
