"""What a batch has written is shown and accepted without outlining again; what is not as wanted is made anew."""

import contextlib
import json
import re
import zipfile
from dataclasses import replace
from io import BytesIO

import numpy as np
import pytest
from PIL import Image

from digitize.batch.desk import batch_in, desk
from digitize.document.document import document_bytes, read_document
from digitize.recipe.told import laid_back
from digitize.review import work as of_work
from digitize.review.folder import Folder
from digitize.review.shelf import Shelf
from digitize.review.work import Work
from digitize.run import Output, make, make_of
from digitize.seal import mark_in, seal
from digitize.settings import Settings
from digitize.write.preview.marks import outline_marks, pocket_marks

from .batch_scans import SQUARE, fill, inline, results
from .test_review import SAME, asked, page_of

WORDS = ("--format", "json,dxf", "--clearance", "0.3", "--imaged-face", "back", "--upright")
NEAR_PX = 0.005  # a document holds 0.1 um, which is 0.0005 px of 120 dpi; the page is sent 0.001 px


@pytest.fixture(scope="module")
def kept(tmp_path_factory):
    """Three scans, of which two are named alike but for their ending, and what the batch makes of them."""
    base = tmp_path_factory.mktemp("known")
    folder = fill(base / "in", 3)
    with Image.open(folder / "scan-2.png") as picture:
        picture.save(folder / "scan-0.tif", dpi=picture.info["dpi"])
    (folder / "scan-2.png").unlink()
    with pytest.MonkeyPatch.context() as patch:
        assert inline(patch)(folder, "--to", base / "out", *WORDS).returncode == 0
    return base


@pytest.fixture
def out(kept):
    """The folder of results; it is put back as it was."""
    there = results(kept / "out")
    ledger = {path.name: path.read_bytes() for path in (kept / "out" / ".digitize").iterdir()}
    yield kept / "out"
    for path in (kept / "out").iterdir():
        if path.is_file() and path.name not in there:
            path.unlink()
    for name, data in there.items():
        (kept / "out" / name).write_bytes(data)
    for name, data in ledger.items():
        (kept / "out" / ".digitize" / name).write_bytes(data)


@pytest.fixture
def made(monkeypatch):
    """The names of the pictures that are outlined on the page."""
    names = []

    def counting(picture, settings, **options):
        names.append(picture.name)
        return make_of(picture, settings, **options)

    monkeypatch.setattr(of_work, "make_of", counting)
    return names


class Sheet:
    """One picture of a folder that is open on the page."""

    def __init__(self, client, key):
        self.client, self.at, self.seen = client, f"/pictures/{key}", None

    def post(self, what, sent, *, code=200):
        answer = self.client.post(f"{self.at}/{what}", json=sent, headers=SAME)
        assert answer.status_code == code, answer.text
        return answer.json()

    def outline(self, **words):
        sent = {"words": {**self.told["words"], **words}, "seen": self.seen} if words else {}
        self.told = self.post("outline", sent)
        self.seen = [self.told["step"]["at"], self.told["step"]["count"]]
        return self.told

    def decide(self, said, *, code=200):
        return self.post("decision", {"said": said, "seen": self.seen}, code=code)


@contextlib.contextmanager
def opened(folder, name="scan-1.png"):
    with desk(batch_in(folder)) as held:
        shelf = Shelf(400.0)
        client = page_of(Work(asked(to=folder), shelf, Folder(held, shelf)))
        yield Sheet(client, next(key for key, entry in shelf.entries.items() if entry.name == name))


FIGURE = re.compile(r"-?\d+\.\d+")  # in words that are put together on the page


def differing(one, other, at=""):
    """Where two things that are shown differ by more than the digits that a document does not hold."""
    if isinstance(one, dict) and isinstance(other, dict):
        return [w for key in {**one, **other} for w in differing(one.get(key), other.get(key), f"{at}.{key}")]
    if isinstance(one, list) and isinstance(other, list) and len(one) == len(other):
        return [w for n, both in enumerate(zip(one, other, strict=True)) for w in differing(*both, f"{at}[{n}]")]
    if isinstance(one, str) and isinstance(other, str) and FIGURE.fullmatch(one) and FIGURE.fullmatch(other):
        one, other = float(one), float(other)
    if isinstance(one, float) and isinstance(other, float):
        return [] if abs(one - other) <= NEAR_PX else [(at, one, other)]
    return [] if one == other else [(at, one, other)]


