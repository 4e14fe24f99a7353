"""The table on screen, from a result made by hand."""

import math
from dataclasses import replace
from pathlib import Path

import pytest

from digitize.cli.table import Ended, closing_lines, report_lines
from digitize.records import Allowance, Calipers, Finding, IdealShape, Symmetry
from digitize.run import Report
from digitize.write.words import cut_words
from tests.made import fob, result, tag


def lines(made=None, written=(), *, verbose=False):
    return report_lines(Report(result() if made is None else made, tuple(Path(p) for p in written)), verbose=verbose)


def cells(rows, name):
    (row,) = [row for row in rows if row.split()[:1] == [name] and "Cut" not in row]
    return row.split()


def test_the_first_line_says_what_the_scale_rests_on():
    first = lines()[0]
    assert first.startswith("lantern row 7.png: scale from plain square 50 x 50 mm, ")
    assert "600.0 x 601.0 dpi" in first
    assert " um" not in first
    assert "reference fits within 4.0 um" in lines(verbose=True)[0]


def test_the_first_line_of_a_photo_speaks_of_px_per_mm_and_without_a_reference_of_no_fit():
    made = result()
    photo = replace(made, scale=replace(made.scale, kind="camera", mm_per_px=(0.1, 0.1), reference="mat a4"))
    assert lines(photo)[0] == "lantern row 7.png: scale from mat a4, about 10.0 px per mm on the card"
    density = replace(made, scale=replace(made.scale, reference="--dpi (600 dpi)", corners_px=None))
    assert lines(density, verbose=True)[0] == "lantern row 7.png: scale from --dpi (600 dpi), 600.0 x 601.0 dpi"


def test_every_item_has_its_sizes_and_uncertainty():
    rows = lines()
    assert " ".join(cells(rows, "item")) == "item calipers box as laid area holes outline ± length ±"
    # length: 0.024 mm and 0.3 mm a metre of 60 mm as root sum of squares, from the record's numbers
    length = math.hypot(0.024, 0.3 * 60 / 1000)
    area = 60 * 40 - (4 - math.pi) * 36 - math.pi * 6.25
    assert cells(rows, "tag-1") == [*("tag-1", "60.000", "x", "40.000", f"{area:.2f}", "1", "0.012", f"{length:.3f}")]
    assert cells(rows, "fob-1")[1:6] == ["50.000", "x", "20.000", f"{600 + 100 * math.pi:.2f}", "0"]
    assert any("k = 2" in row and "mm" in row for row in rows)


def test_what_calipers_read_stands_before_the_box_with_their_own_figure():
    read = Calipers(49.98, 29.84, 10.0, 0.0251, 0.0246)
    turned = replace(tag(), width_mm=53.77, height_mm=37.49, calipers=read)
    row = cells(lines(result(turned)), "tag-1")
    assert row[1:7] == ["49.980", "x", "29.840", "53.770", "x", "37.490"]
    assert row[-1] == "0.025"


def test_columns_stand_under_one_another_also_with_long_names():
    made = result(replace(tag(), name="a tag with a very long name of its own-12"), fob())
    rows = lines(made)
    table = rows[1:4]
    assert len({len(row) for row in table}) == 1
    for row in table[1:]:
        assert row.rstrip()[-1].isdigit()


def test_where_the_path_runs_is_said_in_words_and_the_chain_to_experts():
    (row,) = [row for row in lines() if "Cut" in row]
    assert row.strip() == "tag-1: Cut 0.11 mm outside the item: 0.20 room less half the 0.18 kerf"
    (row,) = [row for row in lines(verbose=True) if "Cut" in row]
    assert row.endswith("(item > clearance +0.200 > kerf -0.090 > path +0.110 mm (outward is +))")
    assert not [row for row in lines(result(fob())) if "Cut" in row]


@pytest.mark.parametrize(
    ("chain", "words"),
    [
        ((("clearance", 0.2), ("kerf", -0.09)), "Cut 0.11 mm outside the item: 0.20 room less half the 0.18 kerf"),
        (
            (("lot", 0.0), ("clearance", 0.2), ("cutter", -1.5)),
            "Cut 1.30 mm inside the item's edge: 0.20 room less half the 3.00 cutter",
        ),
        ((("clearance", 0.0), ("kerf", 0.0)), "Cut on the item's edge"),
        ((("clearance", 0.1), ("kerf", -0.1)), "Cut on the item's edge: 0.10 room less half the 0.20 kerf"),
        (
            (("clearance", 0.2), ("draft", 1.0), ("shrink", 0.0, 1.00604)),
            "Cut 1.20 mm outside the item: 0.20 room and 1.00 for the draft, then all of it 0.60 % larger",
        ),
    ],
)
def test_every_way_of_cutting_has_its_words(chain, words):
    assert cut_words(replace(tag().pocket, chain=tuple(Allowance(*link) for link in chain))) == words


