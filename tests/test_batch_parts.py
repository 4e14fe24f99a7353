"""The parts of the batch one by one: finding, lists, names, ledger, reports."""

import csv
import io
import os
import unicodedata
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from digitize.batch.advice import attention_of
from digitize.batch.find import Found, Search, find_pictures
from digitize.batch.ledger import Ledger
from digitize.batch.lists import read_list, read_manifest
from digitize.batch.names import Place, natural, places_for
from digitize.batch.progress import Progress, span
from digitize.batch.reports import check_reports, write_reports
from digitize.batch.row import Row, plain
from digitize.batch.sweep import drop_stale, sweep_parts
from digitize.batch.tables import attention_csv, summary_csv
from digitize.batch.task import ItemFigures, Outcome, Task, Thumb, Wanted, Warned
from digitize.errors import PictureError, UsageError, WriteError
from digitize.options import Said, columns, file_columns
from digitize.run import Output
from digitize.seal import BLANK, seal
from digitize.settings import Settings
from digitize.words.of_failures import OF_FAILURES

OURS = seal(f"{BLANK}".encode())


def keys(found):
    return [one.key for one in found]


def tree(root, *names):
    for name in names:
        path = root / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(b"x")


# finding


def test_finds_by_ending_and_goes_down_only_when_told(tmp_path):
    tree(tmp_path, "b.PNG", "a.jpeg", "notes.txt", "png", ".hidden.png", "sub/c.tif", "sub/.d/e.png", "x.png/f.pdf")
    found, troubles = find_pictures(Search(root=tmp_path))
    assert (keys(found), troubles) == (["a.jpeg", "b.PNG"], [])
    found, _ = find_pictures(Search(root=tmp_path, recursive=True))
    assert keys(found) == ["a.jpeg", "b.PNG", "sub/c.tif", "x.png/f.pdf"]


def test_patterns(tmp_path):
    tree(tmp_path, "a.png", "b.scan", "sub/c.scan", "sub/a.png")

    def find(*patterns):
        return keys(find_pictures(Search(root=tmp_path, recursive=True, patterns=patterns))[0])

    assert find("*.scan") == ["b.scan", "sub/c.scan"]
    assert find("sub/*") == ["sub/a.png", "sub/c.scan"]
    assert find("a.*", "b.*") == ["a.png", "b.scan", "sub/a.png"]


def test_own_results_are_no_pictures(tmp_path):
    tree(tmp_path, "scan.png", "scan.pdf", "theirs.check.png", "out/scan.png")
    (tmp_path / "scan.check.png").write_bytes(OURS)
    (tmp_path / "made.pdf").write_bytes(OURS)
    found, _ = find_pictures(Search(root=tmp_path, recursive=True, leave_out=tmp_path / "out"))
    assert keys(found) == ["scan.pdf", "scan.png", "theirs.check.png"]


def test_links_that_go_round_end(tmp_path):
    tree(tmp_path, "in/a.png")
    (tmp_path / "in" / "round").symlink_to(tmp_path / "in", target_is_directory=True)
    (tmp_path / "in" / "loop.png").symlink_to("loop.png")
    found, _ = find_pictures(Search(root=tmp_path / "in", recursive=True))
    assert keys(found) == ["a.png", "loop.png"]


def test_folder_that_is_none(tmp_path):
    with pytest.raises(PictureError, match="none is not there: check its name"):
        find_pictures(Search(root=tmp_path / "none"))
    (tmp_path / "a.png").touch()
    with pytest.raises(PictureError, match="not a folder"):
        find_pictures(Search(root=tmp_path / "a.png"))


# lists and manifests


def test_list_file(tmp_path):
    path = tmp_path / "list.txt"
    path.write_text("\ufeff# tonight\na.png\n\nsub/./b c.png\n/other/d.png\n../e.png\ns3://shelf/f.png\n", "utf-8")
    found = read_list(path, str(tmp_path / "in"), anywhere=True)
    assert keys(found) == ["a.png", "sub/b c.png", "/other/d.png", str(tmp_path / "e.png"), "s3://shelf/f.png"]
    assert found[0].source == str(tmp_path / "in" / "a.png")


