"""The table on screen, from a result made by hand."""

import math
from dataclasses import replace
from pathlib import Path

import pytest

from digitize.cli.table import report_lines
from digitize.records import Allowance, Finding, IdealShape, Symmetry
from digitize.run import Report
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


def circle(diameter, *, deviation=0.001):
    return IdealShape("circle", {"diameter": diameter}, {"diameter": 0.0002}, None, (8.0, 20.0), 0.0, deviation, True)


def test_twenty_like_items_have_one_line_each_and_one_of_every_kind_for_all():
    """All that is alike stands once: 20 rows, and as many other lines as a picture of two items has."""
    finding = Finding("edge-soft", "the edge is soft")

    def made(count):
        items = [
            replace(
                tag(name=f"tag-{n}"),
                shapes=(None, circle(5.0 + 0.001 * (n % 3), deviation=0.001 * n)),
                symmetry=Symmetry((30.0, 20.0), 1, 0.0, (90.0 + n,), (0.002 + 0.001 * n,)),
                findings=(finding,),
            )
            for n in range(1, count + 1)
        ]
        return lines(result(*items))

    two, twenty = made(2), made(20)
    assert len(twenty) - len(two) == 18
    said = [row.strip() for row in twenty[22:]]
    assert said == [
        "mm and mm2; ± is k = 2 (about 95 %)",
        "hole 1 of all items is a circle, diameter 5.000 to 5.002 mm (edge within 0.020 mm of it; written so)",
        "outline of all items is symmetric (within 0.022 mm of its image); --symmetric writes it so",
        "all items pocket: item -> clearance +0.200 -> kerf -0.090 -> path +0.110 mm",
        "note [two-items] lantern row 7.png: 2 items found",
        "LOOK [edge-soft] all items: the edge is soft",
    ]


def test_what_differs_stands_apart_with_the_names_it_is_true_of():
    one = replace(tag(), shapes=(None, circle(5.0)))
    other = replace(tag(name="tag-2"), pocket=replace(tag().pocket, chain=(Allowance("clearance", 0.3),)))
    said = "\n".join(lines(result(one, other)))
    assert "tag-1 pocket: item -> clearance +0.200" in said
    assert "tag-2 pocket: item -> clearance +0.300 -> path +0.300 mm" in said
    assert "hole 1 of tag-1 is a circle, diameter 5.000 mm" in said


def test_one_item_alone_has_all_its_figures():
    (row,) = [row for row in lines(result(replace(tag(), shapes=(None, circle(5.0))))) if "circle" in row]
    assert row.strip().startswith("tag-1 hole 1 is a circle, diameter 5.000 mm (sd of the fit 0.0002 mm")


def test_no_kerf_has_no_sign():
    pocket = replace(tag().pocket, chain=(Allowance("clearance", 8.0), Allowance("kerf", -0.0)))
    assert "kerf +0.000" in "\n".join(lines(result(replace(tag(), pocket=pocket))))
