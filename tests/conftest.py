"""What all tests share: tests on open data are deselected, and said, where the data is not there."""

import contextlib
import ctypes
import functools
import gc
import importlib
import os
import sys
from pathlib import Path

import hypothesis
import pytest
import typer.testing

from digitize.opencv import cv

from . import made_once as once
from .bench.signals import heed

# Typer makes its parser of all commands anew for every call in this process, which takes longer than many a call.
typer.testing._get_command = functools.cache(typer.testing._get_command)

# Hypothesis would read all modules of the tree that are imported so far for constants, keep them on disk, and draw one
# of them now and then: examples would differ by what ran before, and by what stands in any other file.
_providers = sys.modules.get("hypothesis.internal.conjecture.providers")
if hasattr(_providers, "_get_local_constants"):  # not every version has it
    _providers._get_local_constants = lambda none=_providers._local_constants: none

# PyMuPDF loads models of how pages are laid out wherever that part of it can be imported; no test asks for them.
sys.modules.setdefault("pymupdf.layout", None)

_left_out = pytest.StashKey[list]()


# no test depends on how fast the machine is, nor on chance
hypothesis.settings.register_profile("untimed", deadline=None, derandomize=True, database=None)
hypothesis.settings.load_profile("untimed")


@pytest.fixture
def made_once(monkeypatch):
    """Commands in this process outline a picture once, whatever is asked of its outline."""
    once.patch(monkeypatch)


@pytest.fixture(scope="session")
def chromium():
    """One browser for all tests of a process; each opens contexts of its own in it, and closes them."""
    from playwright.sync_api import sync_playwright

    from .in_browser import CHROMIUM

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu"])
        yield browser
        browser.close()


@pytest.fixture(scope="module")
def scan(tmp_path_factory):
    """Two washers beside a square of 20 mm."""
    from .in_browser import DIAMETERS_MM
    from .test_cli import draw, washer

    items = [(washer(size), at) for size, at in zip(DIAMETERS_MM, [(52, 25), (82, 25)], strict=True)]
    return draw(tmp_path_factory.mktemp("scan") / "scan.png", [(20, (20, 25), 5)], items)


@pytest.fixture(scope="session")
def to(tmp_path_factory):
    return tmp_path_factory.mktemp("to")


@pytest.fixture(scope="session")
def visit(to, chromium):
    """A browser that has opened the page's address once; one server for all tests of a process."""
    from .in_browser import visiting

    with visiting(chromium, to) as visited:
        yield visited


@pytest.fixture
def page(visit):
    """A page of that browser."""
    from .in_browser import watched

    with watched(*visit, refused="409|422") as page:
        yield page


@pytest.fixture
def tablet(visit):
    """A page under fingers."""
    from .in_browser import watched

    context, address = visit
    own = context.browser.new_context(
        viewport={"width": 1024, "height": 768}, has_touch=True, is_mobile=True, storage_state=context.storage_state()
    )
    with contextlib.closing(own), watched(own, address, refused="422") as page:
        yield page


M_TRIM_THRESHOLD, M_MMAP_THRESHOLD = -1, -3  # malloc.h of glibc


def keep_memory():
    """Let what a picture leaves free be there for the next one: given back, each page of it is had and cleared anew."""
    with contextlib.suppress(OSError, AttributeError):  # of another C library than glibc
        mallopt = ctypes.CDLL(None).mallopt
        mallopt(M_MMAP_THRESHOLD, 32 << 20)  # the most it takes
        mallopt(M_TRIM_THRESHOLD, 1 << 30)


def pytest_configure(config):
    heed()
    keep_memory()
    for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"):  # each core has a worker of its own
        os.environ.setdefault(name, "1")
    if hasattr(config, "workerinput"):
        cv().setNumThreads(1)
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)  # what tests start compiles the package once, not each time anew
    sys.dont_write_bytecode = False  # nor the tests, whose assertions take longer to compile than all they import
    config.addinivalue_line(
        "markers", "open_data(path): needs this file of an open data set, which is not in the clone"
    )
    config.addinivalue_line("markers", "sweep: of its many like cases a few are tried; see tests/sweeps.py")
    config.stash[_left_out] = []


def pytest_collection_modifyitems(config, items):
    kept, left_out = [], []
    for item in items:
        marker = item.get_closest_marker("open_data")
        missing = marker is not None and not Path(marker.args[0]).exists()
        (left_out if missing else kept).append(item)
        if missing:
            config.stash[_left_out].append(f"{item.nodeid}: {Path(marker.args[0]).name} is not there (DIGITIZE_DATA)")
    if left_out:
        config.hook.pytest_deselected(items=left_out)
    # what a browser is needed for comes first: one worker has all of it, and the last tests of a run are short ones
    in_browser = {item.path for item in kept if "chromium" in item.fixturenames}
    items[:] = sorted(kept, key=lambda item: item.path not in in_browser)


def pytest_collection(session):
    """A worker begins with the modules whose turn is its own, so that each is compiled by one worker and for all."""
    config = session.config
    if hasattr(config, "workerinput") and [Path(one).name for one in config.args] == config.getini("testpaths"):
        count, number = config.workerinput["workercount"], int(config.workerinput["workerid"].removeprefix("gw"))
        for path in sorted(Path(__file__).parent.glob("test_*.py"))[number::count]:
            with contextlib.suppress(Exception, pytest.skip.Exception):  # what cannot be imported, collection says
                importlib.import_module(f"{__package__}.{path.stem}")


def pytest_collection_finish():
    """What was imported and collected stays: it need not be gone through again and again for garbage.

    Nor need it be looked for after every 700 points of Shapely's: what a test leaves is looked for when it is over.
    """
    gc.collect()
    gc.freeze()
    gc.set_threshold(50_000, 10, 10)


def pytest_runtest_logfinish():
    gc.collect(1)  # what an error that was waited for still holds: pictures, most of all


def pytest_sessionfinish(session):
    """A worker of pytest-xdist tells the run what it left out: only the run has a screen."""
    if hasattr(session.config, "workeroutput"):
        session.config.workeroutput["left_out"] = session.config.stash[_left_out]


@pytest.hookimpl(optionalhook=True)
def pytest_testnodedown(node):
    left_out = getattr(node, "workeroutput", {}).get("left_out", [])  # each worker collects all tests
    node.config.stash[_left_out] = sorted({*node.config.stash[_left_out], *left_out})


def pytest_terminal_summary(terminalreporter, config):
    for line in config.stash[_left_out]:
        terminalreporter.write_line(f"left out: {line}")
