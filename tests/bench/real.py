"""What is item, in pictures from the world: real ones beside a plain script, and random scans with known truth.

    python tests/bench/real.py                     # real pictures, then 300 random scans
    python tests/bench/real.py --pictures          # real pictures only
    python tests/bench/real.py --scenes 60 --first 300 --jobs 2
    python tests/bench/real.py --only 217 --keep FOLDER

Real pictures: right where each thing is found, alone, nothing else is, and areas agree with those published. Random
scans (``tests/truth/lid_scenes.py``): right where all items and holes are there, nothing else is, and no edge is off
by more than 3 times the stated figure along 0.5 mm; flagged where a finding asks for a person's eye or nothing is
given out. Wrong in silence is what no one would catch. ``--keep`` writes picture, truth and check picture.
Exit code 1 where the script finds the right things and digitize does not, a target is missed, or an outline is
unsound (crosses itself, a hole outside its shell, an area that is not that of its ring), or there is a crash.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.bench.lid_verdict import Verdict, judge
from tests.bench.real_pictures import PICTURES
from tests.bench.real_verdict import Beside, Count, measure
from tests.truth.lid_scenes import lid_picture

KINDS = ("right", "right and flagged", "wrong and flagged", "wrong in silence")
RIGHT_OF_ORDINARY = 0.85  # right without a word, of the scans a person would call ordinary


# --- real pictures -----------------------------------------------------------------------------------------------


def pictures(keep: Path | None) -> bool:
    """Print the table of real pictures; return whether all is as it has to be."""
    print(
        f"{'picture':16}{'known':>6} | {'found':>6}{'lost':>5}{'phantom':>8}{'joined':>7}{'area %':>7}  right  LOOKs |"
        f"{'script':>7}{'lost':>5}{'phantom':>8}{'joined':>7}{'area %':>7}  right | times as long"
    )
    rows = []
    for known in PICTURES:
        row = measure(known, keep)
        if row is None:
            print(f"{known.name:16} left out: not there ({known.source})")
            continue
        print(picture_line(row), flush=True)
        rows.append(row)
    beaten = [row.known.name for row in rows if row.beaten]
    unsound = [f"{row.known.name}: {why}" for row in rows for why in row.unsound]
    print(f"right: digitize {sum(r.right for r in rows)}, script {sum(r.script.right(r.known) for r in rows)}", end="")
    print(f" of {len(rows)}; only the script: {', '.join(beaten) or 'none'}; unsound: {'; '.join(unsound) or 'none'}")
    return not beaten and not unsound


def picture_line(row: Beside) -> str:
    ours = f"{_cells(row.ours)}{'yes' if row.right else 'NO':>7}{len(row.found.looks):>7}"
    script = f"{_cells(row.script)}{'yes' if row.script.right(row.known) else 'no':>7}"
    ratio = row.ours.seconds / max(row.script.seconds, 1e-9)
    note = (
        f"  {row.found.error[:70]}" if row.found.error else "" if row.said else f"  not said: {row.known.must_be_said}"
    )
    return f"{row.known.name:16}{len(row.known.places_px):>6} |{ours} |{script} | {ratio:6.0f}{note}"


def _cells(count: Count) -> str:
    area = "" if count.area_error is None else f"{100 * count.area_error:.2f}"
    return f"{count.found:>7}{count.lost:>5}{count.phantom:>8}{count.joined:>7}{area:>7}"


# --- random scans ------------------------------------------------------------------------------------------------


def measure_scan(number: int, keep: Path | None) -> Verdict:
    return judge(lid_picture(number), keep)


def scans(numbers, *, jobs: int, keep: Path | None, verbose: bool) -> bool:
    """Measure the scans of these numbers, print what came of them; return whether every target is met."""
    verdicts = []
    with ProcessPoolExecutor(jobs) as pool:
        for verdict in pool.map(partial(measure_scan, keep=keep), numbers):
            if verbose or verdict.kind == "wrong in silence" or verdict.unsound:
                print(scan_line(verdict), flush=True)
            verdicts.append(verdict)
    return summary(verdicts)


def scan_line(verdict: Verdict) -> str:
    what = "; ".join(verdict.wrong[:4]) + (f"; {len(verdict.wrong) - 4} more" if len(verdict.wrong) > 4 else "")
    unsound = f" UNSOUND {'; '.join(verdict.unsound)}" if verdict.unsound else ""
    looks = f" [{', '.join(sorted(set(verdict.looks)))}]" if verdict.looks else ""
    return f"{verdict.name}: {verdict.kind}{looks}: {what}{unsound} ({', '.join(verdict.tags)})"


def summary(verdicts: list[Verdict]) -> bool:
    ordinary = [v for v in verdicts if v.ordinary]
    print(f"\n{'':20}{'all':>6}{'ordinary':>10}{'hard':>6}")
    for kind in KINDS:
        counts = [sum(v.kind == kind for v in part) for part in (verdicts, ordinary)]
        print(f"{kind:20}{counts[0]:>6}{counts[1]:>10}{counts[0] - counts[1]:>6}")
    silent = sum(v.kind == "wrong in silence" for v in verdicts)
    quiet = sum(v.kind == "right" for v in ordinary)
    share = quiet / len(ordinary) if ordinary else 1.0
    unsound = sum(bool(v.unsound) for v in verdicts)
    print(f"ordinary scans right without a word: {100 * share:.0f} % (target {100 * RIGHT_OF_ORDINARY:.0f} %)")
    print(
        f"wrong in silence: {silent} of {len(verdicts)} (target 0); scans with an unsound outline or a crash: {unsound}"
    )
    _by_look(ordinary)
    return not silent and share >= RIGHT_OF_ORDINARY and not unsound


def _by_look(ordinary: list[Verdict]) -> None:
    """Print which findings keep ordinary scans that are right from being quiet."""
    needless = Counter(code for v in ordinary if v.kind == "right and flagged" for code in set(v.looks))
    if needless:
        print("flagged though right and ordinary: " + ", ".join(f"{code} {n}" for code, n in needless.most_common()))


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--scenes", type=int, default=300)
    parser.add_argument("--first", type=int, default=0, help="number of the first scan")
    parser.add_argument("--only", type=int, nargs="+", help="these scans only")
    parser.add_argument("--pictures", action="store_true", help="real pictures only")
    parser.add_argument("--keep", type=Path, help="folder for pictures, truth and check pictures")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--verbose", action="store_true", help="a line for every scan")
    options = parser.parse_args()
    start = time.perf_counter()
    good = True
    if options.only is None:
        good = pictures(options.keep)
    if not options.pictures:
        numbers = options.only or range(options.first, options.first + options.scenes)
        how = {"jobs": options.jobs, "keep": options.keep, "verbose": options.verbose or options.only is not None}
        print()
        good = scans(numbers, **how) and good
    print(f"every target met: {'yes' if good else 'NO'}; {time.perf_counter() - start:.0f} s")
    return 0 if good else 1


if __name__ == "__main__":
    raise SystemExit(main())
