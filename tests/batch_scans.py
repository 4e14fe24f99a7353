"""Small scans for the tests of the batch, and the command as a process of its own."""

import functools
import os
import sys
from pathlib import Path
from types import SimpleNamespace

from typer.testing import CliRunner

from digitize.batch import request
from digitize.batch.work import work
from digitize.cli.commands import app

from . import made_once, started
from .truth import zoo
from .truth.flatbed import Scene
from .truth.light import png_bytes

SQUARE = "25"
SHAPES = ("key-fob", "tag", "star", "scalloped")
ROOT = Path(__file__).resolve().parents[1]


@functools.cache
def scan(number=0, dpi=120.0):
    """The bytes of a PNG: a square of 25 mm beside an item, different for every number."""
    shape = zoo.BLANKS[SHAPES[number % len(SHAPES)]]()
    scene = Scene(105, 75, dpi_x=dpi, seed=number, noise_codes=1.5)
    scene.add_square(25, (20, 37), 3.0 + number)
    scene.add_item(shape, (70, 37), 7.0 * number, (0.08, 0.10, 0.12))
    return png_bytes(scene.render().pixels, (dpi, dpi))


def fill(folder, count=3, dpi=120.0):
    """Put `count` scans into a folder and return it."""
    folder.mkdir(parents=True, exist_ok=True)
    for number in range(count):
        (folder / f"scan-{number}.png").write_bytes(scan(number, dpi))
    return folder


def arguments(*words, square=SQUARE):
    return [sys.executable, "-m", "digitize", *map(str, words), "--square", square]


def run(*words, timeout=900, **options):
    """Run a command of digitize, and return what came of it."""
    return started.run(arguments(*words), timeout=timeout, **{"cwd": ROOT, **options})


def results(folder):
    """Every file below a folder of results with its bytes, the ledger apart."""
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and ".digitize" not in path.parts
    }


def environment(**more):
    return {**os.environ, **more}


def inline(monkeypatch):
    """The command batch in this process, its pictures too, each outlined once: processes are tested apart."""

    class Inline:
        def run(self, tasks):
            for task in tasks:
                yield task, work(task)

    monkeypatch.setattr(request, "_runner", lambda *_: Inline())
    made_once.patch(monkeypatch)

    def call(*words):
        came = CliRunner().invoke(app, ["batch", *map(str, words), "--square", SQUARE])
        assert came.exception is None or isinstance(came.exception, SystemExit), came.exception
        return SimpleNamespace(returncode=came.exit_code, stderr=came.stderr.encode(), stdout=came.stdout)

    return call