def test_findings_are_shown_by_how_much_they_matter():
    rows = [row.strip() for row in lines()]
    look = next(n for n, row in enumerate(rows) if row.startswith("LOOK"))
    note = next(n for n, row in enumerate(rows) if row.startswith("note"))
    assert look < note
    assert rows[look].startswith("LOOK  Item 1: the lower edge")
    assert rows[look].endswith("Put a dark sheet behind and scan again.")
    assert rows[note].startswith("note  2 items found")
    assert not [row for row in rows if "shadow-suspected" in row]
    said = lines(verbose=True)
    assert any(row.strip() == "[shadow-suspected]; value 0.03; limit 0.02" for row in said)


def test_how_to_ask_for_a_pocket_and_what_to_look_at_is_said_once_below_all():
    def ended(made, *names):
        return Ended.of(Report(made, tuple(Path("out") / name for name in names)))

    with_pocket, without = ended(result(), "a.dxf", "a.check.png"), ended(result(fob()), "b.check.png", "b.json")
    assert closing_lines([with_pocket]) == ["Look at a.check.png now."]
    first, second = closing_lines([without])
    assert "--cut laser" in first
    assert second == "Look at b.check.png now."
    assert closing_lines([with_pocket, without]) == ["Look at the check pictures now: a.check.png, b.check.png."]
    assert closing_lines([without] * 5)[1].endswith("b.check.png, b.check.png and 2 more.")
    assert closing_lines([]) == []


def test_written_files_come_last():
    rows = lines(written=["out/a.dxf", "out/a.svg"])
    assert [row.split() for row in rows[-2:]] == [["wrote", "out/a.dxf"], ["wrote", "out/a.svg"]]


@pytest.mark.parametrize("attention", [True, False])
def test_findings_of_a_pocket_are_shown_with_its_item(attention):
    item = tag()
    finding = Finding("pocket-tight", "The pocket is tight.", attention=attention)
    made = result(replace(item, findings=(), pocket=replace(item.pocket, findings=(finding,))))
    (row,) = [row for row in lines(made) if "is tight" in row]
    assert row.strip().startswith(("LOOK" if attention else "note") + "  The pocket is tight")


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
        "mm and mm2; calipers: length x least width between jaws; ± is k = 2 (about 95 %)",
        "outline ±0.012 of tag-1 comes from edge 0.008, card 0.007 (squares add)",
        "hole 1 of all items is a circle, diameter 5.000 to 5.002 mm (edge within 0.020 mm of it; written so)",
        "outline of all items is symmetric (within 0.022 mm of its image); --symmetric writes it so",
        "Cut 0.11 mm outside the item: 0.20 room less half the 0.18 kerf",
        "LOOK  All 20 items: the edge is soft Look at the check picture, and compare a length with calipers.",
        "note  2 items found Look at the check picture, and compare a length with calipers.",
    ]


def test_what_differs_stands_apart_with_the_names_it_is_true_of():
    one = replace(tag(), shapes=(None, circle(5.0)))
    other = replace(tag(name="tag-2"), pocket=replace(tag().pocket, chain=(Allowance("clearance", 0.3),)))
    said = "\n".join(lines(result(one, other)))
    assert "tag-1: Cut 0.11 mm outside the item" in said
    assert "tag-2: Cut 0.30 mm outside the item: 0.30 room" in said
    assert "hole 1 of tag-1 is a circle, diameter 5.000 mm" in said


def test_one_item_alone_has_all_its_figures():
    made = result(replace(tag(), shapes=(None, circle(5.0))))
    (row,) = [row for row in lines(made) if "circle" in row]
    assert row.strip() == "tag-1 hole 1 is a circle, diameter 5.000 mm (edge within 0.001 mm of it; written so)"
    (row,) = [row for row in lines(made, verbose=True) if "circle" in row]
    assert row.strip().startswith("tag-1 hole 1 is a circle, diameter 5.000 mm (sd of the fit 0.0002 mm")


def test_no_kerf_has_no_sign():
    pocket = replace(tag().pocket, chain=(Allowance("clearance", 8.0), Allowance("kerf", -0.0)))
    assert "kerf +0.000" in "\n".join(lines(result(replace(tag(), pocket=pocket)), verbose=True))


def test_sizes_in_inches_stand_beside_those_in_mm():
    rows = report_lines(Report(replace(result(), options={"units": "inch"}), ()))
    assert "2.3622 x 1.5748" in rows[2]  # 60 / 25.4 and 40 / 25.4
    assert len({len(line) for line in rows[1:4]}) == 1
    assert any("in inches" in line for line in rows)
    assert not any("inch" in line for line in lines())
