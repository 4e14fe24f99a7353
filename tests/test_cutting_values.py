"""Values of the ways of cutting: typical, of the user's file, of the command line; which holds, what is refused."""

import tomllib

import pytest

from digitize.cutting.defaults import default_bytes, read_cutting_file, typical_values
from digitize.cutting.ways import NO_POCKET, OF_WAY, VALUES, WAYS, Cutting, choose
from digitize.errors import UsageError
from digitize.options import Said
from digitize.seal import is_sealed
from digitize.settings import Settings

TYPICAL = typical_values()
HEAD = 'format = "digitize-cutting"\nversion = 1\n'
# Common practice of the trade without a source, but for the kerf, of which charts are published; what no chart and no
# practice tells (first layer, shrink) is from memory, and its range wide.
RANGES = {
    "laser": {"clearance_mm": (0.15, 0.3), "kerf_mm": (0.08, 0.45), "lead_in_mm": (1, 3)},
    "router": {"clearance_mm": (0.2, 0.3), "cutter_mm": (1, 6.35)},
    "knife": {"clearance_mm": (0.5, 1.0), "least_radius_mm": (5, 5)},
    "print3d": {"clearance_mm": (0.3, 0.5), "first_layer_mm": (0.1, 0.5)},
    "former": {
        "clearance_mm": (0.5, 1.0),
        "draft_deg": (3, 5),
        "shrink_percent": (0.4, 0.8),
        "plug_height_mm": (1, 50),
    },
    "notch": {"notch_width_mm": (15, 20)},
    "sheet": {"web_mm": (5, 5), "node_spacing_mm": (0.3, 0.3)},
}


def own_file(tmp_path, text):
    path = tmp_path / "mine.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_typical_values_lie_within_what_the_trade_uses():
    assert set(TYPICAL) == set(RANGES)
    for table, ranges in RANGES.items():
        numbers = {name: value for name, value in TYPICAL[table].items() if not isinstance(value, str)}
        assert set(numbers) == set(ranges)
        for name, (low, high) in ranges.items():
            assert low <= numbers[name] <= high, (table, name)
    assert TYPICAL["router"]["relief"] == "diagonal"


def test_every_value_of_every_way_is_in_the_file():
    for way, names in OF_WAY.items():
        assert set(TYPICAL[way]) == set(names)


def test_the_file_says_that_its_values_are_to_be_tested_and_can_be_read_back(tmp_path):
    text = default_bytes().decode()
    assert "typical, test first" in text
    assert is_sealed(text.encode())
    assert tomllib.loads(text)["version"] == 1
    assert read_cutting_file(own_file(tmp_path, text)) == TYPICAL


def test_command_line_before_own_file_before_typical(tmp_path):
    own = read_cutting_file(own_file(tmp_path, HEAD + "[laser]\nkerf_mm = 0.31\nclearance_mm = 0.15\n"))
    made = choose("laser", {"clearance_mm": 0.4}, TYPICAL, own)
    assert (made.clearance_mm, made.kerf_mm, made.lead_in_mm) == (0.4, 0.31, 2.0)
    # only what nobody said is typical
    assert made.typical == ("lead_in_mm",)
    assert choose("laser", {}, TYPICAL).typical == ("clearance_mm", "kerf_mm", "lead_in_mm")
    zero = choose("laser", {"lead_in_mm": 0.0}, TYPICAL, own)
    assert zero.lead_in_mm == 0
    assert zero.typical == ()


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "expected a file of ways of cutting"),
        ('format = "digitize-lens"\nversion = 1\n', "digitize cutting --to"),
        (HEAD + "[lazer]\nkerf_mm = 0.2\n", r"\[lazer\] is not known"),
        (HEAD + "laser = 3\n", r"\[laser\] is not known"),
        (HEAD + "[laser]\nkerf = 0.2\n", r"kerf is not known in \[laser\]"),
        (HEAD + "[laser]\ncutter_mm = 3\n", r"cutter_mm is not known in \[laser\]"),
        (HEAD + '[laser]\nkerf_mm = "thin"\n', r"\[laser\] kerf_mm = thin: expected a number, 0 to 5 mm"),
        (HEAD + "[laser]\nkerf_mm = true\n", "kerf_mm = True: expected"),
        (HEAD + "[laser]\nkerf_mm = nan\n", "kerf_mm = nan: expected"),
        (HEAD + "[former]\nshrink_percent = 60\n", "shrink_percent = 60: expected 0 to 5 %"),
        (HEAD + '[router]\nrelief = "round"\n', "choose from diagonal, side, none"),
        ("kerf = = 2", "no TOML"),
    ],
)
def test_files_that_cannot_be_meant_are_refused_by_name(tmp_path, text, words):
    with pytest.raises(UsageError, match=words) as caught:
        read_cutting_file(own_file(tmp_path, text))
    assert "mine.toml" in str(caught.value)


def test_bytes_that_are_no_text_and_files_that_are_not_there_are_refused(tmp_path):
    (tmp_path / "b.toml").write_bytes(b"\xff\xfe\x00")
    for name in ("b.toml", "none.toml", "."):
        with pytest.raises(UsageError, match="--cutting"):
            read_cutting_file(tmp_path / name)