@pytest.mark.parametrize(("name", "stem"), [("scan-1.png", "scan-1"), ("scan-0.tif", "scan-0_tif")])
def test_what_was_written_is_shown_as_it_would_be_made_and_accepted_untouched(out, made, name, stem):
    before = results(out)
    readings = {"item": 1, "readings": {"length": "20"}}
    with opened(out, name) as sheet:
        told = sheet.outline()
        checked = sheet.post("check", readings)["check"]
        assert sheet.post("ahead", {}) == {"begun": False}  # it is open
        assert sheet.decide("accepted")["said"] == "accepted"
        assert made == []
        zipped = zipfile.ZipFile(BytesIO(sheet.client.get(f"{sheet.at}/files.zip").content))
        assert made == [name]
        anew = sheet.outline()
        assert differing(told["result"], anew["result"]) == []
        assert {**told, "result": None, "decided": None} == {**anew, "result": None, "decided": None}
        checked_anew = sheet.post("check", readings)["check"]
        assert differing({**checked, "sentence": ""}, {**checked_anew, "sentence": ""}) == []
    after = results(out)
    assert {one: after[one] for one in (f"{stem}.json", f"{stem}.dxf")} == {
        one: before[one] for one in (f"{stem}.json", f"{stem}.dxf")
    }
    if stem == "scan-1":  # the other's items are named as its files
        assert {one: zipped.read(one) for one in zipped.namelist()} == {one: after[one] for one in zipped.namelist()}


def test_the_next_one_is_prepared_by_its_document(out, made):
    with opened(out, "scan-1.png") as sheet:
        assert sheet.post("ahead", {}) == {"begun": True}
        assert len(sheet.outline()["result"]["items"]) == 1
        assert sheet.decide("rejected")["said"] == "rejected"
        assert not (out / "scan-1.json").exists()
        assert made == []
        sheet.decide("open")
        assert sheet.decide("accepted")["said"] == "accepted"  # its files are gone: they are made anew
        assert made == ["scan-1.png"]
    assert (out / "scan-1.json").exists()


def test_what_a_person_changes_is_made_and_its_files_are_shown_the_next_time(out, made):
    with opened(out) as sheet:
        sheet.outline()
        wide = sheet.outline(clearance_mm="0.5")
        assert "0.50 mm outside" in wide["result"]["items"][0]["cut"]
        assert made == ["scan-1.png"]
        assert sheet.post("step", {"by": -1})["result"]["items"][0]["cut"] != wide["result"]["items"][0]["cut"]
        assert sheet.post("step", {"by": 1})["result"] == wide["result"]
        assert sheet.decide("accepted")["said"] == "accepted"
        assert made == ["scan-1.png"]
    with opened(out) as sheet:
        assert differing(sheet.outline()["result"], wide["result"]) == []
        assert made == ["scan-1.png"]


def _edited(path):
    text = path.read_text()
    at = text.index('"width_mm": ') + len('"width_mm": ')
    path.write_text(f"{text[:at]}9{text[at + 1 :]}")  # as long as it was


def _written_with(path, old, new):
    """Put in what digitize would have written of something else."""
    data = path.read_bytes()
    path.write_bytes(seal(data.replace(mark_in(data).encode(), b"0" * 16).replace(old, new)))


def _of_another_picture(path):
    _written_with(path, json.loads(path.read_bytes())["source"]["sha256"].encode(), b"0" * 64)


def _by_other_options(path):
    _written_with(path, b'"clearance_mm": 0.3', b'"clearance_mm": 0.2')


@pytest.mark.parametrize("change", [_edited, _of_another_picture, _by_other_options, lambda path: path.unlink()])
def test_a_document_that_is_not_what_is_wanted_of_the_picture_is_not_shown(out, made, change):
    path = out / "scan-1.json"
    with opened(out) as sheet:
        right = sheet.outline()["result"]
    change(path)
    with opened(out) as sheet:
        assert differing(sheet.outline()["result"], right) == []
    assert made == ["scan-1.png"]


def test_a_picture_that_changed_since_is_outlined_anew(out, made, kept):
    picture = kept / "in" / "scan-1.png"
    data = picture.read_bytes()
    picture.write_bytes((kept / "in" / "scan-0.png").read_bytes())
    try:
        with opened(out) as sheet:
            sheet.outline()
    finally:
        picture.write_bytes(data)
    assert made == ["scan-1.png"]


def test_a_document_laid_back_lies_where_its_picture_has_it(kept):
    options = Settings.of({"square_mm": float(SQUARE), "clearance_mm": 0.3, "upright": True, "imaged_face": "back"})
    found = make(kept / "in" / "scan-1.png", options, Output())
    result, scale = found.result, found.scale
    line = result.items[0].exterior_mm[:40]
    there = scale.to_px(result.items[0].as_laid(line) + scale.to_mm(np.array([result.items[0].origin_px])))
    item = replace(result.items[0], by_hand_mm=(line,), by_hand_px=(there,), other_px=(there + 3.0,))
    result = replace(result, items=(item,))
    read, again = laid_back(read_document(document_bytes(result)).result)
    for one, other in (
        (read.items[0].by_hand_px[0], there),
        (read.items[0].other_px[0], there + 3.0),
        *(
            (r.exterior, s.exterior)
            for r, s in zip(outline_marks(read, again), outline_marks(result, scale), strict=True)
        ),
        *zip(pocket_marks(read, again).paths, pocket_marks(result, scale).paths, strict=True),
    ):
        assert np.abs(one - other).max() < NEAR_PX
    for kind, options in (("camera", {}), ("flatbed", {"scanner": {}})):
        assert laid_back(replace(result, scale=replace(result.scale, kind=kind), options=options)) is None