@pytest.mark.parametrize(
    "name",
    [
        "../e.png",
        "/other/d.png",
        "/in/../e.png",
        "/inside.png",
        "s3://shelf/f.png",
        "file:///etc/f.png",
        "simplecache::file:///in/a",
    ],
)
def test_lists_and_manifests_stay_in_the_folder(tmp_path, name):
    """Whoever wrote the list does not decide which files of this machine are opened; fsspec's chains lead anywhere."""
    (tmp_path / "list").write_text(f"a.png\n{name}\n")
    (tmp_path / "m.csv").write_text(f"file,note\n{name},x\n")
    for read in (
        lambda **more: read_list(tmp_path / "list", "/in", **more),
        lambda **more: read_manifest(tmp_path / "m.csv", "/in", (), **more),
    ):
        with pytest.raises(UsageError, match="--anywhere"):
            read()
        assert read(anywhere=True)[-1].source.endswith(name.removeprefix("file://").rpartition("/")[2])


def test_what_is_in_the_folder_may_be_named_in_every_way(tmp_path):
    names = ["a.png", "sub/../b.png", "./c.png", "d::e.png", "..f.png", "/in/g.png", "file:///in/h.png"]
    (tmp_path / "list").write_text("\n".join(names))
    assert keys(read_list(tmp_path / "list", "/in")) == [
        "a.png",
        "b.png",
        "c.png",
        "d::e.png",
        "..f.png",
        "g.png",
        "h.png",
    ]
    (tmp_path / "far").write_text("a.png\ns3://shelf/b.png\n")
    assert len(read_list(tmp_path / "far", "s3://shelf")) == 2
    for name in ("s3://shelf/../other/c.png", "s3://shelfish/c.png", "s3://shelf/x::file://etc"):
        (tmp_path / "far").write_text(name)
        with pytest.raises(UsageError, match="--anywhere"):
            read_list(tmp_path / "far", "s3://shelf")


def test_cells_that_name_files_stay_in_the_folder_too(tmp_path):
    assert set(file_columns(Settings)) == {"cutting", "profile", "background-photo", "by-hand"}
    (tmp_path / "m.csv").write_text("file,background-photo\na.png,/etc/photo.png\n")
    words = (tmp_path / "m.csv", "/in", columns(Settings))
    with pytest.raises(UsageError, match=r"/etc/photo\.png lies outside /in"):
        read_manifest(*words, files=file_columns(Settings))
    assert read_manifest(*words, files=file_columns(Settings), anywhere=True)


def test_manifest_with_comma_or_semicolon(tmp_path):
    path = tmp_path / "m.csv"
    path.write_text('file,Square,--kerf,note\na.png,50,,red\n"b,\n.png",49.8x49.9,0.2,\n', "utf-8")
    found = read_manifest(path, "/in", columns(Settings))
    assert [one.options for one in found] == [{"square": "50"}, {"square": "49.8x49.9", "kerf": "0.2"}]
    assert found[1].key == "b,\n.png"
    path.write_text("file;kerf;cut-holes\na.png;0,25;yes\n", "utf-8")
    (one,) = read_manifest(path, "/in", columns(Settings))
    settings = Said(Settings, {"square_mm": "40"}).with_cells(one.options).made()
    assert settings == Settings.of({"square": 40, "kerf": 0.25, "cut-holes": True})


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("", "column named file"),
        ("picture,kerf\n", "column named file"),
        ("file,krf\na.png,1\n", "unknown column 'krf'. Is kerf meant\\? Columns: file, note"),
        ("file,kerf,kerf\n", "twice"),
        ("file,kerf\na.png\n", "row 2"),
        ("file,kerf\n,1\n", "empty"),
        ("file\na.png\n./a.png\n", "twice"),
        ('file\n"a.png\n', "no proper CSV"),
    ],
)
def test_manifest_that_cannot_be_meant(tmp_path, text, expected):
    (tmp_path / "m.csv").write_text(text)
    with pytest.raises(UsageError, match=expected):
        read_manifest(tmp_path / "m.csv", "/in", columns(Settings))


