"""How smoothly the page pans over 35 million pixels, and how soon it shows them: frames of a real browser, headless.

    python tests/bench/frames.py                    # renders an A4 page of 600 dpi, outlines it with pockets, pans
    python tests/bench/frames.py --picture FILE --square 50

Intervals are those of the browser's own calls before each frame, which wait for the frames before to be drawn. The
aims: 30 frames a second by the median and by the 95 % quantile while panning, and lines within 1 s of the outline.
It needs Chromium, and Playwright of the tests' packages.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import re
import shutil
import signal
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

CHROMIUM = shutil.which("chromium") or "/usr/bin/chromium"
PATIENCE_MS = 240_000
AIM_MS = 1000 / 30
FIRST_MS = 1000.0
WATCH = """() => {
    window.ticks = [];
    const tick = (now) => { window.ticks.push(now); requestAnimationFrame(tick); };
    requestAnimationFrame(tick);
}"""
# When the answer with the outline came, and when lines and tiles were drawn first.
FIRST = """() => {
    const told = { outline: null, lines: null, tile: null, sight: null };
    window.first = told;
    const whole = window.fetch;
    window.fetch = async (...words) => {
        const answer = await whole(...words);
        const path = String(words[0]);
        if (path.endsWith("/outline")) told.outline ??= performance.now();
        return answer;
    };
    const look = () => {
        if (told.lines === null && document.querySelector("#overlay path.edge")) told.lines = performance.now();
        if (told.lines === null) requestAnimationFrame(look);
    };
    requestAnimationFrame(look);
}"""


@contextlib.contextmanager
def serving(*words: object) -> Iterator[str]:
    """The page in a process of its own; gives the address it prints."""
    command = [sys.executable, "-m", "digitize", "review", "--no-browser", *map(str, words)]
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    with subprocess.Popen(command, stderr=subprocess.PIPE, text=True, env=env) as process:
        try:
            assert process.stderr is not None
            found = re.search(r"http://127\.0\.0\.1:\d+/\S+", process.stderr.readline())
            assert found is not None
            yield found.group()
        finally:
            process.send_signal(signal.SIGINT)
            process.communicate(timeout=60)


def rendered(folder: Path) -> Path:
    """An A4 page of 600 dpi with five items and a square of 50 mm."""
    from PIL import Image

    from tests.bench.speed_pictures import page

    path = folder / "page.png"
    Image.fromarray(page().pixels).save(path, compress_level=1)
    return path


def panned(page: object, *, strokes: int = 4) -> np.ndarray:
    """Drag to and fro across the picture; the intervals of frames meanwhile, ms."""
    box = page.locator("#stage").bounding_box()  # type: ignore[attr-defined]
    middle = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    mouse = page.mouse  # type: ignore[attr-defined]
    mouse.move(*middle)
    mouse.down()
    page.evaluate("() => { window.ticks.length = 0; }")  # type: ignore[attr-defined]
    for stroke in range(strokes):
        reach = 300 if stroke % 2 == 0 else -300
        mouse.move(middle[0] + reach, middle[1] + reach / 3, steps=90)
    ticks = np.asarray(page.evaluate("() => window.ticks"))  # type: ignore[attr-defined]
    mouse.up()
    return np.diff(ticks)


def line(name: str, gaps: np.ndarray) -> bool:
    """Print the intervals of frames; True if the aim is missed."""
    median, late = np.median(gaps), np.quantile(gaps, 0.95)
    print(f"{name:32s} {len(gaps):5d} frames  median {median:5.1f} ms  95 % {late:5.1f} ms  {1000 / median:4.0f} / s")
    return bool(late > AIM_MS)


def measured(picture: Path, square: str) -> bool:
    """Open, outline and pan one picture; True if an aim is missed."""
    from playwright.sync_api import sync_playwright

    words = (picture, "--square", square, "--cut", "laser", "--bleed", "1")
    with serving(*words) as address, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu"])
        page = browser.new_page(viewport={"width": 1280, "height": 720})
        page.set_default_timeout(PATIENCE_MS)
        page.add_init_script(f"({FIRST})()")
        page.goto(address)
        page.wait_for_selector("#items li")
        first = page.evaluate("() => window.first")
        late = first["lines"] - first["outline"]
        print(f"lines {late:.0f} ms after the outline's answer")
        page.wait_for_load_state("networkidle")
        page.evaluate(WATCH)
        missed = [late > FIRST_MS, line("panning, whole picture", panned(page))]
        page.get_by_role("button", name="One pixel of the picture on one of the screen").click()
        page.wait_for_load_state("networkidle")
        missed.append(line("panning, 1:1", panned(page)))
        page.keyboard.press("n")
        for _ in range(3):
            page.get_by_role("button", name="Larger").first.click()
        page.wait_for_load_state("networkidle")
        missed.append(line("panning, an edge enlarged", panned(page)))
        browser.close()
    return any(missed)


def main() -> int:
    """Measure; return 1 when an aim is missed."""
    told = argparse.ArgumentParser()
    told.add_argument("--picture", type=Path)
    told.add_argument("--square", default="50")
    asked = told.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        return int(measured(asked.picture or rendered(Path(folder)), asked.square))


if __name__ == "__main__":
    sys.exit(main())
