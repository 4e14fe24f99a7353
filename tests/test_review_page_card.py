"""In a real browser: calipers at an item, a card's reading kept and taken, the one of two squares that is meant."""

import datetime
import re

import pytest
from playwright.sync_api import expect

from digitize.kept_cards import keep_card, read_card
from tests.in_browser import (
    CHROMIUM,
    DIAMETERS_MM,
    PATIENCE_MS,
    against_wcag,
    drop,
    fill,
    opened_by_square,
    said,
    settled,
    visiting,
)
from tests.test_cli import draw, washer

pytestmark = pytest.mark.open_data(CHROMIUM)


@pytest.fixture(scope="module", autouse=True)
def kept(tmp_path_factory):
    """Settings of their own, with a reading of long ago in them."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("DIGITIZE_SETTINGS", str(tmp_path_factory.mktemp("settings")))
        keep_card("old", "53.7x53.9", today=datetime.date.today() - datetime.timedelta(days=200))
        yield


@pytest.fixture(scope="module")
def visit(kept, tmp_path_factory, chromium):
    """A server of its own, for it has settings of its own."""
    with visiting(chromium, tmp_path_factory.mktemp("to")) as visited:
        yield visited


def test_calipers_at_an_item_agree_or_say_why_not_and_are_held_against_what_follows(page, scan):
    opened_by_square(page, scan)
    expect(page.locator("#rests")).to_contain_text(re.compile(r"100 mm are sure to ±0\.\d+ mm"))
    own = page.locator(".calipers").first
    own.locator("summary").press("Enter")
    for size in ("Length", "Width, least"):
        fill(page, f"{size} of scan-1", "24,0")
    expect(own.locator(".badge")).to_have_text("✓ agree", timeout=PATIENCE_MS)
    expect(own.locator(".verdict").first).to_contain_text(re.compile(r"outline 2[34]\.\d{3} ±0\.\d+, calipers ±0\.040"))
    fill(page, "Hole 1, across of scan-1", "wide")
    expect(own.locator(".fault")).to_contain_text("expected a number", timeout=PATIENCE_MS)
    fill(page, "Hole 1, across of scan-1", "")
    # a square said to be 1 % larger than it is: all sizes 1 % too large
    fill(page, "Plain square", "20.2")
    expect(own.locator(".badge")).to_have_text("✕ disagree", timeout=PATIENCE_MS)
    expect(own.locator(".follows")).to_contain_text(re.compile(r"All sizes are \+(0\.9|1\.0)\d % off"))
    expect(own.locator(".follows em")).to_contain_text("Measure the reference again")
    page.locator("#set-square_mm").fill("20")
    page.get_by_label("Hole 1, across of scan-1").fill("6.")  # half typed as the next outline arrives
    expect(own.locator(".badge")).to_have_text("✓ agree", timeout=PATIENCE_MS)
    expect(page.get_by_label("Hole 1, across of scan-1")).to_be_focused()
    expect(page.get_by_label("Hole 1, across of scan-1")).to_have_value("6.")
    assert against_wcag(page) == []


def test_a_reading_of_the_card_is_kept_and_another_taken_with_its_age(page, scan):
    drop(page, scan)
    settled(page)
    fill(page, "Card, as measured", "53,95x53,80")
    settled(page)  # what is said of the outline then would come after what is said of the reading
    fill(page, "Name for this reading", "a/b")
    expect(page.locator("#card-fault")).to_contain_text("is no name for a card", timeout=PATIENCE_MS)
    page.get_by_label("Name for this reading").fill("desk")
    page.get_by_role("button", name="Keep this reading").click()
    said(page, "kept as desk")
    expect(page.get_by_label("Readings kept")).to_have_value("desk")
    expect(page.get_by_label("Name for this reading")).to_be_hidden()
    reading = read_card("desk")
    assert (reading.measured, reading.on, reading.caliper_error_mm) == ("53.95x53.8", datetime.date.today(), None)
    page.get_by_label("Readings kept").select_option("old")
    expect(page.get_by_label("Card, as measured")).to_have_value("53.7x53.9", timeout=PATIENCE_MS)
    settled(page)
    expect(page.locator(".age")).to_contain_text("200 days ago. Paper moves")
    expect(page.get_by_label("Name for this reading")).to_have_value("old")  # read again, the same: with today's date
    page.get_by_role("button", name="Keep this reading").click()
    expect(page.locator(".age")).to_have_text(re.compile("today\\.$"), timeout=PATIENCE_MS)
    assert read_card("old").on == datetime.date.today()
    settled(page)
    page.locator("#same summary").click()
    expect(page.locator("#command")).to_contain_text("--measured 53.7x53.9")


def test_of_two_squares_the_one_that_is_clicked_in_is_taken(page, tmp_path):
    two = draw(tmp_path / "two.png", [(20, (20, 25), 5), (15, (88, 25), 3)], [(washer(DIAMETERS_MM[0]), (55, 25))])
    drop(page, two)
    expect(page.locator("#why")).to_contain_text("its scale is unknown", timeout=PATIENCE_MS)
    fill(page, "Plain square", "20")
    expect(page.locator("#why")).to_contain_text("none was picked", timeout=PATIENCE_MS)
    expect(page.locator(".spot")).to_have_count(2)
    assert against_wcag(page) == []
    stage = page.locator("#stage").bounding_box()
    spot = page.locator(".spot", has_text="1").bounding_box()
    page.locator("#stage").click(
        position={"x": spot["x"] + spot["width"] / 2 - stage["x"], "y": spot["y"] + spot["height"] / 2 - stage["y"]}
    )
    expect(page.locator("#items")).to_contain_text(re.compile(r"(23\.9|24\.0)\d x "), timeout=PATIENCE_MS)
    expect(page.locator(".spot")).to_have_count(0)
    expect(page.locator("#stage")).to_have_attribute("data-tool", "move")