def test_manifest_that_cannot_be_read(tmp_path):
    with pytest.raises(PictureError, match="cannot be read"):
        read_manifest(tmp_path / "none.csv", "/in", ())
    (tmp_path / "m.csv").write_bytes(b"file\n\xff.png\n")
    with pytest.raises(PictureError, match="UTF-8"):
        read_manifest(tmp_path / "m.csv", "/in", ())


@pytest.mark.parametrize(("name", "text"), [("kerf", "wide"), ("cut-holes", "perhaps"), ("square", "5y6")])
def test_cell_that_cannot_be_meant_names_its_option(name, text):
    with pytest.raises(UsageError, match=f"{name} {text}"):
        Said(Settings, {}).with_cells({name: text}).made()


def test_manifest_and_command_line_know_the_same_options():
    assert {"square", "measured", "clearance", "item-at"} <= set(columns(Settings))
    assert not {"format", "to", "force"} & set(columns(Settings))
    assert Said(Output, {}).made().formats == ("json", "dxf", "svg", "pdf", "proof", "png")


# names


def test_folders_are_mirrored_and_stems_kept():
    places = places_for(["a.png", "sub/a.png", "sub/deep/b.jpg"], {})
    assert [(p.folder, p.stem) for p in places.values()] == [("", "a"), ("sub", "a"), ("sub/deep", "b")]


def test_same_stem_in_one_folder():
    places = places_for(["scan.png", "scan.jpg", "Scan.tif", "scan_png.bmp"], {})
    assert [p.stem for p in places.values()] == ["scan_png", "scan_jpg", "Scan_tif", "scan_png_bmp"]


NFC, NFD = "caf\u00e9", "cafe\u0301"  # Unicode, annex 15: one text, put in two ways


def test_names_that_some_file_systems_take_for_one_are_told_apart():
    for names in (
        ["A.jpg", "a.JPG"],
        [f"{NFC}.png", f"{NFD}.png"],
        [f"{NFC.upper()}.png", f"{NFD}.png"],
        ["Ab/x.png", "aB/x.png"],
    ):
        places = places_for(names, {})
        assert len({unicodedata.normalize("NFC", f"{p.folder}/{p.stem}".lower()) for p in places.values()}) == 2
    assert places_for([f"{NFC}.pdf"], {}, inputs_beside=[f"{NFD}.pdf"])[f"{NFC}.pdf"].stem != NFC


def test_a_list_names_one_file_twice_where_capitals_are_not_told_apart(tmp_path):
    (tmp_path / "A.jpg").write_bytes(b"")
    (tmp_path / "a.JPG").hardlink_to(tmp_path / "A.jpg")  # as both names lead to one file there
    (tmp_path / "list").write_text("A.jpg\na.JPG\n")
    with pytest.raises(UsageError, match="twice"):
        read_list(tmp_path / "list", str(tmp_path))


def test_a_name_once_given_is_kept():
    first = places_for(["scan.png"], {})
    then = places_for(["scan.jpg", "scan.png"], first)
    assert then == {"scan.png": Place("", "scan"), "scan.jpg": Place("", "scan_jpg")}


def test_pictures_from_elsewhere_share_the_folder():
    places = places_for(["/x/a.png", "/y/a.png", "s3://z/a.png"], {})
    assert sorted(p.stem for p in places.values()) == ["a_png", "a_png_2", "a_png_3"]


def test_results_never_take_the_name_of_a_picture():
    places = places_for(["scan.pdf", "b.png"], {}, inputs_beside=["scan.pdf", "b.png"])
    assert places == {"scan.pdf": Place("", "scan_pdf"), "b.png": Place("", "b")}


def test_names_that_are_none():
    assert natural("-.png").stem == "outline"
    assert natural("con.png").stem == "_con"
    assert natural("../..x/a:b.png") == Place("outline/x", "a_b")
    assert natural("contact.html/a.png").folder == "contact.html_"


