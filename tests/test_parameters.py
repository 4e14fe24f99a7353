"""What follows from the declarations of parameters: options, checks, columns, refusals; a new one is one edit."""

import inspect
import json
import pickle
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from pathlib import Path, PurePosixPath

import numpy as np
import pytest
import typer
from typer.testing import CliRunner

import digitize
from digitize.batch.lists import read_manifest
from digitize.camera.profile import LensProfile
from digitize.cli.commands import app
from digitize.cutting.ways import WAYS, Cutting
from digitize.errors import UsageError
from digitize.kinds import Choice, FileName, Number, Place, Switch, TwoNumbers, Whole, number_in
from digitize.options import Said, columns, spread
from digitize.parameters import declared, option
from digitize.run import Output
from digitize.settings import Reading, Settings

GROUPS = (Settings, Reading, Output)
EVERY = {(group, key): one for group in GROUPS for key, one in declared(group).items()}
NAN, INF = float("nan"), float("inf")
NUMBERS = {place: one for place, one in EVERY.items() if isinstance(one.kind, Number | Whole | TwoNumbers)}
LENS = LensProfile("phone", 4000, 3000, 0.77, 0.001, -0.002, 0.03, -0.01, (1e-3, 2e-4, 2e-4, 1e-3, 2e-3), 0.1, 5)


def named(place):
    return f"{place[0].__name__}-{place[1]}"


def way_for(one):
    """What else is to be said for a parameter to be heard: a way of cutting that has it, a thickness for a depth."""
    if one.option == "depth":
        return {"solid_mm": 8}
    ways = [way for way in WAYS if way in one.tables]
    if ways:
        return {"cut": ways[0]}
    return {"cut": "laser"} if one.field in Cutting.__dataclass_fields__ and one.field != "way" else {}


def values_of(kind):
    """Values that a parameter of this kind cannot mean."""
    wrong = [[], (1, 2, 3), b"50", object(), NAN, INF, -INF, 1e300, "", " ", np.array([1.0, 2.0, 3.0])]
    if not isinstance(kind, Switch):
        wrong += [True, np.bool_(False)]
    if isinstance(kind, Number | Whole | TwoNumbers):
        step = 1 if isinstance(kind, Whole) else 1e-3
        wrong += [kind.low - step, kind.high + step, str(kind.low), "99", Decimal("50"), 1j]
    if isinstance(kind, TwoNumbers | Place):
        wrong += [(50, NAN), (50, "50"), ("50", "50"), "50x50", (50,), {50, 51}, (True, 50)]
    if isinstance(kind, Whole):
        wrong += [2.5, 2.0]
    if isinstance(kind, Choice):
        wrong += [3, "kamera", kind.choices[0].upper(), [kind.choices[0]]]
    if not isinstance(kind, FileName):
        wrong += [Path("x.toml"), "x\0y", "nan", {}]
    return wrong


def made(place, value):
    group, key = place
    return group.of({**way_for(EVERY[place]), key: value})


def refused(place, value):
    try:
        taken = made(place, value)
    except UsageError as error:
        return str(error)
    raise AssertionError(f"{named(place)} took {value!r}: {taken}")


# --- refused ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("place", EVERY, ids=named)
def test_what_cannot_be_meant_is_refused_in_a_sentence(place):
    one = EVERY[place]
    for value in values_of(one.kind):
        text = refused(place, value)
        assert text.startswith(f"{one.name} "), text
        assert text.endswith(".")
        assert " at 0x" not in text  # no place in memory


@pytest.mark.parametrize("place", NUMBERS, ids=named)
def test_limits_are_taken_and_numbers_of_all_kinds(place):
    kind = NUMBERS[place].kind
    whole = isinstance(kind, Whole)
    for limit in (kind.low, kind.high):
        made_of = [np.int64(limit)] if whole else [np.float64(limit), Fraction(limit), np.array(limit)]
        for value in (limit, *made_of):
            if NUMBERS[place].option not in ("solid", "depth"):  # of these one bounds the other
                made(place, value)


