"""Of an item across the edge of a paper: what is as light as that paper is none of the item; its own pale part is."""

import numpy as np
import pytest

from digitize.silhouette.paper import with_paper_said, without_paper
from digitize.silhouette.parts import Part
from digitize.silhouette.regions import Region

LID, PAPER, ITEM = 0.80, 0.68, 0.07  # linear light
PIXEL_MM = 0.17
U, BAY = np.s_[100:320, 170:330], np.s_[150:270, 170:260]  # a U on its side, and between its arms


def seen(bay=PAPER, *, paper=np.s_[:, 170:420], slope=0.0):
    """What is left to be item with the bay taken for a part of it, the light, and how far that is from the lid's."""
    light = np.full((420, 460), LID)
    slanted = PAPER * (1.0 + slope * np.linspace(-0.5, 0.5, 420)[:, None] * np.ones(460))
    light[paper] = slanted[paper]
    light[U] = ITEM
    light[BAY] = bay
    light += np.random.default_rng(4).normal(0, 0.003, light.shape)
    differs = np.zeros(light.shape, bool)
    differs[U] = True
    return (
        differs,
        np.repeat(light[..., None], 3, axis=2).astype(np.float32),
        ((LID - light) / 0.013).astype(np.float32),
    )


def left(*case, **kwargs):
    differs, light, departure = seen(*case, **kwargs)
    return without_paper(differs, light, departure, pixel_mm=PIXEL_MM, dust_mm=1.0)


def test_paper_in_a_bay_is_none_of_the_item_and_said():
    found = left()
    own = np.zeros(found.shape, bool)
    own[U] = True
    own[BAY] = False
    assert np.count_nonzero(found ^ own) < 0.01 * np.count_nonzero(own)
    part = Part(1, (170, 100, 160, 220), 1, False, ())
    (region,) = with_paper_said([_region()], part, found.astype(np.int32), seen()[0] & ~found, PIXEL_MM)
    (said,) = region.findings
    assert (said.code, said.attention) == ("paper-at-edge", True)
    assert said.value == pytest.approx(120 * 90 * PIXEL_MM**2, rel=0.03)
    elsewhere = np.zeros_like(found)
    elsewhere[:20, :20] = True
    assert with_paper_said([_region()], part, found.astype(np.int32), elsewhere, PIXEL_MM)[0].findings == ()


def _region():
    chain = np.array([(170, 100), (329, 100), (329, 319), (170, 319)])
    return Region((chain,), np.ones((220, 160), np.uint8), (170, 100), (170, 100, 330, 320))


@pytest.mark.parametrize(
    "case",
    [
        {"bay": 0.95 * PAPER},  # another light
        {"bay": 1.05 * PAPER},
        {"paper": np.s_[40:380, 170:420]},  # a sheet that ends within the picture
        {"slope": 0.25},  # as uneven as a shade
    ],
    ids=["darker", "lighter", "a whole sheet", "a shade"],
)
def test_what_may_be_the_items_own_stays(case):
    assert left(**case)[U].all()
