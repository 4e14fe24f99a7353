"""An ordinary folder needs nobody: its shades are lines of the stated figure, and the figure holds.

Scans and their exact truth come from `tests/truth/lid_cases.py`.
"""

from functools import cache

import numpy as np
import pytest

from digitize.reading.picture import read_picture
from digitize.recipe.outline import outline_picture
from digitize.settings import Settings
from digitize.words.gather import said_of
from digitize.words.say import SURE_MM
from tests.truth.lid_cases import ordinary_folder
from tests.truth.score import compare


@cache
def measured(strength, number, folder):
    (scene,) = ordinary_folder(1, strength=strength, first=number)
    picture = read_picture(scene.save(folder / f"{strength}-{number}"))
    return scene, outline_picture(picture, Settings(square_mm=(scene.square_mm,) * 2, tolerance_mm=0.3)).result


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("folder")


def shade_mm(item):
    return 2 * sum(line.profile_mm for line in item.uncertainty.budget if line.name == "shade")


@pytest.mark.parametrize(("strength", "number"), [(0.12, 0), (0.12, 12), (0.3, 1), (0.3, 20)])
def test_a_shade_is_bounded_by_the_figure_and_a_faint_one_needs_nobody(folder, strength, number):
    scene, result = measured(strength, number, folder)
    assert len(result.items) == len(scene.shapes)
    for item in result.items:
        alike = [shape for shape in scene.shapes if len(shape.holes) == len(item.holes_mm)]
        scores = [compare(item.exterior_mm, item.holes_mm, shape, any_turn=True) for shape in alike]
        found = min(scores, key=lambda score: score.rms_um)
        assert found.p95_um < 1000 * item.uncertainty.profile_k2_mm
        assert shade_mm(item) > 0
    if strength == 0.12:
        assert [said.message for said in said_of(result) if said.attention] == []
    flagged = [said.value for said in said_of(result) if said.code == "shadow-suspected"]
    assert all(value > SURE_MM for value in flagged)


def test_without_a_shade_there_is_no_line_of_it(folder):
    _, result = measured(0.0, 0, folder)
    assert all(shade_mm(item) < 0.004 for item in result.items)
    assert np.isfinite([item.uncertainty.profile_k2_mm for item in result.items]).all()
