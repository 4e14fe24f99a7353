"""The table of messages: every code of the source is in it, its texts name what is given, alike ones become one."""

import ast
import functools
import json
import re
import string
from dataclasses import replace
from pathlib import Path

import pytest

from digitize.batch.advice import said_of as said_of_outcome
from digitize.batch.figures import outcome_of
from digitize.batch.task import Outcome
from digitize.document.document import document_bytes, read_document
from digitize.records import FailedItem, Finding
from digitize.words.gather import Seen, gathered, numbers, said_of
from digitize.words.message import Rank
from digitize.words.of_failures import OF_FAILURES
from digitize.words.say import MESSAGES, ROWS, excess, finding_of, step_of, title_of, together
from digitize.words.told import texts_of, told
from tests.made import fob, result, tag

PACKAGE = Path(__file__).resolve().parents[1] / "digitize"
GIVEN = {"value", "limit", "place_px", "attention", "case", "detail"}
ALWAYS = {"value", "limit", "percent", "percent_limit"}


def fields_of(text):
    """What a text names, each with how it is written: ``{"value": ".2f"}``."""
    return {name: spec or "" for _, name, spec, _ in string.Formatter().parse(text) if name is not None}


def calls_in(source):
    """Every place that makes a finding: name of the maker, code, names of its keywords."""
    if "finding_of(" not in source and "Finding(" not in source:
        return
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in ("finding_of", "Finding"):
            code = node.args[0] if node.args else None
            yield node.func.id, code.value if isinstance(code, ast.Constant) else None, {k.arg for k in node.keywords}


@functools.cache
def makers_called():
    return [
        (path.relative_to(PACKAGE).as_posix(), *call)
        for path in sorted(PACKAGE.rglob("*.py"))
        for call in calls_in(path.read_text(encoding="utf-8"))
    ]


def fields(template):
    return {name for _, name, _, _ in string.Formatter().parse(template) if name}


def test_the_reader_of_calls_sees_both_makers():
    source = "Finding('a', 'text', limit=1.0)\nfinding_of('b', value=2.0, names=names)\nother('c')"
    assert list(calls_in(source)) == [("Finding", "a", {"limit"}), ("finding_of", "b", {"value", "names"})]
    assert len(makers_called()) > 50


def test_every_code_of_the_source_is_in_the_table_and_every_row_is_used():
    """A new finding gets a row in `digitize/words/of_*.py` and is made by `finding_of(code, ...)`."""
    codes = {code for where, _, code, _ in makers_called() if not where.startswith(("words/", "document/"))}
    assert codes - MESSAGES.keys() == set()
    assert MESSAGES.keys() - codes == {row.code for row in OF_FAILURES}


def test_no_row_stands_twice():
    assert len({row.code for row in ROWS}) == len(ROWS)


def test_findings_are_made_from_the_table_only():
    makers = {where for where, maker, _, _ in makers_called() if maker == "Finding"}
    assert [where for where in makers if not where.startswith(("words/", "document/"))] == []


def test_every_place_gives_what_the_text_names():
    calls = [call for call in makers_called() if call[1] == "finding_of"]
    assert len(calls) > 100
    for where, _, code, keywords in calls:
        given_is_named(where, code, keywords)


def given_is_named(where, code, keywords):
    row = MESSAGES[code]
    texts = [row.text]
    if "case" in keywords:  # which of them is not told by the source: what all places of this code give
        texts = [row.text, *row.cases.values()]
        keywords = set().union(
            *(names for _, maker, other, names in makers_called() if (maker, other) == ("finding_of", code))
        )
    for text in texts:
        assert fields(text) - keywords - {"percent", "percent_limit"} == set(), (where, code)
        assert "value" in keywords or not fields(text) & {"value", "percent"}, (where, code)
        assert "limit" in keywords or not fields(text) & {"limit", "percent_limit"}, (where, code)
    assert keywords - GIVEN <= set().union(*(fields(text) for text in [row.text, *row.cases.values()])), (where, code)


def test_every_row_has_one_next_step_and_a_short_title():
    for row in MESSAGES.values():
        assert row.step.endswith((".", "XxY.")), row
        assert 10 < len(row.step) < 130, row
        assert 5 <= len(row.title) <= 26, row
        assert fields(row.step) == set(), row
        assert not row.photo_step or (row.photo_step.endswith(".") and 10 < len(row.photo_step) < 130), row
        assert row.photo_step != row.step, row
        assert fields(row.together) <= ALWAYS | {"who"}, row
        assert not row.together or "who" in fields(row.together), row
        for text in (row.text, *row.cases.values(), row.together):
            assert text == "" or text.endswith((".", "{why}")), row
            assert row.step not in text, row
            assert text.count(". ") <= 2, row


def test_words_of_the_workshop_only():
    """What a shop owner would have to look up is for --verbose."""
    for row in MESSAGES.values():
        for text in (row.text, row.together, row.step, row.photo_step, row.title, *row.cases.values()):
            for word in (" sd ", "residual", " um", "sigma", "arcs were", "bridged from", "focal length", "within {"):
                if (row.code, word) not in {("no-ideal-shape", "within {"), ("no-symmetry", "within {")}:
                    assert word not in text, (row.code, word)


