"""The page under fingers, as on a tablet: two fingers zoom, a tap sets points, a pocket is dragged; targets large."""

import re

import pytest
from playwright.sync_api import expect

from tests.in_browser import CHROMIUM, DIAMETERS_MM, PATIENCE_MS, TOO_SMALL, drawn, drop, fill, said, seen_at

pytestmark = pytest.mark.open_data(CHROMIUM)
BOX = """async () => {
    const key = document.querySelector("#pictures").value;
    const told = await (await fetch(`/pictures/${key}/outline`, { method: "POST", body: "{}" })).json();
    return told.result.items[0].box;
}"""


def fingers(page, *strokes):
    """Put fingers down, each along a stroke from a place to another, all at once, and lift them."""
    hand = page.context.new_cdp_session(page)

    def told(kind, part):
        points = [
            {"x": a[0] + (b[0] - a[0]) * part, "y": a[1] + (b[1] - a[1]) * part, "id": number}
            for number, (a, b) in enumerate(strokes)
        ]
        hand.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": [] if kind == "touchEnd" else points})

    told("touchStart", 0)
    for step in range(1, 9):
        told("touchMove", step / 8)
    told("touchEnd", 1)


def middle(page, place):
    box = page.locator(place).bounding_box()
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def test_a_tablet_zooms_measures_and_moves_pockets_by_fingers(tablet, scan):
    page = tablet
    drop(page, scan)
    expect(page.locator("#why")).to_contain_text("its scale is unknown", timeout=PATIENCE_MS)
    fill(page, "Plain square", "20")
    fill(page, "Clearance a side", "0,2")
    expect(page.locator("#items .cut").first).to_contain_text("0.20 mm outside", timeout=PATIENCE_MS)
    said(page, "2 items")
    assert page.evaluate(TOO_SMALL) == []
    page.get_by_role("button", name="Show scan-1").tap()
    page.get_by_text("Measure", exact=True).tap()
    left, top, right, bottom = page.evaluate(BOX)
    for at in (left, right):
        x, y = seen_at(page, at, (top + bottom) / 2)
        page.touchscreen.tap(x + (9 if at == left else -9), y)  # beside the edge: the point snaps to it
    x, y = middle(page, "#stage")
    expect(page.locator("#reading strong")).to_contain_text("±")
    length = re.match(r"[\d.]+", page.locator("#reading strong").inner_text())[0]
    assert float(length) == pytest.approx(DIAMETERS_MM[0], abs=0.02)
    before = float(page.locator("#factor").inner_text().rstrip("×"))
    fingers(page, ((x - 40, y), (x - 120, y)), ((x + 40, y), (x + 120, y)))
    drawn(page)
    after = float(page.locator("#factor").inner_text().rstrip("×"))
    assert after / before == pytest.approx(3, rel=0.05)  # fingers three times as far apart
    page.get_by_role("button", name="Plate", exact=True).tap()
    fill(page, "Bed", "120x90")
    expect(page.locator("#plate-drawing .spot").first).to_be_visible(timeout=PATIENCE_MS)
    assert page.evaluate(TOO_SMALL) == []
    spot = middle(page, "#plate-drawing .spot >> nth=0")
    fingers(page, (spot, (spot[0] + 60, spot[1] + 40)))
    expect(page.get_by_role("button", name="Lay rows anew")).to_be_visible(timeout=PATIENCE_MS)  # placed by hand
    moved = middle(page, "#plate-drawing .spot.chosen use")
    assert moved == pytest.approx((spot[0] + 60, spot[1] + 40), abs=14)  # it may have come in line with another
    factor = page.locator("#plate-factor").inner_text()
    fingers(page, ((x - 40, y), (x - 120, y)), ((x + 40, y), (x + 120, y)))
    expect(page.locator("#plate-factor")).not_to_have_text(factor)