PARTS = st.text(st.characters(exclude_characters="/\0", exclude_categories=()), min_size=1, max_size=4)


@given(st.lists(st.lists(PARTS, min_size=1, max_size=3).map("/".join), unique=True, max_size=12))
def test_no_two_pictures_share_results(names):
    places = places_for(names, {})
    assert set(places) == set(names)
    assert len({(p.folder.casefold(), p.stem.casefold()) for p in places.values()}) == len(names)
    assert all(".." not in p.folder.split("/") and not p.folder.startswith("/") for p in places.values())


# ledger


def figures(name="a-1", **more):
    given = {"width_mm": 30.0, "height_mm": 20.0, "area_mm2": 500.0, "perimeter_mm": 100.0, "holes": 0}
    given |= {"outline_k2_mm": 0.02, "length_k2_mm": 0.04, "caliper_length_mm": 31.0, "caliper_width_mm": 19.0}
    given |= {"caliper_length_k2_mm": 0.041, "caliper_width_k2_mm": 0.033}
    return ItemFigures(name=name, rings=((1.0, 2.0, 3.5, 4.0),), **given | more)


def outcome(**more):
    thumb = Thumb(width=4, height=3, jpeg=b"jpeg")
    given = {"state": "done", "sha256": "5a", "items": (figures(),), "files": (("a.json", 3),), "thumb": thumb}
    return Outcome(**given | more)


def row(key="a.png", came=None, **more):
    given = {"place": Place("", "a"), "source": f"/in/{key}", "stat": "1 2", "wanted": "w", "max_mpx": 400.0}
    return Row(key=key, outcome=came or outcome(), **given | more)


WARNED = Warned(where="a-1", code="edge-unclear", message="Look.", attention=True, value=3.0, limit=2.0)


@pytest.fixture
def ledger(tmp_path):
    ledger = Ledger(tmp_path)
    yield ledger
    ledger.close()


ODD = "odd \udcff\n'\u00fc.png"


def test_ledger_gives_back_what_it_took(ledger, tmp_path):
    rows = [row(), row(ODD, outcome(warned=(WARNED,), thumb=None)), row("z.png", outcome(state="failed", kind="scale"))]
    for one in rows:
        ledger.record(one)
    ledger.record(rows[0])
    ledger.close()
    again = Ledger(tmp_path)
    read = {one.key: one for one in again.rows()}
    assert list(read) == sorted(read, key=os.fsencode)
    for one in rows:
        kept = read[one.key]
        assert (kept.place, kept.source, kept.stat, kept.wanted) == (one.place, one.source, one.stat, one.wanted)
        assert kept.outcome.items == one.outcome.items
        assert kept.outcome.warned == one.outcome.warned
        assert kept.outcome.files == one.outcome.files
        assert kept.outcome.state == one.outcome.state
    assert again.thumb("a.png") == rows[0].outcome.thumb
    assert again.thumb(ODD) is None
    assert again.row("none") is None
    again.close()


def test_thumbnail_goes_with_its_picture(ledger):
    ledger.record(row())
    ledger.record(row(came=outcome(thumb=None)))
    assert ledger.thumb("a.png") is None


def test_plain_text_of_any_key():
    assert plain(ODD) == "odd \\udcff\\n'\u00fc.png"


def test_digest_tells_options_apart():
    settings = Settings(square_mm=(50, 50))
    base = Wanted(settings=settings)
    assert base.digest() == Wanted(settings=Settings(square_mm=(50, 50))).digest()
    others = [
        Wanted(settings=Settings(square_mm=(50, 50.001))),
        Wanted(settings=settings, output=Output(formats=("json",))),
        Wanted(settings=settings, output=Output(separate=True)),
        Wanted(settings=settings, output=Output(dxf_version="r12")),
        Wanted(settings=settings, beside="5a"),
    ]
    assert len({base.digest(), *(other.digest() for other in others)}) == 6
    # where the files go, and what they may replace, shapes none of them
    elsewhere = Wanted(settings=settings, output=Output(folder=Path("elsewhere"), force=True))
    assert elsewhere.digest() == base.digest()


