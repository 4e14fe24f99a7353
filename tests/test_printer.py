"""A printer's errors: found from crosses by least squares, undone in the template and nowhere else, told in words."""

import datetime
import math

import numpy as np
import pypdfium2
import pytest
import shapely
from typer.testing import CliRunner

from digitize.cli.commands import app
from digitize.cli.printer import read_printer
from digitize.document.document import document_bytes
from digitize.errors import UsageError
from digitize.plate.asked import PlateAsked
from digitize.plate.layout import laid
from digitize.plate.plate import ZEROS
from digitize.plate.printer import Printer, crosses, fitted
from digitize.write.plate.files import cross_files
from digitize.write.plate.template import template_files
from tests import made
from tests.plates import BED, kind, tag
from tests.test_plate_files import svg_loops
from tests.test_write_dxf import loops as dxf_loops
from tests.test_write_dxf import read_back
from tests.test_write_pdf import drawn as pdf_drawn

SHIFT, TURN_DEG, SCALE = (0.3, -0.2), 0.4, (1.002, 0.9985)


def printed(points, shift=SHIFT, turn_deg=TURN_DEG, scale=SCALE):
    """Where a printer of these errors prints what is drawn: scaled, turned as complex numbers are, shifted."""
    x, y = np.asarray(points, dtype=float).T
    at = (x * scale[0] + 1j * y * scale[1]) * np.exp(1j * math.radians(turn_deg)) + complex(*shift)
    return np.column_stack([at.real, at.imag])


def measured(zero="top-left", **errors):
    places = crosses(BED, zero)
    off = printed(list(places.values()), **errors) - list(places.values())
    return {number: tuple(one) for number, one in zip(places, off.tolist(), strict=True)}


@pytest.mark.parametrize("zero", ZEROS)
def test_crosses_stand_in_corners_and_middle_numbered_from_zero(zero):
    """15 mm from the edges of a bed of 305 x 458: 275 and 428 mm apart."""
    places = {number: np.abs(at) for number, at in crosses(BED, zero).items()}
    expected = [(15, 15), (290, 15), (15, 443), (290, 443), (152.5, 229)]
    assert np.array(list(places.values())) == pytest.approx(np.array(expected))


@pytest.mark.parametrize("zero", ZEROS)
def test_shift_turn_and_scales_are_found_and_undone(zero):
    printer, findings = fitted("shelf", BED, zero, measured(zero))
    assert findings == ()
    assert printer.shift_mm == pytest.approx(SHIFT, abs=1e-4)
    assert printer.turn_deg == pytest.approx(TURN_DEG, abs=1e-6)
    assert printer.scale == pytest.approx(SCALE, abs=1e-8)
    assert max(printer.left_over_mm.values()) <= 1e-4
    matrix, shift = printer.undone()
    wanted = np.random.default_rng(1).uniform(-300, 300, (20, 2))
    assert printed(wanted @ matrix + shift) == pytest.approx(wanted, abs=2e-4)  # the shift is kept to 0.1 um


def test_noise_is_averaged_as_least_squares_do():
    """Held against numpy's least squares of the model with small turns, and what is left over against its residuals."""
    noisy = {n: tuple(np.add(one, np.random.default_rng(n).normal(0, 0.03, 2))) for n, one in measured().items()}
    printer, _ = fitted("shelf", BED, "top-left", noisy)
    rows, right = [], []
    for number, (x, y) in crosses(BED, "top-left").items():
        rows += [(1, 0, x, 0, -y), (0, 1, 0, y, x)]
        right += noisy[number]
    found, *_ = np.linalg.lstsq(np.array(rows), np.array(right), rcond=None)
    assert printer.shift_mm == pytest.approx(found[:2], abs=0.02)  # turns of 0.4 degrees are not so small
    assert math.radians(printer.turn_deg) == pytest.approx(found[4], rel=2e-3)
    apart = np.reshape(np.array(right) - np.array(rows) @ found, (-1, 2))
    assert list(printer.left_over_mm.values()) == pytest.approx(np.hypot(*apart.T), abs=0.003)


def test_a_misread_cross_is_said():
    wrong = measured() | {4: (measured()[4][0] + 1.0, measured()[4][1])}
    _, (finding,) = fitted("shelf", BED, "top-left", wrong)
    assert finding.code == "printer-left-over"
    assert finding.value > 0.1


@pytest.mark.parametrize(
    ("shifts", "said"),
    [
        ({1: (0.1, 0.1), 2: (0.1, 0.1)}, "at least 3"),
        ({1: (0.1, 0.1), 4: (0.1, 0.1), 5: (0.1, 0.1)}, "in line"),
        ({1: (0.1, 0.1), 2: (0.1, 0.1), 6: (0.1, 0.1)}, "numbered 1 to 5"),
        ({1: (15.1, 15.0), 2: (290.0, 15.0), 3: (0.0, 0.1)}, "not where"),
        ({1: (0.0, 0.0), 2: (24.0, 0.0), 3: (0.0, 0.0)}, "fitted to the page"),
    ],
)
def test_shifts_that_cannot_be_meant(shifts, said):
    with pytest.raises(UsageError, match=said):
        fitted("shelf", BED, "top-left", shifts)


