"""The page where something was left out, or got no outline: taken for an item, drawn all round, by every hand."""

import numpy as np
import pytest
from playwright.sync_api import expect

from tests.in_browser import CHROMIUM, PATIENCE_MS, TOO_SMALL, against_wcag, opened_by_density, said, seen_at, settled
from tests.rendered import polygon_px
from tests.test_asked import SMALL, faded  # noqa: F401
from tests.test_by_hand import DISC, DPI, ITEM, MIDDLE, painted

pytestmark = pytest.mark.open_data(CHROMIUM)
CORNERS = ((61, 59), (239, 61), (240, 200), (60, 200))  # of the faded square, px


def opened(page, picture, path):
    """The page with a picture and its density said."""
    from PIL import Image

    Image.fromarray(picture.pixels).save(path)
    opened_by_density(page, path, DPI)


def test_what_was_left_out_is_taken_by_mouse_and_by_keyboard(page, tmp_path):
    opened(page, painted(DISC, (polygon_px(SMALL, 14.0, 180), ITEM)), tmp_path / "two.png")
    said(page, "1 item,")
    settled(page)
    page.locator("#stage").focus()
    page.keyboard.press("k")
    page.mouse.click(*seen_at(page, *MIDDLE))  # in an item already
    said(page, "The step changed no outline. 1 item,")
    settled(page)
    page.keyboard.press("Control+z")
    expect(page.locator("#hand-part")).to_be_hidden()
    settled(page)
    page.mouse.click(*seen_at(page, *SMALL))
    said(page, "Taken for an item.")
    expect(page.locator("#items")).to_contain_text("taken by hand")
    settled(page)
    page.keyboard.press("Control+z")
    said(page, "1 item,")
    page.locator("#left-part summary").press("Enter")
    expect(page.locator("#left li")).to_contain_text(["too small, 1."])  # a disc of 1.2 mm across and its blur
    assert against_wcag(page) == []
    page.get_by_role("button", name="What was left out is an item, 1: too small").press("Enter")
    said(page, "2 items")
    expect(page.locator("#hand li")).to_contain_text(["Taken for an item"])
    expect(page.locator("#left-part")).to_be_hidden()


def test_what_got_no_outline_is_drawn_all_round(page, faded, tmp_path):  # noqa: F811
    opened(page, faded, tmp_path / "faded.png")
    expect(page.locator("#why")).to_contain_text("could not be measured", timeout=PATIENCE_MS)
    expect(page.locator("#why")).to_contain_text("draw its border with Draw")
    expect(page.locator("#key")).to_contain_text("edge not measured")
    settled(page)
    page.locator("#stage").focus()
    page.keyboard.press("w")
    close = page.get_by_role("button", name="Close the border")
    for place in (*CORNERS[:2], (150, 30)):
        page.mouse.click(*seen_at(page, *place))
    expect(close).to_be_enabled()
    page.keyboard.press("Backspace")
    expect(close).to_be_disabled()
    for place in (*CORNERS[2:], CORNERS[0]):  # the last closes it
        page.mouse.click(*seen_at(page, *place))
    said(page, "Border drawn along the edge. Outline ±")
    expect(page.locator("#looks")).to_contain_text("no edge was found")
    settled(page)
    page.keyboard.press("Control+z")
    expect(page.locator("#why")).to_contain_text("could not be measured")
    page.keyboard.press("Control+y")
    expect(page.locator("#hand li")).to_contain_text(["Border drawn along the edge"])
    assert against_wcag(page) == []


def test_under_fingers_a_border_is_closed_by_its_button_and_what_failed_is_bridged(tablet, faded, tmp_path):  # noqa: F811
    opened(tablet, faded, tmp_path / "faded.png")
    expect(tablet.locator("#why")).to_contain_text("could not be measured", timeout=PATIENCE_MS)
    settled(tablet)
    tablet.get_by_role("radio", name="Draw").tap()
    for place in CORNERS:
        tablet.touchscreen.tap(*seen_at(tablet, *place))
    assert tablet.evaluate(TOO_SMALL) == []
    tablet.get_by_role("button", name="Close the border").tap()
    said(tablet, "1 item,")
    settled(tablet)
    tablet.get_by_role("button", name="Leave out step 1").tap()
    expect(tablet.locator("#why")).to_contain_text("could not be measured", timeout=PATIENCE_MS)
    settled(tablet)
    tablet.get_by_role("radio", name="Bridge").tap()
    tablet.locator("#way").select_option("straight")
    for place in ((140, 60), CORNERS[1], CORNERS[2], (140, 200)):  # on the line that was followed, off it, on it
        tablet.touchscreen.tap(*seen_at(tablet, *place))
    said(tablet, "1 item,")
    assert np.isclose(float(tablet.locator("#items p").first.inner_text().split(" x ")[0]), 180 * 25.4 / DPI, atol=0.1)
