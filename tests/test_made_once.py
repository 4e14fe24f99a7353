"""What tests take as made before is what would be made anew (`tests/made_once.py`)."""

import re
from dataclasses import replace

import numpy as np
import pytest

from digitize.document.document import document_bytes
from digitize.errors import OutlineError
from digitize.recipe.outline import outline_picture
from digitize.settings import Settings
from tests import made_once
from tests.rendered import as_picture, circle_px, drawn

DPI = 100.0
FILES = ("one.png", "1" * 64), ("one.png", "2" * 64), ("two.v2.png", "3" * 64)
CUT = Settings.of({"dpi": DPI, "cut": "laser", "web_mm": 30, "tolerance_mm": 0.2})  # no web between them is as wide


@pytest.fixture
def earnest(monkeypatch):
    """What is outlined in earnest."""
    found = []

    def outline(*given, **named):
        found.append(given)
        return outline_picture(*given, **named)

    monkeypatch.setattr(made_once, "_made", {})
    monkeypatch.setattr(made_once, "_outline", outline)
    return found


def discs(*places):
    picture = drawn([circle_px(places[0], 40)], (120, 260))
    pixels = np.minimum.reduce([drawn([circle_px(place, 40)], (120, 260)).pixels for place in places])
    return replace(picture, pixels=pixels)


def same(one, other):
    return document_bytes(one.result) == document_bytes(other.result)


def test_the_same_picture_of_another_file_is_as_made_anew(earnest):
    picture = discs((60, 60))
    for name, sha256 in FILES:
        made = made_once.outline_picture(replace(picture, name=name, sha256=sha256), CUT)
    assert len(earnest) == 1
    assert same(made, outline_picture(replace(picture, name=name, sha256=sha256), CUT))


def test_what_tells_items_by_name_is_made_for_each_file_once(earnest):
    picture = discs((60, 60), (170, 60))
    for name, sha256 in (*FILES[1:], *FILES[1:]):
        file = replace(picture, name=name, sha256=sha256)
        made = made_once.outline_picture(file, CUT)
        said = [one.message for one in made.result.all_findings]
        assert any(re.search(rf"\b{re.escape(name[:-4])}-[12]\b", one) for one in said), said
    assert len(earnest) == 2


def test_other_pixels_curves_densities_and_settings_are_others(earnest):
    picture = discs((60, 60))
    pixels = picture.pixels.copy()
    pixels[0, 0] -= 1
    others = (
        replace(picture, pixels=pixels),
        replace(picture, to_linear=picture.to_linear * np.float32(0.999)),
        as_picture(picture.pixels, dpi=DPI),
    )
    for one in (picture, *others):
        made_once.outline_picture(one, CUT)
    made_once.outline_picture(picture, Settings.of({"dpi": DPI}))
    assert len(earnest) == 5


def test_what_is_refused_is_refused_again(earnest):
    empty = as_picture(np.full((100, 100, 3), 230, np.uint8))
    for name, sha256 in FILES:
        with pytest.raises(OutlineError, match="No item was found"):
            made_once.outline_picture(replace(empty, name=name, sha256=sha256), CUT)
    assert len(earnest) == 1
