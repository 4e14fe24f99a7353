"""The commands that tests/same.py runs; their pictures are made there."""

from __future__ import annotations

from dataclasses import dataclass

LENS_VIEWS = 5  # photos of the bare mat for the profile


@dataclass(frozen=True, slots=True)
class Command:
    """A command's words; `needs` are inputs that no word names."""

    name: str
    words: tuple[str, ...]
    needs: tuple[str, ...] = ()


def commands() -> list[Command]:
    """Return every command, in the order they run."""
    return [*_samples(), *_values(), *_cuts(), *_files(), *_photos(), *_folders(), *_cards(), *_refused(), *_help()]


def _command(name: str, line: str, *needs: str) -> Command:
    return Command(name, tuple(line.split()), needs)


def _samples() -> list[Command]:
    return [
        _command("fobs", "outline fobs.jpg --square 30"),
        _command("tag", "outline tag.jpg --measured 53.90x53.80"),
        _command("case", "outline case.jpg --square 40 --to out"),
        _command("ornament", "outline ornament.png --square 30"),
        _command("demo", "demo --to out"),
        _command("two pictures", "outline fobs.jpg plain.png --square 30x30 --to out --format json,dxf --json"),
    ]


def _values() -> list[Command]:
    """Options that change the outline or what is printed."""
    return [
        _command("ideal", "outline plain.png --square 30 --ideal"),
        _command("symmetric", "outline fobs.jpg --square 30 --symmetric --format json,dxf,svg"),
        _command("ideal, symmetric", "outline ornament.png --square 30 --ideal --symmetric --format json,dxf"),
        _command("bleed", "outline fobs.jpg --square 30 --bleed 2"),
        _command("inset", "outline fobs.jpg --square 30 --inset 1.5 --format json,dxf,svg"),
        _command("clearance and kerf", "outline fobs.jpg --square 30 --clearance 0.3 --kerf 0.15 --cut-holes"),
        _command("coarse", "outline tag.jpg --measured 53.9x53.8 --tolerance 0.1 --dust 3 --format json,svg"),
        _command("one item", "outline plain.png --square-at 260,443 --item-at 827,443 --square 30 --background light"),
        _command("density", "outline bare.png --dpi 300 --format json,dxf"),
        _command("read as a photo", "outline plain.png --square 30 --camera --item-height 0 --format json"),
    ]


def _cuts() -> list[Command]:
    """Every way of cutting with values of its own."""
    star, fobs = "outline plain.png --square 30 --cut", "outline fobs.jpg --square 30 --cut"
    return [
        _command("laser", f"{fobs} laser --lead-in 3"),
        _command("router, diagonal", f"{star} router --cutter 2 --relief diagonal --notches 2 --notch-width 12"),
        _command("router, side", "outline ornament.png --square 30 --cut router --relief side --format json,dxf,png"),
        _command("router, a notch", f"{star} router --notches 1 --notch-angle 40 --format json,dxf,png"),
        _command("router, no relief", f"{fobs} router --cutter 3.175 --relief none --pins --web 8 --format json,dxf"),
        _command("knife", f"{star} knife --least-radius 4"),
        _command("3D print", f"{fobs} print3d --first-layer 0.2 --pins --solid 6 --depth 4"),
        _command("former", f"{fobs} former --draft 4 --shrink 0.5 --plug-height 8 --solid 5 --format json,dxf,png"),
        _command("own values", f"{fobs} laser --cutting own.toml --node-spacing 0.5 --format json"),
    ]


def _files() -> list[Command]:
    """Which files are written, and how."""
    fobs = "outline fobs.jpg --square 30 --format"
    return [
        _command("solid", f"{fobs} json --solid 8 --clearance 0.2"),
        _command("only a drawing", f"{fobs} svg,pdf"),
        _command("each item a file", f"{fobs} dxf,svg,json --separate"),
        _command("DXF r12", f"{fobs} dxf --dxf-version r12 --ideal"),
        _command("DXF 2000", f"{fobs} dxf --dxf-version 2000 --bleed 1"),
        _command("JSON printed", f"{fobs} png --json"),
        _command("another's file replaced", f"{fobs} svg,json --force", "fobs.svg"),
    ]


