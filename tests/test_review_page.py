"""The page in a real browser: from dropping a picture to files that another reader opens, by mouse and by keyboard."""

import io
import re
import zipfile
from pathlib import Path

import ezdxf
import pytest
from playwright.sync_api import expect

from digitize.review.kept import NAME as KEPT
from tests.in_browser import (
    CHROMIUM,
    DIAMETERS_MM,
    PATIENCE_MS,
    against_wcag,
    drop,
    fill,
    opened_by_density,
    opened_by_square,
    said,
    seen_at,
    settled,
)
from tests.test_by_hand import DISC, DPI, GROUND, MIDDLE, RADIUS, box, on_disc, painted
from tests.test_cli import digitize

pytestmark = pytest.mark.open_data(CHROMIUM)


@pytest.fixture(scope="module")
def bitten(tmp_path_factory):
    """A disc with a bite of glare."""
    from PIL import Image

    right = MIDDLE[0] + RADIUS
    bite = box(right - 12, MIDDLE[1] - 15, right + 20, MIDDLE[1] + 15), GROUND
    path = tmp_path_factory.mktemp("bitten") / "bitten.png"
    Image.fromarray(painted(DISC, bite).pixels).save(path)
    return path


def test_from_a_dropped_picture_to_the_commands_own_files(page, scan, tmp_path):
    opened_by_square(page, scan)
    fill(page, "Clearance a side", "wide")
    expect(page.locator("#fault-clearance_mm")).to_contain_text("expected a number", timeout=PATIENCE_MS)
    fill(page, "Clearance a side", "0,2")
    expect(page.locator("#items .cut").first).to_contain_text("0.20 mm outside", timeout=PATIENCE_MS)
    settled(page)
    with page.expect_download() as waiting:
        page.get_by_role("button", name="Take the files").click()
    with zipfile.ZipFile(waiting.value.path()) as archive:
        taken = {name: archive.read(name) for name in archive.namelist()}
    page.locator("#same summary").click()
    words = ["--square", "20", "--clearance", "0,2", "--format", "json,dxf"]
    assert page.locator("#command").inner_text().startswith(f"digitize outline scan.png {' '.join(words)} --to ")
    assert digitize("outline", scan, *words, "--to", tmp_path).returncode in (0, 1)
    assert taken == {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    drawing = ezdxf.read(io.StringIO(taken["scan.dxf"].decode()))
    found = sorted(_extent(one) for one in drawing.modelspace() if one.dxf.layer == "OUTLINE")
    assert found == pytest.approx([6.0, 6.0, *sorted(DIAMETERS_MM)], abs=0.02)


def test_an_outline_that_is_being_made_is_stopped_by_button_or_key(page, scan):
    waiting, stop = [], page.get_by_role("button", name="Stop")
    settled(page)  # what was dropped before is open
    page.route("**/outline", lambda route: waiting.append(route))  # never answered until it is stopped

    def stopped(route):
        waiting.pop().fulfill(status=409, json={"error": "Stopped: nothing was changed.", "stopped": True})
        route.fulfill(json={"stopped": True})

    def held():
        expect(stop).to_be_visible()
        while not waiting:
            page.wait_for_timeout(20)

    page.route("**/stop", stopped)
    expect(stop).to_be_hidden()
    drop(page, scan)
    held()
    stop.click()
    said(page, "Stopped: nothing was changed.")
    expect(stop).to_be_hidden()
    page.get_by_role("button", name="Outline it").click()
    held()
    page.get_by_label("Plain square").press("Escape")
    said(page, "Stopped: nothing was changed.")
    page.unroute_all()
    page.get_by_role("button", name="Outline it").click()
    expect(page.locator("#why")).to_contain_text("its scale is unknown", timeout=PATIENCE_MS)


def test_who_reads_by_ear_or_with_weak_eyes_is_shut_out_nowhere(page, scan):
    def empty(route):
        route.fulfill(json={**route.fetch().json(), "pictures": []})

    page.route("**/known", empty)
    page.reload()
    expect(page.locator("#welcome h3")).to_have_text(["A scan", "A photo", "A folder"])
    with page.expect_download() as card:
        page.get_by_role("link", name="mat, A4").click()
    assert card.value.suggested_filename == "mat-a4.pdf"
    assert against_wcag(page) == []
    drop(page, scan)
    expect(page.locator("#why")).to_contain_text("its scale is unknown", timeout=PATIENCE_MS)
    assert against_wcag(page) == []
    fill(page, "Plain square", "20")
    fill(page, "Clearance a side", "10")  # pockets that overlap; said while the outline before is being made
    expect(page.locator("#looks .doubt").first).to_be_visible(timeout=PATIENCE_MS)
    fill(page, "Clearance a side", "wide")
    expect(page.locator("#fault-clearance_mm")).to_contain_text("expected a number", timeout=PATIENCE_MS)
    for one in page.locator("summary:visible").all():
        one.click()
    settled(page)
    assert against_wcag(page) == []
    page.evaluate("document.querySelector('label[for=set-kerf_mm]').remove()")
    page.evaluate("document.querySelector('#set-kerf_mm').removeAttribute('title')")
    page.evaluate("document.querySelector('#status').style.color = '#b0b0b0'")  # 2.2 to 1 on white
    assert sorted(one for one, _ in against_wcag(page)) == ["color-contrast", "label"]


def _extent(entity):
    from ezdxf import bbox

    return bbox.extents([entity]).size.x


def test_look_measure_choose_undo_and_write_by_keyboard_and_mouse(page, scan, to):
    opened_by_square(page, scan)
    page.get_by_role("button", name="Show scan-1").click()
    page.keyboard.press("m")
    box = page.locator("#stage").bounding_box()
    half_px = min(box["width"], box["height"]) / 2 / 0.62 / 2  # the washer is shown with a little room about it
    middle = (box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.mouse.click(middle[0] - half_px + 5, middle[1])  # beside the edge: the point snaps to it
    page.mouse.click(middle[0] + half_px - 5, middle[1])
    length, sure = re.fullmatch(r"([\d.]+) mm ±([\d.]+)", page.locator("#reading strong").inner_text()).groups()
    assert float(length) == pytest.approx(DIAMETERS_MM[0], abs=0.02)
    assert 0 < float(sure) < 0.3
    page.keyboard.press("n")
    said(page, "Place 1 of")
    page.get_by_role("button", name="Show scan-1").click()
    page.locator("#stage").focus()
    for key in ("i", "ArrowRight", "ArrowRight", "Enter"):  # off the hole, onto the washer
        page.keyboard.press(key)
    said(page, "1 item,")
    page.keyboard.press("Control+z")
    said(page, "2 items")
    page.keyboard.press("Control+y")
    said(page, "1 item,")
    page.get_by_role("button", name="Undo", exact=True).click()
    said(page, "2 items")
    page.get_by_label("Take scan-2").uncheck()
    page.get_by_role("button", name="Write them into").click()
    said(page, "2 files written")
    assert sorted(path.name for path in to.iterdir() if path.name != KEPT) == ["scan-1.dxf", "scan-1.json"]


def test_mend_a_bite_and_drop_a_hole_by_mouse_and_keyboard_with_the_commands_bytes(page, bitten, tmp_path):
    opened_by_density(page, bitten, DPI)
    said(page, "1 item")
    settled(page)
    page.locator("#stage").focus()
    page.keyboard.press("r")
    page.locator("#way").select_option("curved")
    page.mouse.click(*seen_at(page, *on_disc(12)))
    said(page, "Now behind the bad stretch")
    page.mouse.click(*seen_at(page, *on_disc(-12)))
    said(page, "Bridge curved on. Outline ±")
    expect(page.locator("#items")).to_contain_text("by hand ±")
    expect(page.locator("#key")).to_contain_text("set by hand")
    settled(page)
    page.keyboard.press("Control+z")
    expect(page.locator("#hand-part")).to_be_hidden()
    page.keyboard.press("Control+y")
    expect(page.locator("#hand li")).to_have_count(1)
    page.locator("#stage").focus()  # its middle is in the item and in no hole: a patch there is none
    for key in ("h", "Enter"):
        page.keyboard.press(key)
    expect(page.locator("#looks")).to_contain_text("found nothing to correct", timeout=PATIENCE_MS)
    page.get_by_role("button", name="Leave out step 2").click()
    expect(page.locator("#hand li")).to_have_count(1)
    settled(page)
    with page.expect_download() as steps:
        page.get_by_role("link", name="Take the steps").click()
    held = tmp_path / steps.value.suggested_filename
    steps.value.save_as(held)
    page.get_by_role("button", name="Write them into").click()
    said(page, "2 files written")
    assert f"--by-hand {held.name}" in page.locator("#command").text_content()
    words = ["--dpi", str(DPI), "--by-hand", held, "--format", "json,dxf", "--to", tmp_path / "own"]
    assert digitize("outline", bitten, *words).returncode in (0, 1)
    folder = Path(page.locator("#write").inner_text().removeprefix("Write them into "))
    for path in (tmp_path / "own").iterdir():
        assert (folder / path.name).read_bytes() == path.read_bytes()


def test_join_two_parts_and_split_them_again_by_mouse(page, tmp_path):
    from PIL import Image

    strip = box(MIDDLE[0] - 6, MIDDLE[1] - RADIUS - 5, MIDDLE[0] + 6, MIDDLE[1] + RADIUS + 5), GROUND
    path = tmp_path / "two.png"
    Image.fromarray(painted(DISC, strip).pixels).save(path)
    opened_by_density(page, path, DPI)
    said(page, "2 items")
    settled(page)
    page.locator("#stage").focus()
    page.keyboard.press("j")
    for angle, words in ((84, "Now across"), (96, "Now at the other end"), (-84, "Now across it"), (-96, "1 item")):
        page.mouse.click(*seen_at(page, *on_disc(angle)))
        said(page, words)
    expect(page.locator("#hand li")).to_contain_text(["Joined straight"])
    settled(page)
    page.keyboard.press("t")
    page.locator("#way").select_option("straight")
    for angle, words in ((0, "Now the other end of the cut"), (180, "2 items")):
        page.mouse.click(*seen_at(page, *on_disc(angle)))
        said(page, words)
    expect(page.locator("#hand li")).to_contain_text(["Joined straight", "Split straight"])
    page.keyboard.press("Control+z")
    said(page, "1 item")
