"""Every case of the tests' sweeps, of which the tests themselves try a few; a table of how many and how long.

::

    python -m tests.bench.sweeps
    python -m tests.bench.sweeps tests/test_scale.py

Returns 1 when a case fails.
"""

from __future__ import annotations

import os
import sys
import time
from collections import defaultdict

import pytest

from tests.sweeps import ALL


class Table:
    """Cases, faults and processor time of each test."""

    def __init__(self):
        self.rows = defaultdict(lambda: [0, 0, 0.0])

    @pytest.hookimpl(hookwrapper=True)
    def pytest_runtest_call(self, item):
        began = time.process_time()
        came = yield
        row = self.rows[item.nodeid.partition("[")[0]]
        row[0] += 1
        row[1] += came.excinfo is not None
        row[2] += time.process_time() - began

    def print(self) -> None:
        print(f"\n{'cases':>6}{'failed':>8}{'s':>8}  test")
        for name, (cases, failed, seconds) in sorted(self.rows.items()):
            print(f"{cases:6}{failed:8}{seconds:8.1f}  {name}")
        cases, failed, seconds = (sum(column) for column in zip(*self.rows.values(), strict=True))
        print(f"{cases:6}{failed:8}{seconds:8.1f}  all")


def main(files: list[str]) -> int:
    """Run them in this process; return 1 when one fails."""
    os.environ[ALL] = "1"
    table = Table()
    code = pytest.main(["-m", "sweep", "-q", "-o", "addopts=--strict-markers --ignore=tests/bench", *files], [table])
    table.print()
    return int(code != 0)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
