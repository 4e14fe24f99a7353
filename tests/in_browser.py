"""What the tests of the page in a real browser share; the fixtures `page`, `tablet` and `scan` are in `conftest.py`."""

import base64
import contextlib
import os
import re
import shutil
import signal
import subprocess
import sys
import tempfile
from pathlib import Path

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from . import started
from .made_once import for_good

ROOT = Path(__file__).resolve().parents[1]
CHROMIUM = shutil.which("chromium") or "/usr/bin/chromium"
PATIENCE_MS = 30_000
DIAMETERS_MM = (24.0, 18.0)  # of the washers in `scan`, as drawn
UNKNOWN = "its scale is unknown"
# WCAG 2.2, 2.5.8: targets of 24 x 24 CSS px at least, but those in a sentence
TOO_SMALL = """() => [...document.querySelectorAll("button, select, input, summary, a")].filter((one) => {
    const box = one.getBoundingClientRect();
    return one.checkVisibility() && box.right > 0 && Math.min(box.width, box.height) < 24;
}).map((one) => one.outerHTML)"""


@contextlib.contextmanager
def serving(*words):
    """The command in a process of its own, ended as a person ends it; gives the address it prints.

    It outlines a picture once for each of its settings, whoever drops it: what is outlined is tested elsewhere.
    """
    command = [sys.executable, "-m", "digitize", "review", "--no-browser", *map(str, words)]
    places = {
        f"DIGITIZE_{what}": f"{tempfile.gettempdir()}/digitize-{what}-{os.getpid()}" for what in ("STATE", "SETTINGS")
    }
    env = {**places, **os.environ}
    env["PYTHONPATH"] = str(ROOT)
    with started.Popen(command, stderr=subprocess.PIPE, text=True, env=env, preexec_fn=for_good) as process:
        try:
            yield re.search(r"http://127\.0\.0\.1:\d+/\S+", process.stderr.readline()).group()
            process.send_signal(signal.SIGINT)
            _, said = process.communicate(timeout=30)
            assert process.returncode == 0
            assert "The page has ended." in said
            assert "Traceback" not in said
        finally:
            process.kill()


@contextlib.contextmanager
def visiting(browser, to):
    """A browser's context that has opened the page's address once, and that address."""
    with serving("--format", "json,dxf", "--to", to) as address:
        context = browser.new_context(viewport={"width": 1280, "height": 720})
        context.new_page().goto(address)
        yield context, re.match(r"http://[^/]+/", address).group()
        context.close()


@contextlib.contextmanager
def watched(context, address, *, refused):
    """A page; whatever it complains of in its console fails the test, but for answers that are `refused`, and shown."""
    page, troubles = context.new_page(), []
    page.set_default_timeout(PATIENCE_MS)
    page.on("console", lambda told: None if re.search(refused, told.text) else troubles.append(told.text))
    page.on("pageerror", lambda error: troubles.append(str(error)))
    page.goto(address)
    yield page
    page.close()
    assert troubles == []


def drop(page, path):
    """Drops a picture, and waits until it is the one that is open: what is typed then is typed for it."""
    settled(page)  # what was dropped before is open
    known = page.locator("#pictures option").count()
    data = base64.b64encode(path.read_bytes()).decode()
    page.evaluate(
        """([data, name]) => {
            const bytes = Uint8Array.from(atob(data), (letter) => letter.charCodeAt(0));
            const dropped = new DataTransfer();
            dropped.items.add(new File([bytes], name));
            const told = { dataTransfer: dropped, bubbles: true, cancelable: true };
            document.body.dispatchEvent(new DragEvent("drop", told));
        }""",
        [data, path.name],
    )
    opened = """(known) => {
        const [pictures, form] = ["pictures", "form"].map((id) => document.getElementById(id));
        return pictures.length > known && pictures.selectedIndex === pictures.length - 1 && !form.inert;
    }"""
    page.wait_for_function(opened, arg=known)


def said(page, words):
    expect(page.locator("#status")).to_contain_text(words, timeout=PATIENCE_MS)


def fill(page, label, words):
    page.get_by_label(label).fill(words)
    page.get_by_label(label).press("Enter")


def settled(page):
    expect(page.locator("body")).not_to_have_attribute("aria-busy", "true", timeout=PATIENCE_MS)


def opened_by_square(page, path):
    """The page with `scan`, its square said."""
    drop(page, path)
    expect(page.locator("#why")).to_contain_text(UNKNOWN, timeout=PATIENCE_MS)
    fill(page, "Plain square", "20")
    said(page, "2 items")


def opened_by_density(page, path, dpi):
    """The page with a picture without a reference, its density said."""
    drop(page, path)
    expect(page.locator("#why")).to_contain_text(UNKNOWN, timeout=PATIENCE_MS)
    page.get_by_text("More", exact=True).first.click()
    fill(page, "No reference: density", str(dpi))


def drawn(page):
    """Wait until the page is drawn as it is laid out."""
    page.evaluate("async () => { for (let n = 0; n < 4; n++) await new Promise(requestAnimationFrame); }")


def seen_at(page, x, y):
    """Where a place of the picture, px, lies on the screen, once the page is drawn as it is laid out."""
    drawn(page)
    seen = """([x, y]) => {
        const at = new DOMPoint(x, y).matrixTransform(document.querySelector("#overlay g.world").getScreenCTM());
        return [at.x, at.y];
    }"""
    return page.evaluate(seen, [x, y])


def against_wcag(page):
    """What axe-core, with all rules it has on by itself (WCAG 2.2 A and AA, and its good practice), finds of the page.

    Contrast it cannot compute, that of text over the picture, it leaves open: `test_review.py` computes it by the
    style's colours. Anything else that it leaves open is taken for a fault.
    """
    found = Axe().run(page, options={"resultTypes": ["violations", "incomplete"]}).response
    assert len(found["passes"]) > 25  # it did look
    told = [*found["violations"], *(one for one in found["incomplete"] if one["id"] != "color-contrast")]
    return [(one["id"], [node["target"] for node in one["nodes"]]) for one in told]
