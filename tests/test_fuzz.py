"""A few of the mutated pictures of tests/fuzz, those among them that once found something."""

import numpy as np
import pytest

from digitize.recipe.rings import Rings, place_rings
from digitize.records import Contour, FailedItem, frozen_array

from .fuzz.cases import case
from .fuzz.run import tried

FOUND = {
    527: "a camera's lens far off made numbers overflow",
    586: "an item with a negative area",
    8028: "a sliver drawn as two lines there and back",
}


@pytest.mark.parametrize("number", FOUND)
def test_what_was_found_stays_mended(number, tmp_path):
    came, _, wrong = tried(number, 0, tmp_path)
    assert not wrong
    assert came


def test_a_few_more(tmp_path):
    faults = [wrong for number in range(3000, 3016) if (wrong := tried(number, 1, tmp_path)[2])]
    assert not faults, faults[0]


def test_a_case_follows_from_its_number():
    assert case(7) == case(7)
    assert case(7)[0] != case(8)[0]
    assert case(7, 1)[0] != case(7, 2)[0]


def test_the_harness_sees_faults(tmp_path, monkeypatch):
    from .fuzz import run

    for outline in (lambda *_, **__: 1 / 0, lambda *_, **__: np.float64(1e300) ** 2, speak):
        monkeypatch.setattr(run, "outline", outline)
        assert "case 3 of seed 0" in tried(3, 0, tmp_path)[2]


def speak(*_, **__):
    import os

    os.write(2, b"a library speaks")
    return "outlined", 1


def ring(*points):
    points = frozen_array(points, columns=2)
    return points, Contour(points, frozen_array(np.zeros(len(points))), (), False, 1.0, 0.5)


def test_outer_ring_that_is_inside_out_is_none():
    t = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    good, contour = ring(*np.stack([5 * np.cos(t), 3 * np.sin(t)], 1))
    assert isinstance(place_rings((contour,), (good,), ((),), ()), Rings)
    assert isinstance(place_rings((contour,), (good[::-1],), ((),), ()), FailedItem)
    # an eight whose wrong loop is the larger one
    eight = np.stack([np.sin(t) * np.where(np.cos(t) > 0, 2, 6), np.sin(2 * t) * np.where(np.cos(t) > 0, 1, 3)], 1)
    assert isinstance(place_rings((contour,), (eight,), ((),), ()), FailedItem)
