"""A folder worked through in a real browser by the keyboard alone; a server that was killed has lost nothing."""

import contextlib
import os
import re
import shutil
import signal
import subprocess
import sys

import pytest
from PIL import Image
from playwright.sync_api import expect

from tests import started
from tests.batch_scans import SQUARE, fill, inline
from tests.in_browser import CHROMIUM, PATIENCE_MS, ROOT, against_wcag, said, settled

pytestmark = pytest.mark.open_data(CHROMIUM)
COUNT = 3
WORDS = ("--format", "json,dxf")


@contextlib.contextmanager
def served(*words, state):
    """The command in a process of its own; gives the address and the process, which is killed in the end."""
    command = [sys.executable, "-m", "digitize", "review", "--no-browser", *map(str, words)]
    env = {**os.environ, "PYTHONPATH": str(ROOT), "DIGITIZE_STATE": str(state)}
    with started.Popen(command, stderr=subprocess.PIPE, text=True, env=env) as process:
        try:
            yield re.search(r"http://127\.0\.0\.1:\d+/\S+", process.stderr.readline()).group(), process
        finally:
            process.kill()


@pytest.fixture
def page(chromium):
    page = chromium.new_context(viewport={"width": 1280, "height": 720}).new_page()
    page.set_default_timeout(PATIENCE_MS)
    yield page
    page.context.close()


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Three pictures of which one cannot be read and one states another density, and their results."""
    base = tmp_path_factory.mktemp("folder")
    fill(base / "in", COUNT, dpi=80)
    with Image.open(base / "in" / "scan-1.png") as picture:
        picture.save(base / "in" / "scan-1.png", dpi=(100, 100))
    (base / "in" / "scan-2.png").write_bytes(b"\x89PNG\r\n\x1a\nxx")
    with pytest.MonkeyPatch.context() as patch:
        assert inline(patch)(base / "in", "--to", base / "out", *WORDS).returncode == 1
    return base


def states(page):
    """What the list says of each picture."""
    return {
        row.locator("strong").inner_text(): row.locator("span").inner_text()
        for row in page.locator("#folder li button").all()
    }


def current(page, name):
    expect(page.locator("#folder [aria-current] strong")).to_have_text(name, timeout=PATIENCE_MS)


def count(page, words):
    expect(page.locator("#folder .count")).to_have_text(words, timeout=PATIENCE_MS)


def test_a_batch_is_worked_through_with_one_key_a_picture_and_a_killed_server_has_lost_nothing(page, folder, tmp_path):
    keys = []

    def press(key):
        keys.append(key)
        page.keyboard.press(key)

    with served(folder / "out", state=tmp_path) as (address, process):
        page.goto(address)
        count(page, "3 of 3 open")  # the worst first: what cannot be read
        current(page, "scan-2.png")
        expect(page.locator("#why")).to_contain_text("cut short")
        press("x")
        count(page, "2 of 3 open")
        current(page, "scan-1.png")
        said(page, "1 thing to look at")
        press("y")
        current(page, "scan-0.png")
        said(page, "1 item")
        page.locator("#stage").focus()
        page.get_by_label("Clearance a side").fill("0.4")
        page.get_by_label("Clearance a side").press("Enter")
        expect(page.locator("#items .cut").first).to_contain_text("0.40 mm outside", timeout=PATIENCE_MS)
        settled(page)
        count(page, "1 of 3 open")
        process.kill()
        process.wait()
    with served(folder / "out", state=tmp_path) as (address, process):
        page.goto(address)
        count(page, "1 of 3 open")
        current(page, "scan-0.png")  # where it was left
        assert states(page)["scan-2.png"] == "rejected"
        assert states(page)["scan-1.png"] == "accepted"
        expect(page.locator("#items .cut").first).to_contain_text("0.40 mm outside", timeout=PATIENCE_MS)
        expect(page.locator("#before")).to_contain_text("Goes on from the step you made")
        assert against_wcag(page) == []
        said(page, "1 item")
        press("y")
        count(page, "all 3 decided")
        said(page, "All 3 pictures are decided.")
        assert keys == ["x", "y", "y"]  # one key a picture
        press("PageUp")  # back to one: it says what it is, and can be decided anew
        current(page, "scan-1.png")
        said(page, "1 thing to look at")  # its outline is there: before that nothing is accepted
        settled(page)
        expect(page.locator("#folder .said")).to_contain_text("Accepted.")
        page.get_by_role("button", name="Leave it open again").press("Enter")
        count(page, "1 of 3 open")
        press("y")
        count(page, "all 3 decided")
        process.send_signal(signal.SIGINT)
        assert process.wait(timeout=30) == 0
    told = (folder / "out" / "attention.csv").read_text("utf-8-sig")
    assert '"scan-2.png","scan-2.png","rejected"' in told
    assert "scan-1.png" not in told
    assert b'"clearance_mm": 0.4' in (folder / "out" / "scan-0.json").read_bytes()
    with pytest.MonkeyPatch.context() as patch:
        come = inline(patch)(folder / "in", "--to", folder / "out", *WORDS)
    assert "0 worked on, 3 done before" in come.stderr.decode()


def test_a_folder_without_results_is_outlined_as_it_is_reached_the_next_one_ahead(page, folder, tmp_path):
    pictures, to = tmp_path / "in", tmp_path / "to"
    pictures.mkdir()
    for name in ("scan-0.png", "scan-1.png"):
        shutil.copy(folder / "in" / name, pictures)
    words = ("--square", SQUARE, *WORDS)
    with served(pictures, "--to", to, *words, state=tmp_path / "state") as (address, _):
        with page.expect_response("**/ahead") as answer:
            page.goto(address)
        assert answer.value.json() == {"begun": True}
        count(page, "2 of 2 open")
        said(page, "1 item")
        page.get_by_label("Take scan-0-1").uncheck()
        page.keyboard.press("y")
        expect(page.locator("#why")).to_contain_text("Every item was dropped")  # the tick became a step
        page.get_by_role("button", name="Undo", exact=True).click()
        said(page, "1 item")
        settled(page)
        page.keyboard.press("y")
        current(page, "scan-1.png")
        said(page, "1 item")
        count(page, "1 of 2 open")
        page.keyboard.press("x")
        count(page, "all 2 decided")
    assert sorted(path.name for path in to.iterdir() if path.name.startswith("scan")) == ["scan-0.dxf", "scan-0.json"]
    with served(state=tmp_path / "state") as (address, _):  # nothing named, nowhere to write to
        page.goto(address)
        (pictures / "notes.txt").write_text("none")
        expect(page.locator("#welcome")).to_be_visible()
        settled(page)
        page.locator("#files-of").set_input_files(pictures)
        expect(page.locator("#folder")).to_contain_text("start with --to FOLDER", timeout=PATIENCE_MS)
        expect(page.locator("#folder li")).to_have_count(2)
        expect(page.get_by_role("button", name="Accept")).to_have_count(0)
        current(page, "scan-0.png")
        page.keyboard.press("PageDown")
        current(page, "scan-1.png")


def test_a_plate_goes_on_where_a_killed_server_left_it(page, folder, tmp_path):
    words = (folder / "in" / "scan-0.png", "--square", SQUARE, "--clearance", "0.2")

    def laid():
        page.get_by_role("button", name="Plate", exact=True).click()
        expect(page.locator("#plate-drawing .spot").first).to_be_visible(timeout=PATIENCE_MS)
        return page.evaluate("async () => (await (await fetch('/plate')).json())")

    with served(*words, state=tmp_path) as (address, process):
        page.goto(address)
        said(page, "1 item")
        page.get_by_role("button", name="Plate", exact=True).click()
        page.get_by_label("Bed", exact=True).fill("90x80")
        page.get_by_label("Bed", exact=True).press("Enter")
        expect(page.locator("#plate-drawing .spot").first).to_be_visible(timeout=PATIENCE_MS)
        page.locator("#plate-stage").focus()
        with page.expect_response("**/plate/ask"):
            for key in ("n", "ArrowLeft", "ArrowLeft"):
                page.keyboard.press(key)
        with page.expect_response("**/plate/ask") as asked:
            page.keyboard.press("l")
        left = asked.value.json()
        process.kill()
        process.wait()
    with served(*words, state=tmp_path) as (address, _):
        page.goto(address)
        said(page, "1 item")
        found = laid()
        assert left["by_hand"]
        assert [one[4] for one in left["spots"]].count(True) == 1
        assert {key: found[key] for key in ("spots", "sound", "by_hand")} == {
            key: left[key] for key in ("spots", "sound", "by_hand")
        }
        expect(page.locator("#plate-before")).to_contain_text("The plate as you left it")
        assert against_wcag(page) == []
        page.locator("#plate-before").get_by_role("button", name="Begin anew").press("Enter")
        expect(page.locator("#plate-before")).to_be_hidden(timeout=PATIENCE_MS)
        expect(page.get_by_label("Bed", exact=True)).to_have_value("")