# What is found in scans alone: the recipe and the reference ask whether there is a camera before they look for it.
OF_SCANS = {
    *("edge-crumb", "edge-shape", "curve-unlikely", "edge-above-glass", "lid-goes-on"),
    *("two-level", "picture-coarse", "scale-from-density", "scale-from-scanner", "scanner-changed"),
    *("beyond-scanner-map", "disc-edge", "check-density", "took-too-long"),  # the last names both
    "taken-as-photo",  # asks whether it is one
}


def test_the_next_step_of_a_photo_speaks_of_no_scanner():
    of_scanners = re.compile(r"scan|glass|dpi|\blid\b|sheet behind", re.IGNORECASE)
    told = {code for code in MESSAGES if of_scanners.search(step_of(code, of_photo=True))}
    assert told - OF_SCANS == {"square-not-as-said"}  # the card pressed flat by a sheet of glass
    assert MESSAGES.keys() >= OF_SCANS
    assert step_of("thin-strip") == "Clean the glass; if the strip is the item's own, scan at more dpi."
    assert step_of("thin-strip", of_photo=True) == (
        "Clean mat and lens; if the strip is the item's own, go nearer or use more pixels, and take the photo again."
    )
    assert step_of("touches-card", of_photo=True) == step_of("touches-card")
    assert step_of("never-heard-of", of_photo=True) == step_of("never-heard-of")


def test_every_finding_of_a_result_knows_whether_it_is_of_a_photo():
    scan = result(fob(), findings=(finding_of("edge-unclear", value=0.3, limit=0.1),))
    of_scan = "Clean the glass, lay a sheet of another colour behind, and scan again."
    of_photo = "Clean mat and lens, lay it on ground of another colour, evenly lit, and take the photo again."
    reason = finding_of("cut-by-border", value=0.0, limit=0.0)
    photo = replace(
        scan, scale=replace(scan.scale, kind="camera"), failed=(FailedItem(box_px=(0.0, 0.0, 9.0, 9.0), reason=reason),)
    )
    assert not any(one.of_photo for one in scan.all_findings)
    assert all(one.of_photo for one in photo.all_findings)
    assert [(said.step, said.of_photo) for said in said_of(scan) if said.code == "edge-unclear"] == [(of_scan, False)]
    assert {(said.code, said.step) for said in said_of(photo)} >= {
        ("edge-unclear", of_photo),
        ("cut-by-border", "Have the whole item in view, with ground all round it, and take the photo again."),
    }
    written = json.loads(document_bytes(photo))
    assert [one["next_step"] for one in written["warnings"]] == [of_photo]
    assert document_bytes(read_document(document_bytes(photo)).result) == document_bytes(photo)


def test_findings_of_items_and_of_their_pockets_know_it_too():
    shade, web = finding_of("shadow-suspected", value=0.25), finding_of("web-thin", value=0.5, limit=1.0, name="b")
    one = tag()
    one = replace(one, findings=(shade,), pocket=replace(one.pocket, findings=(web,)))
    made = result(one)
    photo = replace(made, scale=replace(made.scale, kind="camera"))
    assert {said.code: said.step for said in said_of(photo) if said.items} == {
        "shadow-suspected": "Light it evenly from all sides, on darker ground, and take the photo again.",
        "web-thin": (
            "Lay the items farther apart and take the photo again, or cut each from a file of its own: --separate."
        ),
    }
    warned = outcome_of(photo, (), "").warned
    assert [said.step[:8] for said in said_of_outcome(Outcome(state="done", warned=warned))[:2]] == [
        "Lay the ",
        "Light it",
    ]


def test_a_finding_keeps_its_figures_and_gets_its_sentence():
    finding = finding_of("shadow-suspected", value=0.25, limit=0.05, place_px=(3.0, 4.0))
    assert finding == Finding(
        "shadow-suspected",
        "Shadow round the item: it may come out up to 0.25 mm too large.",
        0.25,
        0.05,
        (3.0, 4.0),
    )
    assert title_of("shadow-suspected") == "Shadow at the edge"
    assert title_of("never-heard-of") == "Never heard of"
    assert "check picture" in step_of("never-heard-of")
    with pytest.raises(KeyError):
        finding_of("never-heard-of")


def seen(item, code="shadow-suspected", value=0.1, limit=0.05, *, attention=True, message="m"):
    return Seen(code=code, message=message, attention=attention, value=value, limit=limit, item=item)


def test_alike_findings_of_many_items_are_one_sentence_with_the_worst():
    found = [seen(n, value=0.25 if n == 7 else 0.06) for n in range(1, 13) if n != 9]
    (said,) = gathered(found, of=12)
    assert said.sentence == (
        "Shadow round 11 of 12 items (1 to 8, 10 to 12): up to 0.25 mm too large. "
        "Put a dark sheet behind and scan again."
    )
    assert said.items == (1, 2, 3, 4, 5, 6, 7, 8, 10, 11, 12)
    (said,) = gathered([seen(n) for n in (1, 2, 3)], of=3)
    assert said.message.startswith("Shadow round all 3 items")


