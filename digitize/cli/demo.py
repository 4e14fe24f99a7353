"""The recipe on a scan that is inside the package: an invented workshop's fobs beside a plain square."""

from __future__ import annotations

from collections.abc import Sequence
from importlib import resources
from pathlib import Path

from ..plate.asked import PlateAsked
from ..plate.layout import laid
from ..plate.shape import kind_of
from ..run import Output, Report, outline_file
from ..settings import Settings
from ..write.plate.files import FORMATS
from .plate import PlateFiles, PlateReport, finished

PICTURE = "fobs.jpg"
SQUARE_MM = 30.0  # on the demo's own scan
CLEARANCE_MM = 0.2  # typical for laser-cut sheet; common practice, no source
TRUE_WIDTH_MM = 29.801  # of the first fob, as drawn (samples/fobs.expected.json)
KERF_MM = 0.18  # a laser in thin acrylic; test on your own
PLATE, BED_MM, SHEET_MM = "fob-plate", (210.0, 297.0), 3.0
ROWS, COLUMNS = 5, 4


def run_demo(output: Output) -> Report:
    """Outline the sample inside the package, with a pocket round each item.

    Raises
    ------
    DigitizeError
        As `digitize.run.outline_file`.
    """
    settings = Settings.of({"square": SQUARE_MM, "clearance": CLEARANCE_MM, "kerf": KERF_MM})
    with resources.as_file(resources.files("digitize") / "data" / PICTURE) as path:
        return outline_file(path, settings, output)


def demo_plate(report: Report, folder: Path, formats: Sequence[str], *, force: bool) -> PlateReport:
    """Lay pockets for the first fob on a plate, and write its drawings: the end of the job.

    Raises
    ------
    DigitizeError
        As `digitize.cli.plate.make_plate`.
    """
    asked = PlateAsked(bed_mm=BED_MM, thickness_mm=SHEET_MM, rows=ROWS, columns=COLUMNS)
    plate, blocks = laid([kind_of(report.result, report.result.items[0])], asked, name=PLATE)
    drawings = tuple(one for one in FORMATS if one in formats)
    return finished(plate, blocks, PlateFiles(folder, PLATE, formats=drawings, force=force))


def what_to_look_at(report: Report) -> tuple[str, ...]:
    """Return the lines that lead a newcomer through the files written."""
    item = report.result.items[0]
    says = {
        ".check.png": "the picture with what was measured drawn on it: look at this first, every time",
        ".dxf": "for the laser or router; open it in mm and measure the 100 mm bar on the layer CHECK",
        ".svg": "the same for drawing programs, true size in mm",
        ".proof.pdf": "for paper: print at 100 %, measure both bars, lay the item on it, write down what calipers say",
        ".pdf": "the same as a page, for programs that read PDF",
        ".json": "the outline as numbers, for whatever comes after",
    }
    lines = [
        "This is a rendered scan of the Lantern Row Workshop, which does not exist: three key fobs of one lot and a",
        f"plain black square of {SQUARE_MM:g} mm. The fobs differ by some tenths of a millimetre; the first came out",
        f"{item.width_mm:.3f} mm wide and was drawn {TRUE_WIDTH_MM:.3f}. Its pocket adds {CLEARANCE_MM:g} mm clearance",
        f"on each side; the path to cut lies half the kerf of {KERF_MM:g} mm inside the pocket's wall.",
    ]
    for path in report.written:
        ending = next((e for e in says if path.name.endswith(e)), None)
        if ending is not None:
            lines.append(f"  {path}: {says[ending]}")
    lines += [
        f"  {PLATE}.*: {ROWS * COLUMNS} pockets for the first fob on a sheet of {SHEET_MM:g} mm, {BED_MM[0]:g} x "
        f"{BED_MM[1]:g} mm: {PLATE}.cut to cut, {PLATE}.template for the",
        f"  artwork (digitize template {PLATE}.json --artwork FILE), {PLATE}.draft to lay by eye, {PLATE}.png to see",
    ]
    lines.append(f"Your own scan: digitize outline scan.png --square {SQUARE_MM:g} --to out/")
    return tuple(lines)