@pytest.mark.parametrize(
    ("way", "given", "words"),
    [
        ("saw", {}, "--cut saw: choose from laser, router, knife, print3d, former"),
        ("router", {"kerf_mm": 0.2}, "--kerf is for --cut laser, not for --cut router, which takes --clearance"),
        ("laser", {"cutter_mm": 3.0}, "--cutter is for --cut router"),
        (None, {"cutter_mm": 3.0}, "--cutter says how to cut, but not with what: say --cut router too"),
        ("router", {"cutter_mm": 0.0}, "--cutter 0: expected 0.1 to 50 mm"),
        ("router", {"relief": "ears"}, "--relief ears: choose from"),
        ("laser", {"clearance_mm": -0.1}, "--clearance -0.1: expected 0 to 20 mm"),
        ("former", {"draft_deg": 60.0}, "--draft 60: expected 0 to 45 degrees"),
        ("laser", {"kerf_mm": float("nan")}, "--kerf nan: expected"),
    ],
)
def test_values_that_cannot_be_meant_are_refused_with_the_option(way, given, words):
    with pytest.raises(UsageError, match=words):
        choose(way, given, TYPICAL)


@pytest.mark.parametrize(
    "values", [{"notches": 13}, {"notches": -1}, {"notch_angle_deg": float("inf")}, {"way": "saw"}]
)
def test_a_cutting_made_by_hand_is_checked_too(values):
    with pytest.raises(UsageError):
        Cutting(**values)


def test_values_are_said_with_their_unit():
    made = Cutting(way="router", cutter_mm=3.175, relief="side")
    assert [made.said(name) for name in OF_WAY["router"]] == ["clearance 0 mm", "cutter 3.175 mm", "corner relief side"]
    assert VALUES.keys() == Cutting.__dataclass_fields__.keys() - {"typical", "wanted"}
    assert set(WAYS) == set(OF_WAY)


# --- options ---------------------------------------------------------------------------------------------------


def test_without_a_way_clearance_and_kerf_say_all():
    cutting = Settings.of({"clearance": 0.2, "kerf": 0.18}).cutting
    assert (cutting.way, cutting.clearance_mm, cutting.kerf_mm, cutting.wanted) == (None, 0.2, 0.18, True)
    # nobody asked for warnings
    assert (cutting.web_mm, cutting.node_spacing_mm, cutting.typical) == (0, 0, ())
    assert Settings.of({}).cutting == NO_POCKET
    assert Settings.of({"kerf": 0.18}).cutting.typical == ("clearance_mm",)
    checked = Settings.of({"clearance": 0.2, "web": 4}).cutting
    assert (checked.web_mm, checked.node_spacing_mm) == (4, 0.3)


def test_options_make_a_way_of_cutting(tmp_path):
    path = own_file(tmp_path, HEAD + "[router]\ncutter_mm = 4\n")
    asked = {"cut": "router", "cutting": path, "clearance": 0.3, "relief": "side", "notches": 2, "pins": True}
    cutting = Settings.of(asked).cutting
    assert (cutting.way, cutting.clearance_mm, cutting.cutter_mm, cutting.relief) == ("router", 0.3, 4.0, "side")
    assert (cutting.notches, cutting.notch_width_mm, cutting.pins) == (2, 18.0, True)
    assert cutting.typical == ("notch_width_mm",)


def test_notches_and_pins_go_with_clearance_alone():
    cutting = Settings.of({"clearance": 0.2, "kerf": 0.1, "notches": 2}).cutting
    assert (cutting.way, cutting.clearance_mm, cutting.kerf_mm, cutting.lead_in_mm) == (None, 0.2, 0.1, 0.0)


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"cutter": 3}, "--cutter says how to cut, but not with what: say --cut router too"),
        ({"cut_holes": True}, "there is no path to cut"),
        ({"notches": 2}, "give --cut WAY, or --clearance or --kerf"),
        ({"pins": True}, "give --cut WAY"),
        ({"cutting": "x.toml", "clearance": 0.2}, "say which, --cut WAY"),
        ({"cut": "laser", "cut_holes": True, "pins": True}, "a hole takes a peg of the sheet or a pin"),
        ({"cut": "former", "cut_holes": True}, "not for the plug"),
        ({"cut": "knife", "kerf": 0.2}, "--kerf is for --cut laser, not for --cut knife"),
    ],
)
def test_options_that_contradict_one_another_are_refused(given, words):
    with pytest.raises(UsageError, match=words):
        Settings.of(given)


def test_settings_do_not_take_a_pocket_twice():
    with pytest.raises(UsageError, match="given twice"):
        Settings.of({"clearance": 0.2, "cutting": Cutting(way="laser")})
    assert Settings.of({"pins": False, "notches": 0, "cutting": Cutting(way="laser")}).cutting.way == "laser"


def test_a_manifest_may_have_the_way_and_its_values():
    cells = {"cut": "router", "cutter": "4", "notches": "2", "pins": "yes", "notch-angle": "45"}
    made = Said(Settings, {}).with_cells(cells).made().cutting
    assert (made.way, made.cutter_mm, made.notches, made.pins, made.notch_angle_deg) == ("router", 4.0, 2, True, 45.0)
    for text in ("two", "2.5", "-1"):
        with pytest.raises(UsageError, match=r"notches .*expected a whole number, 0 to 12"):
            Said(Settings, {"cut": "laser"}).with_cells({"notches": text}).made()
