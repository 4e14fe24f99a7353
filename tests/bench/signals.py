"""Ask `digitize outline` to stop at random moments: gone within 2 s, one sentence, nothing half-written, no child left.

    .venv/bin/python -m tests.bench.signals                # 300 moments of a run that writes all files
    .venv/bin/python -m tests.bench.signals --moments 50 --seed 7

Moments count from when the program first can hear: before that the interpreter itself is starting.
"""

import argparse
import collections
import os
import random
import signal
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
SIGNALS = tuple(getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name))
LONGEST_S = 2.0
HANGS_S = 60.0  # a busy machine may be late; what hangs is not
SENTENCE = "digitize: stopped.\n"


@dataclass(frozen=True)
class Ended:
    code: int
    said: str
    files: tuple[str, ...]
    left: tuple[int, ...]  # processes of its group
    seconds: float  # from the signal to the end

    def fault(self, whole, longest_s=LONGEST_S):
        """What is wrong with it; `whole` are the names of a run that nothing disturbs."""
        if self.left or self.seconds > longest_s:
            return f"after {self.seconds:.2f} s, left: {self.left}"
        if self.files not in ((), whole):
            return f"half-written: {self.files}"
        finished = self.files == whole and "Traceback" not in self.said
        if self.code == 130 and self.said.endswith(SENTENCE) and (finished or self.said == SENTENCE):
            return None
        return None if self.code == 0 and finished else f"code {self.code}: {self.said[-300:]}"


def begin(words, out):
    """Start a command and wait until it can hear, or is over."""
    process = subprocess.Popen(
        [sys.executable, "-m", "digitize", *map(str, words), "--to", str(out)],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        start_new_session=True,
    )
    while process.poll() is None and not hears(process.pid):
        time.sleep(0.002)
    return process


def hears(pid):
    """Whether a process has a handler for SIGTERM, which the interpreter of itself has not (proc(5), SigCgt)."""
    try:
        lines = Path(f"/proc/{pid}/status").read_text().splitlines()
    except OSError:
        return False
    caught = next((int(line.split()[1], 16) for line in lines if line.startswith("SigCgt:")), 0)
    return bool(caught >> (signal.SIGTERM - 1) & 1)


def stopped_at(words, moment_s, number, folder):
    """Run a command, ask its group to stop, and return how it ended."""
    out = Path(tempfile.mkdtemp(dir=folder)) / "out"
    process = begin(words, out)
    try:
        process.wait(moment_s)
    except subprocess.TimeoutExpired:
        os.killpg(process.pid, number)
    asked = time.monotonic()
    try:
        _, said = process.communicate(timeout=HANGS_S)
    except subprocess.TimeoutExpired:
        process.kill()
        _, said = process.communicate()
    seconds = time.monotonic() - asked
    files = tuple(sorted(str(path.relative_to(out)) for path in out.rglob("*") if path.is_file()))
    return Ended(process.returncode, said.decode(), files, _group(process.pid), seconds)


def _group(pid):
    """Processes of a group that live."""
    found = []
    for path in Path("/proc").glob("[0-9]*/stat"):
        try:
            state, _, group = path.read_text().rpartition(")")[2].split()[:3]
        except OSError:
            continue
        if int(group) == pid and state not in "ZX":
            found.append(int(path.parent.name))
    return tuple(found)


def faults(words, count, seed, folder, *, power=1.0, longest_s=LONGEST_S):
    """Stop a command at `count` moments; return what was wrong, and how the others ended."""
    draw = random.Random(seed)
    start = time.monotonic()
    undisturbed = stopped_at(words, 600, signal.SIGINT, folder)
    whole_s = time.monotonic() - start
    assert undisturbed.code == 0, undisturbed.said
    wrong, ends, longest = [], collections.Counter(), 0.0
    for _ in range(count):
        moment_s, number = whole_s * draw.random() ** power, draw.choice(SIGNALS)
        ended = stopped_at(words, moment_s, number, folder)
        longest = max(longest, ended.seconds)
        ends[ended.code, "all files" if ended.files else "no file"] += 1
        if what := ended.fault(undisturbed.files, longest_s):
            wrong.append(f"{number.name} at {moment_s:.3f} of {whole_s:.3f} s: {what}")
    return wrong, ends, longest


def heed():
    """Undo what a shell does to what it starts in the background: it, and all it starts, would not hear interrupts."""
    for number in SIGNALS:
        if signal.getsignal(number) is signal.SIG_IGN:
            signal.signal(number, signal.default_int_handler if number == signal.SIGINT else signal.SIG_DFL)


def main():
    heed()
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--moments", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    words = ("outline", ROOT / "samples" / "fobs.jpg", "--square", "30", "--clearance", "0.2")
    with tempfile.TemporaryDirectory() as folder:
        wrong, ends, longest = faults(words, asked.moments, asked.seed, folder)
    for (code, files), count in sorted(ends.items()):
        print(f"{count:4d} ended with {code}, {files}")
    late = sum(": after " in one and one.endswith("left: ()") for one in wrong)
    print(f"the longest {longest:.2f} s after the signal; target {LONGEST_S:g} s, wrong 0: {len(wrong)}", end="")
    print(f", {late} of them only late, at a load of {os.getloadavg()[0]:.0f} on {os.cpu_count()} cores")
    print("\n".join(wrong))
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