@pytest.mark.parametrize("group", GROUPS, ids=lambda group: group.__name__)
def test_names_that_are_not_known_are_refused_with_those_that_are(group):
    with pytest.raises(UsageError, match=r"^clearence is no option\. There are "):
        group.of({"clearence": 0.2})
    key, one = next((key, one) for key, one in declared(group).items() if one.option != key)
    with pytest.raises(UsageError, match="given twice, under two names"):
        group.of({key: one.unsaid or 50, one.option: one.unsaid or 50})


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"square_mm": "99"}, r"--square 99: expected a number, or two"),
        ({"taken_with": "kamera"}, r"--camera kamera: choose from camera, flatbed"),
        ({"tolerance_mm": None}, r"--tolerance None: expected a number, 0.001 to 1 mm"),
        ({"background": 3}, r"--background 3: expected light, dark or a colour"),
        ({"cutting": {"kerf": 1}}, r"kerf is no value of a way of cutting"),
        ({"cutting": {"way": "laser", "typical": ["kerf"]}}, "is no value of a way of cutting"),
        ({"lens": {"device": "x"}}, r"--profile \(values of a lens\): a value is missing"),
        ({"cutting": Cutting(way="laser"), "kerf_mm": 0.1}, "given twice"),
    ],
)
def test_what_settings_refuse(given, words):
    with pytest.raises(UsageError, match=words):
        Settings(**given) if given.keys() == {"tolerance_mm"} else Settings.of(given)


def test_a_value_that_a_way_does_not_have_is_refused_by_hand_too():
    with pytest.raises(UsageError, match="--cutter is for --cut router, not for --cut laser"):
        Cutting(way="laser", cutter_mm=3)
    with pytest.raises(UsageError, match="--cutter says how to cut"):
        Cutting(cutter_mm=3)


# --- read as words ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("place", NUMBERS, ids=named)
def test_words_of_the_command_line_mean_what_numbers_do(place):
    group, key = place
    one = NUMBERS[place]
    kind = one.kind
    value = 3 if isinstance(kind, Whole) else round((kind.low + min(kind.high, kind.low + 100)) / 2, 1) + 0.05
    if one.option == "depth":
        value = 3.05
    text = f"{value:g}"
    value = int(text) if isinstance(kind, Whole) else float(text)
    asked = {key: str(way) for key, way in way_for(one).items()}
    expected = made(place, value)
    assert Said(group, {**asked, key: text}).made() == expected
    assert Said(group, {**asked, one.option: text.replace(".", ",")}).made() == expected
    for wrong in ("", "x", "1,2,3", "1.000,5", "0x10", "1_0", "٣", "1e", "--", "12 km"):
        with pytest.raises(UsageError, match=rf"^{one.name} "):
            Said(group, {**asked, key: wrong}).made()


@pytest.mark.parametrize(
    ("text", "value"),
    [("0,2", 0.2), ("0.2", 0.2), ("1,000", 1), ("-3", -3), (".5", 0.5), ("5.", 5), ("1e2", 100), ("1,5E-1", 0.15)],
)
def test_numbers_have_points_or_commas(text, value):
    assert number_in(text) == value


@pytest.mark.parametrize(
    ("option", "text", "words"),
    [
        ("square", "50,50", "for two numbers write 50x50, for one 50.50"),
        ("square", "54,53", "for two numbers write 54x53, for one 54.53"),
        ("measured", "53,54", "for two numbers write 53x54"),
        ("square", "49.8,49.9", "such as 49.8x49.9"),
        ("square", "50;50", "such as 50x50"),
        ("square", "50 50", "such as 50 or 49.8x49.9"),
        ("dpi", "600,1200", "for two numbers write 600x1200"),
        ("dpi", "600x1200x2", "one number or two"),
    ],
)
def test_two_numbers_with_a_comma_are_refused_with_the_way_to_write_them(option, text, words):
    with pytest.raises(UsageError, match=words):
        Said(Settings, {option: text}).made()


