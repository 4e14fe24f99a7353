"""What the user asked for: read, checked, and refused with the option, the value and what is expected."""

import pytest

from digitize.errors import DigitizeError, UsageError
from digitize.settings import Settings, background_codes, parse_pair, parse_place


@pytest.mark.parametrize(
    ("text", "pair"),
    [
        ("50", (50, 50)),
        (" 49.8x49.9 ", (49.8, 49.9)),
        ("49.8X49.9", (49.8, 49.9)),
        ("49.8×49.9", (49.8, 49.9)),
        ("49,8x49,9", (49.8, 49.9)),
        ("49,8", (49.8, 49.8)),
        ("1e2", (100, 100)),
    ],
)
def test_pairs_are_read(text, pair):
    assert parse_pair(text, option="--square") == pair


@pytest.mark.parametrize("text", ["", "x", "50x", "x50", "50x50x50", "fifty", "50 mm", "50*50", "1,000.5"])
def test_what_is_no_pair_is_refused_with_an_example(text):
    with pytest.raises(UsageError, match=r"^--measured .*expected one number or two.*49\.8x49\.9"):
        parse_pair(text, option="--measured")


@pytest.mark.parametrize(("text", "place"), [("1200,850", (1200, 850)), ("10.5, -3", (10.5, -3)), ("0,0", (0, 0))])
def test_places_are_read(text, place):
    assert parse_place(text, option="--item-at") == place


@pytest.mark.parametrize("text", ["", "12", "12;13", "1,2,3", "a,b", "12x13"])
def test_what_is_no_place_is_refused_with_an_example(text):
    with pytest.raises(UsageError, match=r"^--item-at .*1200,850"):
        parse_place(text, option="--item-at")


def test_backgrounds_are_read():
    assert background_codes("light") == "light"
    assert background_codes("dark") == "dark"
    assert background_codes("#00ff7A") == (0, 255, 122)


@pytest.mark.parametrize("text", ["", "Light", "grey", "#fff", "#12345", "#12345g", "e8e4da", "#e8e4da00", "#e8e4da\n"])
def test_other_backgrounds_are_refused(text):
    with pytest.raises(UsageError, match="expected light, dark or a colour"):
        background_codes(text)


@pytest.mark.parametrize(
    ("option", "given"),
    [
        ("--square", {"square_mm": (1.9, 50)}),
        ("--square", {"square_mm": (50, 1001)}),
        ("--square", {"square_mm": (-50, -50)}),
        ("--measured", {"measured_mm": (float("nan"), 54)}),
        ("--measured", {"measured_mm": (54, float("inf"))}),
        ("--dpi", {"dpi": (9, 600)}),
        ("--dpi", {"dpi": (600, 20001)}),
        ("--dust", {"dust_mm": -0.1}),
        ("--dust", {"dust_mm": 101}),
        ("--dust", {"dust_mm": float("nan")}),
        ("--tolerance", {"tolerance_mm": 0}),
        ("--tolerance", {"tolerance_mm": 1.1}),
        ("--clearance", {"clearance_mm": -0.01}),
        ("--clearance", {"clearance_mm": 20.5}),
        ("--kerf", {"kerf_mm": -0.01}),
        ("--kerf", {"kerf_mm": float("inf")}),
    ],
)
def test_values_that_cannot_be_meant_are_refused_by_name(option, given):
    with pytest.raises(UsageError, match=rf"^{option} .*expected") as caught:
        Settings(**given)
    assert isinstance(caught.value, DigitizeError)
    assert caught.value.exit_code == 2


def test_values_at_their_limits_are_taken():
    Settings(square_mm=(2, 1000), measured_mm=(2, 1000), dpi=(10, 20000), dust_mm=0, tolerance_mm=0.001)
    Settings(dust_mm=100, tolerance_mm=1, clearance_mm=0, kerf_mm=0)
    Settings(clearance_mm=20, kerf_mm=5, background="#000000")


def test_a_bad_background_is_refused_at_once():
    with pytest.raises(UsageError, match="--background pale"):
        Settings(background="pale")


def test_what_is_not_given_stays_open():
    plain = Settings()
    given = (plain.square_mm, plain.measured_mm, plain.dpi, plain.clearance_mm, plain.kerf_mm, plain.background)
    assert given == (None,) * 6
    assert plain.tolerance_mm == 0.02