# reports


def read_csv(data):
    assert data.startswith(b"\xef\xbb\xbf")
    return list(csv.DictReader(io.StringIO(data.decode("utf-8-sig"), newline="")))


def test_summary_has_a_line_an_item():
    two = outcome(items=(figures("a-1"), figures("a-2", holes=2)), warned=(WARNED,))
    lines = read_csv(summary_csv([row(came=two), row("b.png", outcome(state="failed", items=(), kind="scale"))]))
    assert [(line["file"], line["item"], line["needs_person"]) for line in lines] == [
        ("a.png", "a-1", "yes"),
        ("a.png", "a-2", "no"),
    ]
    assert lines[1]["holes"] == "2"
    assert lines[0]["warnings"] == "edge-unclear"
    assert lines[0]["width_mm"] == "30.000"
    assert (lines[0]["caliper_length_mm"], lines[0]["caliper_width_mm"]) == ("31.000", "19.000")
    assert (lines[0]["caliper_length_k2_mm"], lines[0]["caliper_width_k2_mm"]) == ("0.041", "0.033")


SIGNS = "=+-@\uff1d\uff0b\uff0d\uff20"  # OWASP, CSV Injection; and the same of full width (Unicode, FF00 to FFEF)
NAMES = [
    *(f"{sign}1+1.png" for sign in SIGNS),
    *(f"a{between}{sign}1.png" for sign in "=+\uff1d" for between in (";", ",", "\t", "\n", "; ", "\r\n")),
    " =1.png",
    "\u3000@x.png",
    'a";"=1.png',
]


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_no_cell_is_a_formula_whatever_separates_them(delimiter):
    rows = [row(name, outcome(items=(figures(name),), files=((name, 1),), warned=(WARNED,))) for name in NAMES]
    for data in (summary_csv(rows), attention_csv(attention_of(rows))):
        text = data.decode("utf-8-sig")
        for line in csv.reader(io.StringIO(text, newline=""), delimiter=delimiter):
            for cell in line:
                assert not cell.strip().strip('"').strip().startswith(tuple(SIGNS)), cell
        assert all(field.startswith('"') for field in text.removesuffix("\r\n").split("\r\n") if "=" not in field)


def test_paths_in_tables_lead_to_their_files():
    names = ["=1+1.png", "+a.png", "-b.png", " @c.png", "d; e.png"]
    rows = [row(name, outcome(items=(figures(name),), files=((name, 1), ("x;y.json", 2)))) for name in names]
    lines = read_csv(summary_csv(rows))
    assert [os.path.normpath(line["file"]) for line in lines] == names
    assert [[os.path.normpath(one) for one in line["results"].split(" | ")] for line in lines] == [
        [name, "x;y.json"] for name in names
    ]


def test_worst_comes_first():
    def warned(code, value=None, limit=None, attention=True):
        one = Warned(where="a-1", code=code, message="m", attention=attention, value=value, limit=limit)
        return outcome(warned=(one,))

    rows = [
        row("1", warned("something-new")),
        row("2", warned("card-not-measured")),
        row("3", warned("edge-unclear", 3, 2)),
        row("4", warned("edge-unclear", 9, 2)),
        row("5", outcome(state="failed", kind="scale", problem="no square.", items=())),
        row("6", outcome(state="failed", kind="defect", problem="a defect.", items=())),
        row("7", warned("a-remark", attention=False)),
        row("8"),
    ]
    found = attention_of(rows)
    assert [one.row.key for one in found] == ["6", "5", "4", "3", "2", "1"]
    assert all(one.next_step.endswith((".", "XxY")) for one in found)
    lines = read_csv(attention_csv(found))
    assert (lines[2]["code"], lines[2]["value"], lines[2]["limit"]) == ("edge-unclear", "9", "2")


