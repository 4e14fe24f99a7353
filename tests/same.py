"""Whether a change left what the command writes as it was, byte for byte: for work that moves code without changing it.

::

    python -m tests.same --store before.json      # before the change
    python -m tests.same --against before.json    # after it: prints each difference, and returns 1 if there is one

A fixed list of commands (tests/same_commands.py) runs as ``python -m digitize ...`` of this clone, each in a new
temporary folder with copies of its pictures. Of each are kept: the exit code and the SHA-256 of stdout, of stderr and
of every file in the folder afterwards. Both runs need the same machine and library versions; the digests of the
rendered pictures are kept too, so that a difference in the pictures themselves is seen as such.

Left out or put out of the way, as they hold clocks and process numbers: the batch's ``.digitize`` folder (ledger and
locks), its seconds a picture on stdout and stderr, and the name of the temporary folder. Of what was said on stdout and
stderr the text is kept as well, so that a difference can be shown line by line. Takes about a minute.

Nothing of the package is imported here: its modules may move.
"""

from __future__ import annotations

import argparse
import difflib
import hashlib
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from tests.same_commands import LENS_VIEWS, Command, commands, lens_names
from tests.truth import zoo
from tests.truth.camera import camera
from tests.truth.flatbed import Scene, save_png
from tests.truth.photo import PhotoScene, save_photo
from tests.truth.scenes import shape_of

ROOT = Path(__file__).resolve().parents[1]
SAMPLES = ROOT / "samples"
TEMPORARY = "<folder>"
CLOCKS = ".digitize"  # the batch's ledger and locks
SECONDS = re.compile(r"\b\d+(\.\d+)? s\b")
LONGEST_S = 120  # of one command

PHOTO_PX = (2000, 1500)
FOCAL_PX = 1544.0


# --- pictures ----------------------------------------------------------------------------------------------------


def make_inputs(folder: Path) -> None:
    """Put every picture and text file that the commands name into `folder`."""
    for name in ("fobs.jpg", "tag.jpg", "case.jpg", "ornament.png"):
        shutil.copyfile(SAMPLES / name, folder / name)
    _write_texts(folder)
    _scan(folder / "plain.png", shape="star", square_mm=30, dpi=300)
    _scan(folder / "bare.png", shape="tag", square_mm=None, dpi=300)
    _fill(folder / "scans", 3)
    _fill(folder / "mixed", 1)
    (folder / "mixed" / "words.png").write_text("no picture\n")
    _scan(folder / "mixed" / "bare.png", shape="tag", square_mm=None, dpi=120)
    _beside(folder / "beside.jpg", item=True)
    _beside(folder / "empty.jpg", item=False)
    artwork = _mat_artwork(folder)
    _on_mat(folder / "mat.jpg", artwork, item=True)
    for number, name in enumerate(lens_names()):
        _on_mat(folder / name, artwork, item=False, tilt=18, towards=360 * number / LENS_VIEWS, seed=number)
    _run(("profile", "lens", *lens_names()), folder)  # lens.toml, for --profile


