"""Fuzzing that is led by which branches of the package a case has reached, over headers, reader and recipe.

    .venv/bin/pip install atheris
    .venv/bin/python -m tests.fuzz.guided headers --cases 100000 --seconds 600 --found DIR
    .venv/bin/python -m tests.fuzz.guided --seeds       # write tests/fuzz/corpus again

A fault does not end the run: its bytes lie in DIR/faults, its story is printed, each kind once. Faults are exceptions
and warnings that are not ours, more than 20 times the usual processor time, more memory within one case than a batch
would plan for it, and results that are not sound. What comes of a case is decided in `tests/fuzz/targets.py`.
"""

import argparse
import importlib
import json
import os
import pkgutil
import resource
import statistics
import sys
import time
import traceback
import warnings
from collections import Counter
from pathlib import Path

CORPUS = Path(__file__).resolve().parent / "corpus"
PACKAGE = Path(__file__).resolve().parents[2] / "digitize"
READING = ("reading",)
STAGES = ("reference", "camera", "silhouette", "edge", "measure", "fitting", "cutting", "trust", "recipe")
ROOMS = {"headers": READING, "reader": READING, "recipe": (*READING, *STAGES)}
TIMES_USUAL = 20
LEAST_USUAL_S = {"headers": 0.005, "reader": 0.05, "recipe": 0.5}  # below it the machine's own hiccups show
SPARE_MB = 40.0  # the fuzzer's own memory grows too


class Watched:
    """A target with everything about it counted; called with bytes, it never raises."""

    def __init__(self, name, target, found):
        self.name, self.target, self.found = name, target, found
        self.came, self.seconds, self.kinds = Counter(), [], {}
        self.longest_s, self.most_mb = 0.0, 0.0

    def __call__(self, data):
        peak, start = _peak_mb(), time.process_time()
        try:
            self.came[self.target(data)] += 1
        except Exception as error:
            place = traceback.extract_tb(error.__traceback__)[-1]
            self._fault(f"{type(error).__name__} in {Path(place.filename).name}:{place.name}", data)
        seconds, grown = time.process_time() - start, _peak_mb() - peak
        self._judge(data, seconds, grown)

    def _judge(self, data, seconds, grown_mb):
        from tests.fuzz.targets import PLANNED_MB

        usual = max(LEAST_USUAL_S[self.name], statistics.median(self.seconds) if self.seconds else 0.0)
        if len(self.seconds) > 20 and seconds > TIMES_USUAL * usual:
            self._fault(f"slow: {seconds / usual:.0f} times the usual {usual:.3f} s", data, key="slow")
        if len(self.seconds) > 20 and grown_mb > PLANNED_MB + SPARE_MB:
            self._fault(f"memory: {grown_mb:.0f} MB more, {PLANNED_MB:.0f} are planned", data, key="memory")
        self.longest_s, self.most_mb = max(self.longest_s, seconds), max(self.most_mb, grown_mb)
        self.seconds.append(seconds)
        if len(self.seconds) > 1000:
            self.seconds = self.seconds[-500:]

    def _fault(self, what, data, key=None):
        key = key or what
        self.came["fault"] += 1
        if key in self.kinds:
            return
        self.kinds[key] = what
        (self.found / "faults").mkdir(parents=True, exist_ok=True)
        (self.found / "faults" / f"{self.name}-{len(self.kinds)}").write_bytes(data)
        print(f"fault: {what}\n{traceback.format_exc(limit=-4)}", flush=True)

    def table(self):
        return {
            "target": self.name,
            "cases": sum(self.came.values()),
            "came": dict(self.came.most_common()),
            "longest_s": round(self.longest_s, 3),
            "most_mb": round(self.most_mb, 1),
            "faults": list(self.kinds.values()),
        }


def _peak_mb():
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def fuzz(name, cases, seconds, found):
    """Run until so many cases or seconds are over; leaves by the fuzzer's own exit."""
    import atheris

    with atheris.instrument_imports(include=["digitize"]):
        from tests.fuzz.targets import TARGETS

        for room in ROOMS[name]:  # what is imported later, where it is used, would go unseen
            for module in pkgutil.iter_modules([str(PACKAGE / room)]):
                importlib.import_module(f"digitize.{room}.{module.name}")
    warnings.simplefilter("error")
    watched = Watched(name, TARGETS[name], found)
    started = time.monotonic()

    def one(data):
        watched(bytes(data))
        count = watched.came.total()
        if count % 200 == 0 or count >= cases:
            (found / f"{name}.json").write_text(json.dumps(watched.table(), indent=1))
        if count >= cases or time.monotonic() - started > seconds:
            (found / f"{name}.json").write_text(json.dumps(watched.table(), indent=1))
            print(json.dumps(watched.table(), indent=1), flush=True)
            os._exit(bool(watched.kinds))

    new = found / name
    new.mkdir(parents=True, exist_ok=True)
    words = [sys.argv[0], str(new), str(CORPUS / name), "-rss_limit_mb=4096", "-timeout=300", "-verbosity=0", "-seed=1"]
    atheris.Setup([*words, f"-max_len={60_000 if name == 'recipe' else 8192}"], one)
    atheris.Fuzz()


def write_seeds():
    """The corpus that a run begins with: one small file of each kind, an EXIF block, a profile, pictures to outline."""
    from tests.fuzz.cases import FORMS, base_pixels, encoded
    from tests.picture_files import curv, exif, rgb_profile, scene

    for name in ("headers", "reader", "recipe"):
        (CORPUS / name).mkdir(parents=True, exist_ok=True)
    small = scene(18, 24)
    for form in FORMS:
        data = encoded(small, form)
        label = form.lower().replace(" ", "-")
        (CORPUS / "headers" / label).write_bytes(b"p" + data)
        (CORPUS / "reader" / label).write_bytes(data)
    (CORPUS / "headers" / "exif").write_bytes(b"e" + exif({0x112: (3, [6]), 0x11A: (5, [(300, 1)])}))
    (CORPUS / "headers" / "profile").write_bytes(b"i" + rgb_profile(curv(563)))
    pixels = base_pixels()[0]
    (CORPUS / "recipe" / "png").write_bytes(b"\0" + encoded((pixels // 64) * 64, "PNG"))
    (CORPUS / "recipe" / "jpeg").write_bytes(b"\2" + encoded(base_pixels()[1], "JPEG"))
    (CORPUS / "recipe" / "camera").write_bytes(b"\3" + encoded(pixels, "JPEG camera"))


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("target", nargs="?", choices=tuple(LEAST_USUAL_S))
    parser.add_argument("--cases", type=int, default=100_000)
    parser.add_argument("--seconds", type=float, default=600.0)
    parser.add_argument("--found", type=Path, default=Path("fuzz-found"))
    parser.add_argument("--seeds", action="store_true")
    asked = parser.parse_args()
    if asked.seeds:
        write_seeds()
    if asked.target:
        fuzz(asked.target, asked.cases, asked.seconds, asked.found)


if __name__ == "__main__":
    main()
