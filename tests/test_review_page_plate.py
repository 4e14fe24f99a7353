"""The plate in a real browser: pockets moved by pointer, by keys and by touch, warnings as they move, files taken."""

import csv
import io
import re
import zipfile

import pytest
from playwright.sync_api import expect

from tests.in_browser import CHROMIUM, PATIENCE_MS, against_wcag, drawn, fill, opened_by_square, said

pytestmark = pytest.mark.open_data(CHROMIUM)
BED = (120, 90)


def places(waiting):
    """Kind, x, y and turn of every pocket in the table of a zip."""
    with zipfile.ZipFile(waiting.value.path()) as archive:
        rows = csv.DictReader(io.StringIO(archive.read("plate.lay.csv").decode()))
        return [(row["kind"], float(row["x"]), float(row["y"]), float(row["turn"])) for row in rows]


def taken(page):
    with page.expect_download() as waiting:
        page.get_by_role("button", name="Take the plate").click()
    return places(waiting)


def at(page, x, y):
    """Where a place from the upper left zero corner lies on the screen."""
    drawn(page)
    sheet = page.locator("#plate-drawing .table").bounding_box()
    scale = sheet["width"] / BED[0]
    return sheet["x"] + x * scale, sheet["y"] + y * scale


def settled(page):
    expect(page.locator("body")).not_to_have_class(re.compile("laying"), timeout=PATIENCE_MS)


def test_pockets_are_moved_turned_locked_and_counted_by_pointer_and_keys(page, scan):
    opened_by_square(page, scan)
    fill(page, "Clearance a side", "0,2")
    expect(page.locator("#items .cut").first).to_contain_text("0.20 mm outside", timeout=PATIENCE_MS)
    page.get_by_role("button", name="Plate", exact=True).click()
    expect(page.locator("#plate-why")).to_contain_text("“Bed”", timeout=PATIENCE_MS)
    fill(page, "Bed", f"{BED[0]}x{BED[1]}")
    said(page, "all clear of one another")
    before = taken(page)
    assert len(before) == page.locator("#plate-drawing .spot").count() > 3
    kind, x, y, _ = before[0]
    page.mouse.move(*at(page, x, y))
    page.mouse.down()
    page.mouse.move(*at(page, x - 5, y + 3), steps=4)
    page.mouse.move(*at(page, 3.0, 70.0), steps=4)  # over the left edge: said before it is let go
    expect(page.locator("#conflicts")).to_contain_text("over the edge")
    expect(page.locator("#plate-drawing .spot.bad")).not_to_have_count(0)
    assert page.locator("#plate-zip").is_enabled()  # of what was asked for last
    page.mouse.move(*at(page, 70.0, 60.0), steps=4)
    page.mouse.up()
    settled(page)
    assert page.locator("#plate-zip").is_disabled() == (page.locator("#plate-drawing .spot.bad").count() > 0)
    page.locator("#plate-stage").focus()
    for key in ("ArrowRight", "ArrowRight", "Shift+ArrowUp", "."):
        page.keyboard.press(key)
    settled(page)
    page.get_by_label("x", exact=True).fill("100,25")
    page.get_by_label("x", exact=True).press("Enter")
    settled(page)
    number = page.locator("#plate-drawing .spot.chosen text")
    told = page.locator("#status")
    assert number.text_content() == "1"
    page.locator("#plate-stage").focus()
    page.keyboard.press("l")
    settled(page)
    page.keyboard.press("ArrowDown")
    expect(told).to_contain_text("locked")
    page.get_by_role("button", name="Lay rows anew").click()
    settled(page)
    expect(told).to_contain_text("Undo brings the places back")
    after = taken(page)
    assert after[0][:2] == (kind, 100.25)
    assert after[0][2] == pytest.approx(60.0 - 0.1, abs=0.7)  # as near as a pointer puts it
    assert after[0][3] == -90
    page.get_by_label("At most so many pockets of scan-1").fill("1")
    page.get_by_label("At most so many pockets of scan-1").press("Enter")
    settled(page)
    assert [one[0] for one in taken(page)].count("scan-1") == 1
    page.locator("#plate-stage").focus()
    while page.locator("#plate-undo").is_enabled():
        page.keyboard.press("Control+z")
        settled(page)
    expect(page.locator("#plate-why")).to_contain_text("“Bed”")
    page.keyboard.press("Control+y")
    settled(page)
    assert taken(page) == before
    assert against_wcag(page) == []
    page.get_by_role("button", name="Picture", exact=True).click()
    expect(page.locator("#items")).to_be_visible()