def test_one_number_with_a_comma_where_two_may_stand():
    for text, value in (("49,8", 49.8), ("53,85", 53.85), ("50,05", 50.05), ("53,053", 53.053)):
        assert Said(Settings, {"square": text}).made().square_mm == (value, value)
    assert Said(Settings, {"square": "49,8x49,9"}).made().square_mm == (49.8, 49.9)


def test_a_comma_that_may_part_thousands_is_asked_about():
    with pytest.raises(UsageError, match=r"--max-mpx 1,500: is that 1\.5 or 1500"):
        Said(Reading, {"max_mpx": "1,500"}).made()
    assert Said(Settings, {"dust": "1,500"}).made().dust_mm == 1.5  # 1500 mm cannot be meant


def test_the_command_refuses_with_our_sentence_and_reads_commas(tmp_path):
    run = CliRunner().invoke(app, ["outline", "none.png", "--clearance", "wide", "--to", str(tmp_path)])
    assert (run.exit_code, run.output) == (2, "digitize: --clearance wide: expected a number, 0 to 20 mm.\n")
    run = CliRunner().invoke(app, ["outline", "none.png", "--clearance", "0,2", "--max-mpx", "12,5"])
    assert run.exit_code == 3
    assert "no such file" in run.output


# --- there and back --------------------------------------------------------------------------------------------

ASKED = [
    {},
    {"square": 50, "background": "#e8e4da", "item-at": (3, 4.5), "camera": "camera", "edge-height": 2},
    {"clearance": 0},
    {"kerf": 0.2, "cut_holes": True},
    {"clearance": 0.2, "web": 4, "notches": 2},
    {"cut": "router", "cutter": 4, "relief": "side", "pins": True, "notch-angle": 45},
    {"cut": "former"},
    {"lens": LENS, "background_photo": Path("empty.jpg"), "bleed": 0, "tolerance": 0.1},
]


@pytest.mark.parametrize("asked", ASKED, ids=lambda asked: " ".join(asked) or "nothing")
def test_what_was_asked_for_comes_back_from_json(asked):
    settings = Settings.of(asked)
    told = json.loads(json.dumps(settings.given(), allow_nan=False))
    assert Settings.of(told) == settings
    assert Settings.of(told).given() == settings.given()
    assert pickle.loads(pickle.dumps(settings)) == settings


def test_a_users_file_is_not_needed_again(tmp_path):
    path = tmp_path / "own.toml"
    path.write_text('format = "digitize-cutting"\nversion = 1\n[laser]\nkerf_mm = 0.31\n')
    settings = Settings.of({"cut": "laser", "cutting": path})
    path.unlink()
    assert settings.cutting.kerf_mm == 0.31
    assert Settings.of(settings.given()) == settings
    assert settings.cutting.typical == ("clearance_mm", "lead_in_mm")


def test_values_are_held_as_pythons_own():
    settings = Settings.of({"square": np.float32(50), "dpi": np.array([300, 600]), "tolerance": Fraction(1, 50)})
    assert settings == Settings(square_mm=(50.0, 50.0), dpi=(300.0, 600.0))
    assert {type(one) for one in (*settings.square_mm, *settings.dpi, settings.tolerance_mm)} == {float}
    assert Settings.of({"background_photo": PurePosixPath("a/b.jpg")}).background_photo == "a/b.jpg"
    assert Output(formats="svg, DXF").formats == ("dxf", "svg")


# --- a new parameter is one edit -------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class More(Settings):
    """Settings with one parameter more."""

    glue_mm: float = option(0.5, Number(0.25, 3, "mm"), "Thickness of the glue in mm.")


