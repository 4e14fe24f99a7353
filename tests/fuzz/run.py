"""Outline mutated pictures and report whatever is no honest answer.

    python tests/fuzz/run.py [--count 10000] [--first 0] [--seed 0] [--seconds 50] [--only N]

Every case is a number: its picture and options follow from it alone. A case goes through the reader and, if that
returns a picture, through the whole recipe and the writers. Reported are: any exception but our own, any warning, an
error without a proper sentence, a result that is not finite or not closed, more than 20 times the usual time, memory
above the bound, and any word on stderr. Exit code 1 if there was one. `--seconds` ends a slice; the last line says
where the next begins.
"""

from __future__ import annotations

import argparse
import contextlib
import faulthandler
import os
import resource
import statistics
import sys
import tempfile
import time
import traceback
import warnings
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import numpy as np

from digitize.errors import DigitizeError
from digitize.run import FORMATS
from tests.fuzz.cases import case

TIMES_USUAL = 20
LEAST_USUAL_S = 0.25  # of one ring, all stages; below it the machine's own hiccups show
MOST_MB = 1500
GIVE_UP_S = 300


def outline(data: bytes, options: dict, folder: Path, *, formats=FORMATS) -> tuple[str, int]:
    """Outline a picture and write its files; return what came of it in a word, and the number of rings."""
    from digitize.reading.picture import picture_from_bytes
    from digitize.recipe.outline import outline_picture
    from digitize.run import Output, make_files
    from digitize.settings import Settings

    try:
        picture = picture_from_bytes(data, "case.png", max_mpx=4)
        outlined = outline_picture(picture, Settings.of(options))
        make_files(picture, outlined, Output(folder=folder, formats=formats))
    except DigitizeError as error:
        check_sentence(str(error))
        return type(error).__name__, 0
    check_result(outlined.result)
    return "outlined", sum(1 + len(item.holes_mm) for item in outlined.result.items)


def check_sentence(text: str) -> None:
    assert len(text) > 20, f"no sentence: {text!r}"
    assert "Traceback" not in text
    assert "nan" not in text.lower().split(), text


def check_result(result) -> None:
    assert result.items
    for item in result.items:
        numbers = [item.width_mm, item.height_mm, item.area_mm2, item.perimeter_mm, *item.centroid_mm]
        assert np.isfinite(numbers).all(), f"not finite: {numbers}"
        assert min(numbers[:4]) > 0, f"not positive: {numbers}"
        assert 0 < item.uncertainty.profile_k2_mm < 1e4, item.uncertainty
        assert 0 < item.uncertainty.length_offset_k2_mm < 1e4, item.uncertainty


@contextlib.contextmanager
def silent():
    """Catch what libraries write on stderr past Python; yields a function that tells it."""
    with tempfile.TemporaryFile() as caught:
        kept = os.dup(2)
        os.dup2(caught.fileno(), 2)

        def told() -> str:
            caught.seek(0)
            return caught.read().decode(errors="replace")

        try:
            yield told
        finally:
            os.dup2(kept, 2)
            os.close(kept)


def tried(number: int, seed: int, folder: Path) -> tuple[str, float, str]:
    """Return what came of a case, its seconds (by the ring, if there are), and what is wrong with it, "" if nothing."""
    data, options, done = case(number, seed)
    came, rings, wrong = "", 0, ""
    start = time.process_time()  # not the wall's: others may use the machine
    with silent() as told:
        try:
            came, rings = outline(data, options, folder, formats=FORMATS if number % 8 == 0 else FORMATS[:4])
        except MemoryError:
            wrong = "out of memory"
        except Exception:
            wrong = traceback.format_exc(limit=-6)
        spoken = told()
    seconds = (time.process_time() - start) / max(1, rings)
    if spoken:
        wrong += f"\non stderr: {spoken[:500]}"
    return came, seconds, wrong and f"case {number} of seed {seed}: {done}; {options}\n{wrong}"


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--count", type=int, default=10_000)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--seconds", type=float, default=float("inf"))
    parser.add_argument("--only", type=int)
    asked = parser.parse_args()
    numbers = range(asked.first, asked.first + asked.count) if asked.only is None else [asked.only]
    warnings.simplefilter("error")
    resource.setrlimit(resource.RLIMIT_AS, (6_000_000_000, 6_000_000_000))
    return report(*run(numbers, asked.seed, asked.seconds))


def run(numbers, seed: int, limit_s: float):
    """Try the cases; return what came of them, the times, the faults, and the next number."""
    came, times, faults = Counter(), {}, []
    end = time.monotonic() + limit_s
    number = -1
    with tempfile.TemporaryDirectory() as folder:
        for number in numbers:
            print(f"\r{number} ", end="", file=sys.stderr, flush=True)  # the case that hangs is the last one named
            faulthandler.dump_traceback_later(GIVE_UP_S, exit=True)
            what, seconds, wrong = tried(number, seed, Path(folder))
            faulthandler.cancel_dump_traceback_later()
            came[what or "fault"] += 1
            times[number] = seconds, what
            if wrong:
                faults.append(wrong)
            if time.monotonic() > end:
                break
    return came, times, faults, number + 1


def report(came, times, faults, following) -> int:
    """Print all; return the exit code."""
    usual = {
        what: max(LEAST_USUAL_S, statistics.median(s for s, w in times.values() if w == what))
        for what in {w for _, w in times.values()}
    }
    whole = usual.get("outlined", LEAST_USUAL_S)
    slow = {n: s for n, (s, _) in times.items() if s > TIMES_USUAL * whole}
    faults += [f"case {n}: {s:.1f} s, {s / whole:.0f} times the usual {whole:.2f} s" for n, s in slow.items()]
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    if peak > MOST_MB:
        faults.append(f"memory rose to {peak:.0f} MB, above {MOST_MB}")
    print(file=sys.stderr)
    for fault in faults:
        print(fault, end="\n\n")
    longest = max(s for s, _ in times.values())
    counts = ", ".join(f"{count} {what}" for what, count in came.most_common())
    print(f"{len(times)} cases: {counts}; longest {longest:.1f} s, usual {whole:.2f} s, peak {peak:.0f} MB")
    print(f"{len(faults)} faults; next --first {following}")
    return bool(faults)


if __name__ == "__main__":
    sys.exit(main())
