"""The table on screen, from a result made by hand."""

import math
from dataclasses import replace
from pathlib import Path

import pytest

from digitize.records import Finding
from digitize.run import Report
from digitize.table import report_lines
from tests.made import fob, result, tag


def lines(made=None, written=()):
    return report_lines(Report(result() if made is None else made, tuple(Path(p) for p in written)))


def cells(rows, name):
    (row,) = [row for row in rows if row.split()[:1] == [name] and "pocket" not in row]
    return row.split()


def test_the_first_line_says_what_the_scale_rests_on():
    first = lines()[0]
    assert first.startswith("lantern row 7.png: plain square 50 x 50 mm, ")
    assert "600.0 x 601.0 dpi" in first
    assert "within 4.0 um" in first


def test_the_first_line_of_a_photo_speaks_of_px_per_mm_and_without_a_reference_of_no_fit():
    made = result()
    photo = replace(made, scale=replace(made.scale, kind="camera", mm_per_px=(0.1, 0.1), reference="mat a4"))
    assert (
        lines(photo)[0] == "lantern row 7.png: mat a4, about 10.0 px per mm on the card, reference fits within 4.0 um"
    )
    density = replace(made, scale=replace(made.scale, reference="--dpi (600 dpi)", corners_px=None))
    assert lines(density)[0] == "lantern row 7.png: --dpi (600 dpi), 600.0 x 601.0 dpi"


def test_every_item_has_its_sizes_and_uncertainty():
    rows = lines()
    assert cells(rows, "item") == ["item", "width", "height", "area", "holes", "outline", "±", "length", "±"]
    # length: 0.024 mm and 0.3 mm a metre of 60 mm as root sum of squares, from the record's numbers
    length = math.hypot(0.024, 0.3 * 60 / 1000)
    area = 60 * 40 - (4 - math.pi) * 36 - math.pi * 6.25
    assert cells(rows, "tag-1") == ["tag-1", "60.000", "40.000", f"{area:.2f}", "1", "0.012", f"{length:.3f}"]
    assert cells(rows, "fob-1")[1:5] == ["50.000", "20.000", f"{600 + 100 * math.pi:.2f}", "0"]
    assert any("k = 2" in row and "mm" in row for row in rows)


def test_columns_stand_under_one_another_also_with_long_names():
    made = result(replace(tag(), name="a tag with a very long name of its own-12"), fob())
    rows = lines(made)
    table = rows[1:4]
    assert len({len(row) for row in table}) == 1
    for row in table[1:]:
        assert row.rstrip()[-1].isdigit()


def test_the_chain_of_the_pocket_is_shown_with_its_sum():
    (row,) = [row for row in lines() if "pocket" in row]
    assert row.strip() == "tag-1 pocket: item -> clearance +0.200 -> kerf -0.090 -> path +0.110 mm"
    assert not [row for row in lines(result(fob())) if "pocket" in row]


def test_findings_are_shown_by_how_much_they_matter():
    rows = lines()
    note = next(row for row in rows if "two-items" in row)
    look = next(row for row in rows if "shadow-suspected" in row)
    assert note.strip() == "note [two-items] lantern row 7.png: 2 items found"
    assert look.strip().startswith("LOOK [shadow-suspected] tag-1: the lower edge")


def test_written_files_come_last():
    rows = lines(written=["out/a.dxf", "out/a.svg"])
    assert [row.split() for row in rows[-2:]] == [["wrote", "out/a.dxf"], ["wrote", "out/a.svg"]]


@pytest.mark.parametrize("attention", [True, False])
def test_findings_of_a_pocket_are_shown_with_its_item(attention):
    item = tag()
    finding = Finding("pocket-tight", "the pocket is tight", attention=attention)
    made = result(replace(item, findings=(), pocket=replace(item.pocket, findings=(finding,))))
    (row,) = [row for row in lines(made) if "pocket-tight" in row]
    assert row.strip().startswith("LOOK" if attention else "note")
    assert "tag-1" in row