def test_a_new_parameter_is_an_option_a_check_and_a_column(tmp_path):
    seen = []

    @spread
    def command(*, recipe: Said[More], loud: bool = False) -> int:
        seen.append(recipe.made())
        return 0

    program = typer.Typer()
    program.command()(command)
    helped = CliRunner().invoke(program, ["--help"]).output
    assert "--glue" in helped
    assert "Thickness of the glue in mm." in helped
    assert CliRunner().invoke(program, ["--glue", "0,75", "--clearance", "1"]).exit_code == 0
    assert (seen[0].glue_mm, seen[0].cutting.clearance_mm) == (0.75, 1)
    assert CliRunner().invoke(program, []).exit_code == 0
    assert seen[1].glue_mm == 0.5
    assert "glue" in columns(More)
    assert "glue" not in columns(Settings)
    (tmp_path / "m.csv").write_text("file,glue\na.png,1.5\n")
    (one,) = read_manifest(tmp_path / "m.csv", "/in", columns(More))
    assert Said(More, {}).with_cells(one.options).made().glue_mm == 1.5
    for wrong in (0.2, 3.1, "1", NAN, True):
        with pytest.raises(UsageError, match=r"^--glue .*0.25 to 3 mm"):
            More.of({"glue_mm": wrong})
        with pytest.raises(UsageError, match="--glue"):
            More(glue_mm=wrong)
    assert More.of({"glue": 2}).given() == {"glue_mm": 2.0}


def test_keywords_of_saving_are_those_declared():
    from digitize.api import Outlines

    given = inspect.signature(Outlines.save).parameters
    known = declared(Output)
    assert list(given) == ["self", "folder", *known]
    assert {name: given[name].default for name in known} == {name: one.unsaid for name, one in known.items()}


@pytest.mark.parametrize("wrong", [3, None, b"scan.png", "", "a\0b", 2.5])
def test_pictures_and_folders_that_are_no_paths_are_refused(wrong):
    with pytest.raises(UsageError, match=r"^picture .*expected the path of a file"):
        digitize.outline(wrong, square_mm=50)
    with pytest.raises(UsageError, match="expected the path of a file"):
        digitize.outline_file(wrong, Settings(), Output())


def test_every_parameter_has_words_and_its_own_names():
    for group in GROUPS:
        known = declared(group)
        assert len({one.option for one in known.values()}) == len(known)
        assert all(one.help and one.kind.hint for one in known.values())


@pytest.mark.parametrize(
    ("option", "text", "expected"),
    [
        # 1 in = 25.4 mm exactly (NIST SP 811, appendix B.8)
        ("square_mm", "2in", (50.8, 50.8)),
        ("square_mm", "40mm", (40.0, 40.0)),
        ("square_mm", "4cm", (40.0, 40.0)),
        ("square_mm", "49,8 mm x 49,9 mm", (49.8, 49.9)),
        ("clearance_mm", "0.2mm", 0.2),
        ("clearance_mm", "0,02 cm", 0.2),
        ("square_mm", "2x3in", (50.8, 76.2)),
        ("square_mm", "2in x 2.5 in", (50.8, 63.5)),
        ("square_mm", '1,5"', (38.1, 38.1)),
        ("clearance_mm", "0.01in", 0.254),
        ("item_height_mm", "0.125in+-0.01in", (3.175, 0.254)),
    ],
)
def test_lengths_may_be_said_in_inches(option, text, expected):
    one = declared(Settings)[option]
    assert one.kind.read(text, one.name) == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize(
    ("option", "text"),
    [("dpi", "300in"), ("square_mm", "2in x 50mm"), ("square_mm", "4cmm"), ("square_mm", "mm"), ("clearance_mm", "in")],
)
def test_what_is_no_length_in_one_unit_is_refused(option, text):
    one = declared(Settings)[option]
    with pytest.raises(UsageError, match="expected"):
        one.kind.read(text, one.name)


def test_a_word_of_several_may_be_said_in_capitals():
    assert Said(Settings, {"cut": "Laser", "units": "INCH"}).made().units == "inch"
    assert Said(Settings, {"cut": " LASER "}).made().cutting.way == "laser"
    with pytest.raises(UsageError, match="--cut Lazer: choose from laser"):
        Said(Settings, {"cut": "Lazer"}).made()


def test_inches_out_of_range_are_refused_in_mm():
    one = declared(Settings)["clearance_mm"]
    with pytest.raises(UsageError, match=r"25\.4"):
        one.checked(one.kind.read("1in", one.name))