def _photos() -> list[Command]:
    beside = "outline beside.jpg --square 50 --item-height 3"
    return [
        _command("photo with a mat", "outline mat.jpg --measured 100x100 --item-height 3"),
        _command("photo with a square", beside),
        _command("photo, round edge", "outline beside.jpg --square 50 --edge-height 1.5 --cut laser --format dxf"),
        _command("photo, empty view", f"{beside} --background-photo empty.jpg --format json,png"),
        _command("photo, no height", "outline beside.jpg --square 50 --format json"),
        _command("lens", f"profile lens {' '.join(lens_names())}"),
        _command("photo with a profile", f"{beside} --profile lens.toml --format json"),
    ]


def _folders() -> list[Command]:
    return [
        _command("folder", "batch scans --to out --square 25 --jobs 1"),
        _command("folder, by a table", "batch scans --to out --manifest table.csv --jobs 1 --json --format json,dxf"),
        _command("folder with bad ones", "batch mixed --to out --square 25 --jobs 1 --format json,svg --cut knife"),
    ]


def _cards() -> list[Command]:
    made = [
        _command(f"card {kind} {paper}", f"card --kind {kind} --paper {paper} --format pdf,svg,dxf")
        for kind in ("single", "mat")
        for paper in ("a4", "letter")
    ]
    return [
        *made,
        _command("card of 40 mm", "card --square 40 --to out"),
        _command("cutting, a file", "cutting --to cutting.toml"),
        _command("cutting, printed", "cutting"),
    ]


def _refused() -> list[Command]:
    """What ends with a message."""
    return [
        _command("no reference", "outline bare.png"),
        _command("no such square", "outline bare.png --square 30"),
        _command("square of another shape", "outline plain.png --square 30x55"),
        _command("no such file", "outline nothing.png --square 30"),
        _command("cut off", "outline short.jpg --square 30"),
        _command("not a picture", "outline words.png --square 30"),
        _command("one of two bad", "outline fobs.jpg words.png --square 30 --format json"),
        _command("no such option", "outline fobs.jpg --sqare 30"),
        _command("no number", "outline fobs.jpg --square thirty"),
        _command("no such way", "outline fobs.jpg --square 30 --cut saw"),
        _command("value of another way", "outline fobs.jpg --square 30 --cut laser --cutter 3"),
        _command("no such format", "outline fobs.jpg --square 30 --format gif"),
        _command("bleed and inset", "outline fobs.jpg --square 30 --bleed 2 --inset 1.5"),
        _command("kerf and cutter", "outline fobs.jpg --square 30 --cut router --kerf 0.2"),
        _command("no such values file", "outline fobs.jpg --square 30 --cut laser --cutting nothing.toml"),
        _command("bad values file", "outline fobs.jpg --square 30 --cut laser --cutting words.png"),
        _command("bad profile", "outline beside.jpg --square 50 --profile own.toml"),
        _command("too large", "outline fobs.jpg --square 30 --max-mpx 0.1"),
        _command("another's file", "outline fobs.jpg --square 30 --format svg,json", "fobs.svg"),
        _command("no such folder", "batch nothing --to out --square 25"),
        _command("too few views", f"profile lens {lens_names()[0]}"),
        _command("no such card", "card --kind double"),
        _command("card too large", "card --square 400"),
        _command("no such command", "measure fobs.jpg"),
        _command("no command", ""),
    ]


def _help() -> list[Command]:
    each = ("", "outline", "batch", "card", "cutting", "demo", "profile", "profile lens")
    return [_command(f"help {name}".strip(), f"{name} --help") for name in each] + [_command("version", "--version")]


def lens_names() -> list[str]:
    return [f"view-{number}.jpg" for number in range(LENS_VIEWS)]