def test_the_smallest_is_the_worst_where_small_is_bad():
    found = [seen(n, "items-close", value, 0.75) for n, value in ((1, 0.5), (2, 0.2), (3, 0.7))]
    (said,) = gathered(found, of=5)
    assert "at worst 0.20 mm" in said.message
    assert excess(0.0, 0.75) > excess(0.2, 0.75) > excess(0.7, 0.75)
    assert excess(2.0, 1.0) == 2.0
    assert excess(None, 1.0) == 0.0
    assert excess(-3.0, None) == 3.0


def test_what_is_truly_off_comes_first_and_remarks_last():
    found = [
        seen(1, "shadow-suspected", 0.3),
        seen(None, "card-not-measured", None, None, attention=False),
        seen(2, "edge-unclear", 0.48),
        seen(None, "density-disagrees", 1.25, 0.01),
        seen(3, "cut-by-border", None, None),
        seen(1, "unheard-of", None, None),
    ]
    codes = [said.code for said in gathered(found, of=3)]
    order = "density-disagrees cut-by-border edge-unclear shadow-suspected unheard-of card-not-measured"
    assert codes == order.split()
    assert Rank.SIZE < Rank.WHOLE < Rank.SHAPE < Rank.CUT < Rank.DOUBT < Rank.REMARK < Rank.DETAIL


def test_form_and_fields_are_told_of_every_sentence():
    for code, form, text in ((name, *one) for name in sorted(MESSAGES) for one in texts_of(name).items()):
        said = {name: f"{12.375:{spec}}" if spec else "a thing of it" for name, spec in fields_of(text).items()}
        sentence = text.format(**{name: 12.375 if fields_of(text)[name] else one for name, one in said.items()})
        found = told(code, sentence[:1].upper() + sentence[1:], together=form == "together")
        assert found is not None, (code, form)
        assert (found.form, found.fields.keys()) == (form, said.keys()), code
        # where two words stand side by side nobody can tell where one ends
        assert {name: found.fields[name] for name, spec in fields_of(text).items() if spec} == {
            name: one for name, one in said.items() if fields_of(text)[name]
        }
    assert told("no-such-code", "Nothing of it.") is None


def test_what_is_about_two_places_of_the_picture_stays_two_sentences():
    found = [seen(None, "ring-left-out", message=f"The ring at {x}.") for x in (1, 2)]
    assert len(gathered(found, of=1)) == 2


def test_what_is_about_one_item_of_several_names_it_in_the_sentence():
    found = [seen(2, message="Shadow round the item: it may come out too large.")]
    assert gathered(found, of=3)[0].message == "Shadow round item 2: it may come out too large."
    assert gathered([seen(2, message="The item is cut.")], of=3)[0].message == "Item 2 is cut."
    assert gathered([seen(2, message="Half is hidden.")], of=3)[0].message == "Item 2: Half is hidden."
    assert gathered([seen(1, message="The item is cut.")], of=1)[0].message == "The item is cut."


def test_without_common_words_the_worst_one_stands_after_the_numbers():
    found = [seen(n, "odd", n, None, message=f"Off by {n} mm.") for n in (1, 4)]
    (said,) = gathered(found, of=9)
    assert said.message == "Items 1 and 4: Off by 4 mm."


@pytest.mark.parametrize(
    ("items", "of", "words"),
    [
        ([1], 1, "the item"),
        ([2], 3, "item 2"),
        ([1, 2, 3], 3, "all 3 items"),
        ([1, 2], 2, "both items"),
        ([2, 3], 5, "items 2 and 3"),
        ([2, 3, 4], 9, "items 2 to 4"),
        ([1, 5, 7], 9, "3 of 9 items (1, 5, 7)"),
        ([1, 3, 5, 7, 9, 11], 12, "6 of 12 items (1, 3, 5, 7 ...)"),
    ],
)
def test_numbers_of_items_in_words(items, of, words):
    assert numbers(items, of=of) == words


def test_a_result_is_told_with_the_numbers_of_its_items():
    made = result(tag(), fob())
    assert [said.items for said in said_of(made)] == [(1,), ()]
    assert together("shadow-suspected", "item 2", 0.1, 0.05) == "Shadow round item 2: up to 0.10 mm too large."
    assert together("density-disagrees", "item 2", 0.1, 0.05) is None


def test_the_document_has_the_next_step_and_the_figures_for_experts():
    finding = finding_of("taken-as-photo", attention=False, detail="f 3000 px", why="w", distance_mm=1, tilt_deg=2)
    data = document_bytes(result(tag(), findings=(finding,)))
    (said,) = json.loads(data)["warnings"]
    assert (said["next_step"], said["detail"]) == (step_of("taken-as-photo"), "f 3000 px")
    assert document_bytes(read_document(data).result) == data
