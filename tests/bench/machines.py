"""Whether every file is the same, byte for byte, where the libraries choose other code for another machine.

    python -m tests.bench.machines                         # every picture under every choice
    python -m tests.bench.machines --only blas --scenes 4  # some choices, fewer rendered scans
    python -m tests.bench.machines --keep DIR              # leave the files there, to look at what differs

One machine stands in for others: OpenBLAS, NumPy, OpenCV and the C library each choose code by what the processor can
do, and each lets a variable of the environment forbid some of it. Printed for each choice: how many files are those of
the machine as it is, and which are not. Exit code 1 when one differs where none may (`MUST`).
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
SAMPLES = ROOT / "samples"

# what a machine lacks -> the variables that say so
CHOICES = {
    "blas Haswell": {"OPENBLAS_CORETYPE": "Haswell"},
    "blas SkylakeX": {"OPENBLAS_CORETYPE": "SkylakeX"},
    "blas Zen": {"OPENBLAS_CORETYPE": "Zen"},
    "blas Sandybridge": {"OPENBLAS_CORETYPE": "Sandybridge"},
    "blas Nehalem": {"OPENBLAS_CORETYPE": "Nehalem"},
    "numpy without AVX-512": {"NPY_DISABLE_CPU_FEATURES": "X86_V4 AVX512_ICL AVX512_SPR"},
    "numpy without AVX2": {"NPY_DISABLE_CPU_FEATURES": "X86_V3 X86_V4 AVX512_ICL AVX512_SPR"},
    "opencv without AVX-512": {"OPENCV_CPU_DISABLE": "AVX512-SKX"},
    "opencv without AVX2": {"OPENCV_CPU_DISABLE": "AVX512-SKX,AVX2,FMA3"},
    "opencv without IPP": {"OPENCV_IPP": "disabled"},
    "C library without FMA": {"GLIBC_TUNABLES": "glibc.cpu.hwcaps=-FMA,-AVX2,-FMA4"},
}
MUST = ("blas",)  # choices by which no file may differ, by the first word


def cases(scenes: int) -> dict[str, tuple[str | int, dict]]:
    """Pictures by name: a file or the number of a rendered scan, and the keywords of `digitize.outline`."""
    fobs = {"square_mm": 30}
    found: dict[str, tuple[str | int, dict]] = {
        "fobs": ("fobs.jpg", fobs | {"symmetric": True, "clearance_mm": 0.2}),
        "fobs-router": ("fobs.jpg", fobs | {"cut": "router", "relief": "diagonal", "notches": 2}),
        "fobs-knife": ("fobs.jpg", fobs | {"cut": "knife"}),
        "tag": ("tag.jpg", {"measured_mm": (53.90, 53.80), "clearance_mm": 0.2}),
        "ornament": ("ornament.png", {"square_mm": 30, "ideal": True}),
        "case": ("case.jpg", {"square_mm": 40, "clearance_mm": 0.15, "kerf_mm": 0.1}),
        "badge": ("badge.jpg", {"measured_mm": (54, 54), "item_height_mm": 3.2, "clearance_mm": 0.2}),
        "hanger": (
            "hanger.jpg",
            {"measured_mm": (100, 100), "lens": str(SAMPLES / "phone.toml"), "item_height_mm": 4},
        ),
    }
    found |= {
        path.stem: (str(path), {"square_mm": 25})
        for path in sorted((SAMPLES / "night").glob("*"))
        if path.suffix in (".png", ".jpg")
    }
    return found | {f"scan-{number}": (number, {}) for number in range(scenes)}


def pictures(scenes: int, folder: Path) -> None:
    """Render the scans once, with what is to be said of them."""
    from tests.truth.lid_scenes import lid_picture
    from tests.truth.light import png_bytes

    for number in range(scenes):
        made = lid_picture(number)
        (folder / f"{number}.png").write_bytes(png_bytes(made.pixels, (made.dpi, made.dpi)))
        said = {"dpi": made.dpi} if made.square_mm is None else {"square_mm": made.square_mm}
        (folder / f"{number}.json").write_text(json.dumps(said))


def outline_all(scenes: int, folder: Path, out: Path) -> None:
    """Outline every picture in this process, and write all its files."""
    import digitize

    for name, (picture, options) in cases(scenes).items():
        if isinstance(picture, int):
            options = json.loads((folder / f"{picture}.json").read_text())
            picture = folder / f"{picture}.png"
        try:
            digitize.outline(SAMPLES / picture, **options).save(out / name)
        except digitize.DigitizeError as error:
            (out / name).mkdir(parents=True)
            (out / name / "refused.txt").write_text(str(error))


def digests(scenes: int, folder: Path, out: Path, variables: dict[str, str]) -> dict[str, str]:
    """Outline all in a process of its own with these variables; file by file what was written."""
    code = f"from tests.bench.machines import *; outline_all({scenes}, Path({str(folder)!r}), Path({str(out)!r}))"
    chosen = {name for choice in CHOICES.values() for name in choice}
    kept = {name: value for name, value in os.environ.items() if name not in chosen}
    subprocess.run([sys.executable, "-c", code], cwd=ROOT, env=kept | variables, check=True)
    return {
        str(path.relative_to(out)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(out.rglob("*"))
        if path.is_file()
    }


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--only", default="")
    parser.add_argument("--scenes", type=int, default=12)
    parser.add_argument("--keep", type=Path)
    asked = parser.parse_args()
    good = True
    with tempfile.TemporaryDirectory() as kept:
        folder, out = Path(kept), asked.keep or Path(kept) / "out"
        pictures(asked.scenes, folder)
        usual = digests(asked.scenes, folder, out / "as it is", {})
        print(f"{len(cases(asked.scenes))} pictures, {len(usual)} files")
        for name, variables in CHOICES.items():
            if not name.startswith(asked.only):
                continue
            found = digests(asked.scenes, folder, out / name, variables)
            others = sorted(key for key in usual.keys() | found.keys() if usual.get(key) != found.get(key))
            same = len(usual) - len(others)
            print(f"  {name:24s} {same} of {len(usual)} the same", ", ".join(others[:6]), flush=True)
            good = good and not (others and name.startswith(MUST))
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
