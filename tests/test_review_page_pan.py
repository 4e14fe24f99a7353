"""The picture moved in a real browser: what is fetched and what is drawn anew for it, whatever the machine's speed."""

import collections

import pytest

from digitize.review.tiles import TILE
from tests.in_browser import CHROMIUM, opened_by_square, seen_at

pytestmark = pytest.mark.open_data(CHROMIUM)
WATCH = """() => {
    window.changes = [];
    const watch = new MutationObserver((all) => window.changes.push(...all.map((one) => one.type)));
    watch.observe(document.querySelector("#overlay"), { subtree: true, childList: true, attributes: true });
    window.watch = watch;
}"""
# drawn anew where it was moved to
RESTS = "() => document.querySelector('#overlay').style.transform === 'translate(0px, 0px)'"
ENDED = "() => { const found = window.changes; window.watch.disconnect(); return found; }"


def test_moving_the_picture_fetches_no_tile_twice_and_draws_no_line_anew(page, scan):
    opened_by_square(page, scan)
    fetched = collections.Counter()
    page.on("request", lambda told: fetched.update([told.url] if "/tiles/" in told.url else []))
    page.get_by_role("button", name="One pixel of the picture on one of the screen").click()
    page.wait_for_load_state("networkidle")
    stage = page.locator("#stage").bounding_box()
    x, y = stage["x"] + stage["width"] / 2, stage["y"] + stage["height"] / 2
    place = (400, 300)  # px of the picture
    before = seen_at(page, *place)
    page.wait_for_function(RESTS)
    page.mouse.move(x, y)
    page.mouse.down()
    page.evaluate(WATCH)
    for reach in (90, -60, 120):
        page.mouse.move(x + reach, y + reach / 2, steps=30)
    meanwhile = seen_at(page, *place)
    changes = page.evaluate(ENDED)
    page.mouse.up()
    assert meanwhile == pytest.approx([before[0] + 120, before[1] + 60], abs=1.01)  # lines went along
    assert "childList" not in changes
    frames = 90 + 8
    assert 0 < len(changes) < 2 * frames  # the whole is shifted, and nothing else: there are more lines than that
    assert page.locator("#overlay path").count() > 20
    page.wait_for_load_state("networkidle")
    page.wait_for_function(RESTS)
    assert seen_at(page, *place) == pytest.approx([before[0] + 120, before[1] + 60], abs=0.01)  # at rest exactly there
    wide, high = (1 + -(-(stage[side] + 180) // TILE) for side in ("width", "height"))
    assert max(fetched.values(), default=1) == 1
    assert len(fetched) <= wide * high * 4 / 3 + 8  # in sight on the way, and the coarser ones that stand in for them