@pytest.mark.parametrize("zero", ["top-left", "bottom-right"])
def test_what_such_a_printer_prints_lies_on_the_plates_items(zero):
    """Every print area of SVG and PDF, sent through the printer's errors, against that of the plain template."""
    plate, _ = laid([kind(tag())], PlateAsked(bed_mm=BED, gap_mm=5.0, rows=1, columns=2, zero=zero), name="plate")
    printer = Printer("shelf", BED, zero, SHIFT, TURN_DEG, SCALE, {1: 0.0})
    plain = template_files(plate, "", only=(1, 2), formats=("dxf",)).files
    true = [shapely.Polygon(one) for one in dxf_loops(read_back(plain["template.dxf"]))["PRINT"]]
    made_of = template_files(plate, "", only=(1, 2), printer=printer)
    assert made_of.left_out == ("dxf",)
    size, found = pdf_drawn(made_of.files["template-shelf.pdf"])
    assert size == pytest.approx(BED, abs=1e-3)  # the page stays
    x, y = (0.0 if zero.endswith("left") else BED[0]), (0.0 if zero.startswith("bottom") else BED[1])
    svg = svg_loops(made_of.files["template-shelf.svg"], ("PRINT",))["PRINT"]
    for drawn in (
        [loop - (x, y) for loop in found["PRINT"]],
        [loop - (x, y - BED[1]) for loop in svg],
    ):
        on_bed = [shapely.Polygon(printed(loop)).buffer(0) for loop in drawn]
        assert len(on_bed) == len(true)
        for one in on_bed:
            best = min(true, key=lambda other, one=one: shapely.area(one.symmetric_difference(other)))
            assert shapely.area(one.symmetric_difference(best)) < 0.001 * best.length  # a micrometre all round


# --- the command -----------------------------------------------------------------------------------------------------


@pytest.fixture(autouse=True)
def settings(tmp_path, monkeypatch):
    monkeypatch.setenv("DIGITIZE_SETTINGS", str(tmp_path / "settings"))


def run(*words):
    return CliRunner().invoke(app, list(map(str, words)))


def said(shifts):
    return [word for number, (x, y) in shifts.items() for word in ("--shift", f"{number}={x:.2f},{y:.2f}")]


def test_from_the_sheet_to_a_corrected_template(tmp_path):
    bed = ["--bed", "305x458"]
    sheet = run("profile", "printer", "shelf", *bed, "--to", tmp_path)
    assert sheet.exit_code == 0, sheet.output
    assert (tmp_path / "shelf.crosses.pdf").exists()
    kept = run("profile", "printer", "shelf", *bed, *said(measured()))
    assert kept.exit_code == 0, kept.output
    back = read_printer("shelf")
    assert back.on == datetime.date.today()
    assert back.printer.scale == pytest.approx(SCALE, abs=5e-5)
    assert "scale 1.0020" in run("profile", "printer").output
    (tmp_path / "tag.json").write_bytes(document_bytes(made.result(tag())))
    run("plate", tmp_path / "tag.json", *bed, "--rows", 1, "--columns", 1, "--to", tmp_path)
    before = {path.name: path.read_bytes() for path in tmp_path.glob("plate.*")}
    done = run("template", tmp_path / "plate.json", "--printer", "shelf", "--to", tmp_path)
    assert done.exit_code == 0, done.output
    assert "corrected for printer shelf" in done.output
    assert "not written: dxf, which cannot hold the printer's correction" in done.output
    assert {name: (tmp_path / name).read_bytes() for name in before} == before  # the true one stays
    document = pypdfium2.PdfDocument((tmp_path / "plate.template-shelf.pdf").read_bytes())
    words = " ".join(document[0].get_textpage().get_text_bounded().split())
    document.close()
    assert "CORRECTED for the printer shelf and for no other" in words
    other = run("template", tmp_path / "plate.json", "--printer", "desk", "--to", tmp_path)
    assert other.exit_code == 2
    assert "there are: shelf" in other.output


def test_another_bed_is_refused(tmp_path):
    run("profile", "printer", "small", "--bed", "200x200", *said({1: (0, 0), 2: (0, 0), 3: (0, 0)}))
    (tmp_path / "tag.json").write_bytes(document_bytes(made.result(tag())))
    run("plate", tmp_path / "tag.json", "--bed", "305x458", "--rows", 1, "--columns", 1, "--to", tmp_path)
    done = run("template", tmp_path / "plate.json", "--printer", "small", "--to", tmp_path / "out")
    assert done.exit_code == 2
    assert "measured on a bed of 200 x 200" in done.output
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("word", ["1", "1=0.1", "1=a,b", "x=0.1,0.2"])
def test_a_shift_that_is_none(word):
    done = run("profile", "printer", "shelf", "--bed", "305x458", "--shift", word)
    assert done.exit_code == 2
    assert "such as 1=0.12,-0.05" in done.output


def test_the_sheet_has_its_crosses_where_the_fit_takes_them():
    lines = [
        (line.dxf.start, line.dxf.end)
        for line in read_back(cross_files(BED, "top-right", ("dxf",))["crosses.dxf"]).modelspace().query("LINE")
        if line.dxf.layer == "CHECK" and math.dist(line.dxf.start, line.dxf.end) == pytest.approx(16.0)
    ]
    middles = {(round((a.x + b.x) / 2, 6), round((a.y + b.y) / 2, 6)) for a, b in lines}
    assert middles == {(round(x, 6), round(y, 6)) for x, y in crosses(BED, "top-right").values()}
    assert len(lines) == 10
