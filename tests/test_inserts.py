"""A base plate with windows and the inserts in them: cut apart, printed together."""

import numpy as np
import pytest
import shapely
from typer.testing import CliRunner

from digitize.cli.commands import app
from digitize.document.document import document_bytes
from digitize.seal import mark_in
from tests import made
from tests.plates import tag
from tests.test_write_dxf import loops as dxf_loops
from tests.test_write_dxf import read_back


def run(*words):
    return CliRunner().invoke(app, list(map(str, words)))


@pytest.fixture(scope="module")
def parts(tmp_path_factory):
    """A base with 2 x 3 windows for inserts of 140 x 90 mm, and an insert with two tags."""
    folder = tmp_path_factory.mktemp("inserts")
    (folder / "tag.json").write_bytes(document_bytes(made.result(tag())))
    words = ["--insert", "140x90", "--insert-kerf", 0.18, "--rows", 3, "--columns", 2, "--gap", 6, "--margin", 9]
    base = run("plate", "--bed", "305x458", *words, "--name", "base", "--to", folder)
    assert base.exit_code == 0, base.output
    words = ["--plate", "140x90", "--rows", 1, "--columns", 2, "--gap", 6, "--margin", 5, "--name", "ins"]
    insert = run("plate", folder / "tag.json", "--bed", "305x458", *words, "--to", folder)
    assert insert.exit_code == 0, insert.output
    return folder


def boxes(loops):
    return sorted(tuple(np.round([*loop.min(axis=0), *loop.max(axis=0)], 3).tolist()) for loop in loops)


def test_windows_take_the_insert_with_the_room_that_was_asked_for(parts):
    """Both cut with a kerf of 0.18 mm: windows 0.09 inside their edges, the insert's path 0.09 outside its edge."""
    windows = dxf_loops(read_back((parts / "base.cut.dxf").read_bytes()))["POCKET"]
    cut = [shapely.Polygon(loop).buffer(0.09, join_style="mitre").bounds for loop in windows]
    edge = max(
        dxf_loops(read_back((parts / "ins.cut.dxf").read_bytes()))["POCKET"], key=lambda loop: np.ptp(loop[:, 0])
    )
    size = np.ptp(edge, axis=0) - 0.18
    assert len(cut) == 6
    for left, bottom, right, top in cut:
        assert (right - left, top - bottom) == pytest.approx(size + 0.2, abs=1e-4)  # 0.1 on each side


def test_the_template_has_every_inserts_items_where_they_lie(parts, tmp_path):
    """By hand: margin 9, room 0.1, then the insert's own places, whose first tag lies 5.2 mm from its corner."""
    done = run("template", parts / "base.json", "--insert", parts / "ins.json", "--to", tmp_path)
    assert done.exit_code == 0, done.output
    assert "12 of 12 print areas" in done.output
    loops = [
        loop
        for loop in dxf_loops(read_back((tmp_path / "base.template.dxf").read_bytes()))["PRINT"]
        if np.ptp(loop[:, 0]) > 50
    ]
    expected = []
    for column in range(2):
        for row in range(3):
            left, top = 9.1 + column * (140.2 + 6), -(9.1 + row * (90.2 + 6))
            for tag_ in range(2):
                x = left + 5.2 + tag_ * (60.4 + 6)
                expected.append(tuple(np.round([x, top - 45.2, x + 60, top - 5.2], 3).tolist()))
    assert np.array(boxes(loops)) == pytest.approx(np.array(sorted(expected)), abs=0.002)


def test_one_window_alone(parts, tmp_path):
    done = run("template", parts / "base.json", "--insert", f"4={parts / 'ins.json'}", "--to", tmp_path)
    assert "2 of 2 print areas" in done.output
    said = (tmp_path / "base.template.svg").read_text("utf-8")
    assert f"inserts: 4 ins {mark_in((parts / 'ins.json').read_bytes())}" in said
    assert f"Mark {mark_in((parts / 'base.json').read_bytes())}" in said


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["{ins}", "--insert", "{ins}"], "has no windows"),
        (["{base}", "--insert", "9={ins}"], "has 6 windows"),
        (["{base}", "--insert", "{base}"], "305 x 458 mm, the windows are for inserts of 140 x 90"),
        (["{base}", "--insert", "{ins}", "--insert", "{ins}"], "window 1 already has"),
    ],
)
def test_what_does_not_fit_is_refused(parts, tmp_path, words, said):
    named = [word.format(ins=parts / "ins.json", base=parts / "base.json") for word in words]
    done = run("template", *named, "--to", tmp_path / "out")
    assert done.exit_code == 2, done.output
    assert said in done.output
    assert not (tmp_path / "out").exists()


def test_turned_windows_are_refused_and_heights_of_the_base_left_to_it(parts, tmp_path):
    words = ["--insert", "140x90", "--bed", "305x458", "--rows", 1, "--columns", 1, "--to", tmp_path]
    run("plate", *words, "--turn", 90, "--name", "turned")
    done = run("template", tmp_path / "turned.json", "--insert", parts / "ins.json", "--to", tmp_path / "out")
    assert done.exit_code == 2
    assert "lie turned" in done.output
    run("plate", *words, "--item-thickness", 5, "--name", "high")
    done = run("template", tmp_path / "high.json", "--insert", parts / "ins.json", "--to", tmp_path / "out")
    assert done.exit_code == 0, done.output
    assert "face 5 mm" not in (tmp_path / "out" / "high.template.svg").read_text("utf-8")


def test_windows_and_documents_are_not_one_plate(parts, tmp_path):
    done = run("plate", parts / "tag.json", "--insert", "140x90", "--bed", "305x458", "--to", tmp_path / "out")
    assert done.exit_code == 2
    assert "leave documents out" in done.output
    alone = run("plate", parts / "tag.json", "--insert-room", 0.3, "--bed", "305x458", "--to", tmp_path / "out")
    assert alone.exit_code == 2
    assert "--insert 100x80" in alone.output