def test_every_problem_has_a_next_step():
    from digitize.batch.advice import CODES
    from digitize.batch.work import _KINDS

    kinds = {kind for _, kind in _KINDS} | {"machine", "memory", "defect", "time", "ended"}
    assert kinds == set(CODES)
    assert {row.code for row in OF_FAILURES} == set(CODES.values())


def test_reports_of_others_are_not_overwritten(ledger, tmp_path):
    out = tmp_path / "out"
    out.mkdir()
    (out / "summary.csv").write_text("my own notes")
    with pytest.raises(WriteError, match=r"summary\.csv was not written by digitize"):
        check_reports(ledger, out, force=False)
    check_reports(ledger, out, force=True)
    write_reports(ledger, [row()], out, str(out))
    check_reports(ledger, out, force=False)
    (out / "attention.csv").write_text("ticked off")
    with pytest.raises(WriteError, match=r"attention\.csv"):
        check_reports(ledger, out, force=False)


def test_counts(ledger, tmp_path):
    rows = [
        row(),
        row("b", outcome(warned=(WARNED,))),
        row("c", outcome(state="failed", kind="scale", items=(), files=())),
        row("d", outcome(state="unwritten", kind="write", items=(), files=())),
    ]
    counts = write_reports(ledger, rows, tmp_path, str(tmp_path))
    assert (counts.pictures, counts.items, counts.need_person) == (4, 2, 3)
    assert (counts.without_result, counts.unwritten) == (2, 1)


# clearing away


def test_only_parts_of_the_dead_are_swept(tmp_path):
    dead, alive = tmp_path / ".digitize-999999999-0.part", tmp_path / f".digitize-{os.getppid()}-0.part"
    mine = tmp_path / ".digitize-x-0.part"
    for path in (dead, alive, mine):
        path.write_bytes(b"half")
    assert sweep_parts([tmp_path, tmp_path / "none"]) == 1
    assert sorted(os.listdir(tmp_path)) == sorted([alive.name, mine.name])


def test_only_own_unchanged_results_are_dropped(tmp_path):
    (tmp_path / "a.dxf").write_bytes(OURS)
    (tmp_path / "a.json").write_bytes(OURS)
    (tmp_path / "a.svg").write_bytes(OURS + b"edited")
    drop_stale(tmp_path, ["a.dxf", "a.json", "a.svg", "gone.pdf"], ["a.json"])
    assert sorted(os.listdir(tmp_path)) == ["a.json", "a.svg"]


# progress


class Terminal(io.StringIO):
    encoding = "ascii"

    def __init__(self, tty):
        super().__init__()
        self.tty = tty

    def isatty(self):
        return self.tty


def test_progress_on_a_terminal_renews_one_line():
    stream = Terminal(True)
    shown = Progress(3, stream=stream)
    shown.skipped()
    shown.ended("a.png", outcome())
    shown.ended("b.png", outcome(state="failed", problem="b.png: no square \u2013 none."))
    shown.close()
    text = stream.getvalue()
    assert "2/3" in text
    assert "a minute" in text
    assert "left" in text
    assert text.count("\n") == 1
    assert "b.png: no square ? none." in text


def test_progress_elsewhere_is_a_line_a_picture():
    stream = Terminal(False)
    shown = Progress(2, stream=stream)
    shown.ended("a\n.png", outcome(warned=(WARNED,), seconds=1.26))
    shown.ended("b.png", outcome(state="unchanged"))
    assert stream.getvalue() == "[1/2] a\\n.png: 1 item, LOOK: edge hardly seen, 1.3 s\n"


def test_spans():
    assert [span(s) for s in (0.4, 89, 95, 3600, 12000)] == ["0 s", "89 s", "2 min", "60 min", "3 h 20 min"]


def test_task_is_small():
    import pickle

    task = Task(key="a", source="/in/a.png", folder="/out", wanted=Wanted(settings=Settings()))
    assert len(pickle.dumps(task)) < 2000
    assert isinstance(Found(key="a", source="a").options, dict)
