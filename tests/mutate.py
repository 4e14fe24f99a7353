"""Plant known faults, one at a time, in a copy of the tree, and see whether the tests notice: a check of the tests.

::

    python -m tests.mutate                     # every fault; prints what passed unseen, and returns 1 if anything did
    python -m tests.mutate --list              # the names, and where each is planted
    python -m tests.mutate --only walls-left-part --only dpi-axes-swapped
    python -m tests.mutate --jobs 2

A fault is a piece of text that occurs exactly once in a file of the package, what is put in its place, and the tests
that should fail then (`tests/faults/`, a module a room). Text that is no longer there, or there twice, is an error: the
list follows the code. The tests that failed run once more without any fault, for a test that fails anyhow sees nothing.
A fault that makes the tests hang counts as seen; one that keeps them from being collected does not, and is an error.

Which test saw each fault is kept in `tests/faults/seen_by.json`: that one is run first, the others where it passes.
"""

from __future__ import annotations

import argparse
import compileall
import json
import os
import py_compile
import re
import shutil
import signal
import subprocess
import sys
import tempfile
from collections.abc import Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from queue import SimpleQueue

from tests.faults import FAULTS, Fault

ROOT = Path(__file__).resolve().parents[1]
COPIED = ("digitize", "tests", "samples", "calibration", "pyproject.toml", "README.md", "DEVELOPERS.md")
PYTEST = ("-m", "pytest", "-x", "-q", "--no-header", "--tb=line", "-p", "no:cacheprovider", "-o", "addopts=")
SEEN_BY = ROOT / "tests" / "faults" / "seen_by.json"
HANGS_S = 600  # processor seconds, not the clock's: others may use the machine
ASLEEP_S = 7200  # by the clock: nothing goes on any more
PASSED, FAILED = 0, 1  # pytest's exit codes; any other means that no test was judged


@dataclass(frozen=True, slots=True)
class Seen:
    """What came of one fault."""

    fault: Fault
    word: str  # seen, hangs, UNSEEN, ERROR
    detail: str = ""  # the first test that failed, or what was said instead


def unfit(fault: Fault, root: Path) -> str:
    """Return why a fault cannot be planted, "" if it can."""
    path = root / fault.file
    if not path.is_file():
        return f"{fault.file} is not there"
    text = path.read_text("utf-8")
    if (count := text.count(fault.old)) != 1:
        return f"{fault.file} holds {count} times: {fault.old!r}"
    try:
        compile(text.replace(fault.old, fault.new), fault.file, "exec")
    except SyntaxError as error:
        return f"{fault.file} is no Python then: {error}"
    if missing := [name for name in fault.tests if not (root / name.partition("::")[0]).exists()]:
        return f"no such tests: {', '.join(missing)}"
    return ""


def copy_tree(root: Path, to: Path) -> None:
    """Copy what tests need, compiled so that a changed file is noticed by its content, not by its time."""
    skip = shutil.ignore_patterns("__pycache__", "*.egg-info", ".*")
    for name in COPIED:
        if (root / name).is_dir():
            shutil.copytree(root / name, to / name, ignore=skip)
        else:
            shutil.copy2(root / name, to / name)
    mode = py_compile.PycInvalidationMode.CHECKED_HASH
    compileall.compile_dir(str(to / "digitize"), quiet=1, invalidation_mode=mode)


def run_tests(tests: Iterable[str], tree: Path) -> tuple[int, str]:
    """Run tests in a tree; return pytest's exit code, -1 where they hang, and the last lines."""
    try:
        done = subprocess.run(
            ["sh", "-c", f'ulimit -t {HANGS_S}; exec "$@"', "sh", sys.executable, *PYTEST, *tests],
            cwd=tree,
            env={**os.environ, "PYTHONPATH": str(tree), "OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"},
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            timeout=ASLEEP_S,
            check=False,
        )
    except subprocess.TimeoutExpired:
        return -1, ""
    hung = done.returncode in (-signal.SIGXCPU, -signal.SIGKILL)
    return -1 if hung else done.returncode, "\n".join((done.stdout + done.stderr).strip().splitlines()[-12:])