def _write_texts(folder: Path) -> None:
    (folder / "own.toml").write_text(
        'format = "digitize-cutting"\nversion = 1\n\n[laser]\nclearance_mm = 0.17\nkerf_mm = 0.31\nlead_in_mm = 1.0\n'
    )
    (folder / "table.csv").write_text("file,square,clearance\nscan-0.png,25,0.1\nscan-2.png,25x25,0.3\n")
    (folder / "words.png").write_text("no picture\n")
    (folder / "fobs.svg").write_text("<svg>by someone else</svg>\n")
    whole = (folder / "fobs.jpg").read_bytes()
    (folder / "short.jpg").write_bytes(whole[: len(whole) // 2])


def _scan(path: Path, *, shape: str, square_mm: float | None, dpi: float, seed: int = 0) -> None:
    scene = Scene(105, 75, dpi_x=dpi, seed=seed, noise_codes=1.5)
    if square_mm is not None:
        scene.add_square(square_mm, (22, 37.5), 3.0 + seed)
    scene.add_item(zoo.BLANKS[shape](), (70, 37.5), 7.0 * seed, (0.08, 0.10, 0.12))
    save_png(path, scene.render())


def _fill(folder: Path, count: int) -> None:
    folder.mkdir()
    for number, shape in enumerate(("key-fob", "tag", "scalloped")[:count]):
        _scan(folder / f"scan-{number}.png", shape=shape, square_mm=25, dpi=120, seed=number)


def _photo_scene(background, *, distance_mm: float, tilt=7.0, towards=60.0, seed=3) -> PhotoScene:
    seen = camera(
        (0, 0), distance_mm, tilt_deg=tilt, tilt_towards_deg=towards, roll_deg=4, focal_px=FOCAL_PX, size_px=PHOTO_PX,
        k1=0.03,
    )  # fmt: skip
    return PhotoScene(seen, background=background, vignette=0.15, noise_codes=1.2, seed=seed)


def _beside(path: Path, *, item: bool) -> None:
    scene = _photo_scene((0.78, 0.77, 0.75), distance_mm=300, seed=3 if item else 4)
    scene.add_square(50, (-45, 5), 20)
    if item:
        scene.add_item(shape_of("key-fob"), (40, -5), 30, height_mm=3.0)
    save_photo(path, scene.render())


def _on_mat(path: Path, artwork, *, item: bool, **view) -> None:
    """Photo of the mat turned to lie along the picture's rows."""
    sheet_mm, polygons = artwork
    scene = _photo_scene((0.3, 0.22, 0.15), distance_mm=330 if item else 380, **view)
    scene.add_paper(*sheet_mm[::-1], (0, 0))
    turn = np.array([[0.0, 1.0], [-1.0, 0.0]])
    for rings in polygons:
        scene.add_polygon([ring @ turn for ring in rings], 0.04)
    if item:
        scene.add_item(shape_of("tag"), (5, -4), 40, height_mm=3.0)
    save_photo(path, scene.render())


def _mat_artwork(folder: Path):
    """Sheet size and black polygons of the mat, mm about its centre, y up, from the drawing that the command writes."""
    _run(("card", "--kind", "mat", "--paper", "a4", "--format", "svg"), folder)
    drawing = (folder / "mat-a4.svg").read_text()
    width, height = map(float, re.search(r'viewBox="0 0 (\S+) (\S+)"', drawing).groups())
    polygons = []
    for path in re.findall(r'class="(?:ring|code)" d="([^"]+)"', drawing):
        numbers = [np.array(re.findall(r"-?[\d.]+", ring), float) for ring in path.split("Z") if ring.strip()]
        polygons.append([(ring.reshape(-1, 2) - (width / 2, height / 2)) * (1, -1) for ring in numbers])
    assert polygons, "the mat's drawing holds no ring"
    return (width, height), polygons


# --- running -----------------------------------------------------------------------------------------------------


def outcome() -> dict:
    """Run everything; return the digests of the inputs, and what came of each command by its name."""
    with tempfile.TemporaryDirectory() as below:
        base = Path(below).resolve()
        inputs = base / "inputs"
        inputs.mkdir()
        make_inputs(inputs)
        came = {command.name: _outcome(command, inputs, base / "work") for command in commands()}
        return {"inputs": _digests(inputs), "commands": came}


def _outcome(command: Command, inputs: Path, work: Path) -> dict:
    print(command.name, file=sys.stderr, flush=True)
    work.mkdir()
    given = {name for name in (*command.words, *command.needs) if _is_input(inputs, command, name)}
    for name in given:
        copy = shutil.copytree if (inputs / name).is_dir() else shutil.copyfile
        copy(inputs / name, work / name)
    done = _run(command.words, work)
    said = {"stdout": _steady(done.stdout, work, command), "stderr": _steady(done.stderr, work, command)}
    files = _digests(work)
    shutil.rmtree(work)
    return {
        "words": list(command.words),
        "exit": done.returncode,
        "files": files | {f"<{stream}>": _sha256(text) for stream, text in said.items()},
        "said": {stream: text.decode(errors="replace") for stream, text in said.items()},
    }


def _is_input(inputs: Path, command: Command, name: str) -> bool:
    """Whether a word names an input, and not what `--to` is to write."""
    at = command.words.index(name) if name in command.words else 0
    return (inputs / name).exists() and (at == 0 or command.words[at - 1] != "--to")


def _run(words: tuple[str, ...], folder: Path) -> subprocess.CompletedProcess:
    more = {"PYTHONPATH": str(ROOT), "COLUMNS": "80", "LC_ALL": "C.UTF-8", "TERM": "dumb", "NO_COLOR": "1"}
    return subprocess.run(
        [sys.executable, "-m", "digitize", *words],
        cwd=folder,
        env={**os.environ, **more},
        capture_output=True,
        stdin=subprocess.DEVNULL,
        timeout=LONGEST_S,
        check=False,
    )


def _steady(said: bytes, work: Path, command: Command) -> bytes:
    text = said.decode(errors="surrogateescape").replace(str(work), TEMPORARY)
    if command.words[:1] == ("batch",):
        text = SECONDS.sub("<time> s", text)
    return text.encode(errors="surrogateescape")


def _digests(folder: Path) -> dict[str, str]:
    return {
        path.relative_to(folder).as_posix(): _sha256(path.read_bytes())
        for path in sorted(folder.rglob("*"))
        if path.is_file() and CLOCKS not in path.relative_to(folder).parts
    }


def _sha256(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


# --- comparing ---------------------------------------------------------------------------------------------------


def differences(before: dict, after: dict) -> Iterator[str]:
    """Yield a line (or a few) for every difference, by command and file."""
    for name, how in _changes(before["inputs"], after["inputs"]):
        yield f"input {name}: {how}"
    for name, how in _changes(_words(before), _words(after)):
        yield f"{name}: the command {how}"
    for name in (name for name in before["commands"] if name in after["commands"]):
        old, new = before["commands"][name], after["commands"][name]
        if old["exit"] != new["exit"]:
            yield f"{name}: exit code {old['exit']} -> {new['exit']}"
        for file, how in _changes(old["files"], new["files"]):
            yield f"{name}: {file} {how}"
            yield from _lines(old["said"], new["said"], file.strip("<>"))


def _words(outcome: dict) -> dict[str, list[str]]:
    return {name: one["words"] for name, one in outcome["commands"].items()}


def _changes(before: dict, after: dict) -> Iterator[tuple[str, str]]:
    for name in sorted(before.keys() | after.keys()):
        if name not in after:
            yield name, "is missing now"
        elif name not in before:
            yield name, "is new"
        elif before[name] != after[name]:
            yield name, "differs"


def _lines(old: dict, new: dict, stream: str) -> Iterator[str]:
    changed = difflib.unified_diff(old.get(stream, "").splitlines(), new.get(stream, "").splitlines(), lineterm="", n=0)
    yield from (f"    {line}" for line in changed if not line.startswith(("---", "+++", "@@")))


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    which = parser.add_mutually_exclusive_group(required=True)
    which.add_argument("--store", type=Path, metavar="FILE", help="run, and write what came of it to FILE")
    which.add_argument("--against", type=Path, metavar="FILE", help="run, and compare with FILE")
    asked = parser.parse_args()
    before = json.loads(asked.against.read_text()) if asked.against else None
    after = outcome()
    if before is None:
        asked.store.write_text(json.dumps(after, indent=1) + "\n")
        print(f"{len(after['commands'])} commands, {sum(len(c['files']) for c in after['commands'].values())} digests")
        return 0
    found = list(differences(before, after))
    print("\n".join(found) or f"all {len(after['commands'])} commands as before")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