def try_fault(fault: Fault, tree: Path, saw_it: str = "") -> Seen:
    """Plant a fault in a tree, run its tests, that which saw it last time before the others, and take it out again."""
    path = tree / fault.file
    right = path.read_text("utf-8")
    path.write_text(right.replace(fault.old, fault.new), "utf-8")
    try:
        code, said = run_tests([saw_it], tree) if saw_it else (PASSED, "")
        if code not in (FAILED, -1):
            code, said = run_tests(fault.tests, tree)
    finally:
        path.write_text(right, "utf-8")
    word = {PASSED: "UNSEEN", FAILED: "seen", -1: "hangs"}.get(code, "ERROR")
    failed = re.findall(r"^(?:FAILED|ERROR) (tests/.*?)(?: - .*)?$", said, re.MULTILINE)
    return Seen(fault, word, said if word == "ERROR" else failed[0] if failed else "")


def remembered() -> dict[str, str]:
    """Return by the fault's name which test saw it when it was last tried."""
    return dict(json.loads(SEEN_BY.read_text("utf-8"))) if SEEN_BY.is_file() else {}


def remember(results: Iterable[Seen]) -> None:
    """Keep which test saw each fault; what is no longer planted is forgotten."""
    now = remembered() | {seen.fault.name: seen.detail for seen in results if seen.word == "seen"}
    kept = {fault.name: now[fault.name] for fault in FAULTS if fault.name in now}
    SEEN_BY.write_text(json.dumps(kept, indent=0, sort_keys=True, ensure_ascii=False) + "\n", "utf-8")


def chosen(names: Sequence[str]) -> list[Fault]:
    """Return the faults whose name is, or begins with, one of these; all where none is named."""
    known = [fault.name for fault in FAULTS]
    if unknown := [name for name in names if not any(one.startswith(name) for one in known)]:
        raise SystemExit(f"no such fault: {', '.join(unknown)} (see --list)")
    return [fault for fault in FAULTS if not names or fault.name.startswith(tuple(names))]


def try_all(faults: Sequence[Fault], jobs: int) -> list[Seen]:
    """Try every fault, each job in a copy of its own; say what came of each as it comes."""
    with tempfile.TemporaryDirectory(prefix="digitize-faults-") as folder:
        free: SimpleQueue[Path] = SimpleQueue()
        for number in range(jobs):
            tree = Path(folder) / str(number)
            tree.mkdir()
            copy_tree(ROOT, tree)
            free.put(tree)

        saw_it = remembered()

        def one(fault: Fault) -> Seen:
            tree = free.get()
            try:
                seen = try_fault(fault, tree, saw_it.get(fault.name, ""))
            finally:
                free.put(tree)
            print(f"{seen.word:7}{fault.name:34}{seen.detail}", flush=True)
            return seen

        with ThreadPoolExecutor(jobs) as pool:
            results = list(pool.map(one, faults))
        failed = sorted({seen.detail for seen in results if seen.word == "seen"})
        code, said = run_tests(failed, free.get()) if failed else (PASSED, "")
        if code != PASSED:
            raise SystemExit(f"tests fail without any fault:\n{said}")
        return results


def main(arguments: Sequence[str] | None = None) -> int:
    """Return 0 if every fault was seen, 1 if one passed, 2 if one could not be planted."""
    parser = argparse.ArgumentParser(prog="python -m tests.mutate", description=__doc__.partition("\n")[0])
    parser.add_argument("--list", action="store_true", help="name the faults, plant none")
    parser.add_argument("--only", action="append", default=[], metavar="NAME", help="or the beginning of names")
    parser.add_argument("--jobs", type=int, default=1, help="copies that are worked on at a time")
    asked = parser.parse_args(arguments)
    faults = chosen(asked.only)
    if asked.list:
        for fault in faults:
            print(f"{fault.name:40} {fault.file}")
        print(f"{len(faults)} faults")
        return 0
    if wrong := [f"{fault.name}: {why}" for fault in faults if (why := unfit(fault, ROOT))]:
        print("\n".join(wrong))
        return 2
    results = try_all(faults, max(1, asked.jobs))
    remember(results)
    unseen = [seen.fault.name for seen in results if seen.word == "UNSEEN"]
    broken = [f"{seen.fault.name}:\n{seen.detail}" for seen in results if seen.word == "ERROR"]
    print(f"{len(faults)} faults, {len(unseen)} unseen{': ' + ', '.join(unseen) if unseen else ''}")
    print("\n".join(broken), end="\n" if broken else "")
    return 2 if broken else 1 if unseen else 0


if __name__ == "__main__":
    sys.exit(main())
