"""What the user asked for: read, checked, and refused with the option, the value and what is expected."""

import pytest

from digitize.errors import DigitizeError, UsageError
from digitize.kinds import Place, TwoNumbers
from digitize.settings import Settings, background_codes

SIDES = TwoNumbers(2, 1000, "mm")


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
    assert SIDES.checked(SIDES.read(text, "--square"), "--square") == pair


@pytest.mark.parametrize("text", ["", "x", "50x", "x50", "50x50x50", "fifty", "50 m", "50*50", "1,000.5"])
def test_what_is_no_pair_is_refused_with_an_example(text):
    with pytest.raises(UsageError, match=r"^--measured .*expected one number or two.*49\.8x49\.9"):
        SIDES.read(text, "--measured")


@pytest.mark.parametrize(("text", "place"), [("1200,850", (1200, 850)), ("10.5, -3", (10.5, -3)), ("0,0", (0, 0))])
def test_places_are_read(text, place):
    assert Place().checked(Place().read(text, "--item-at"), "--item-at") == place


@pytest.mark.parametrize("text", ["", "12", "12;13", "1,2,3", "a,b", "12x13"])
def test_what_is_no_place_is_refused_with_an_example(text):
    with pytest.raises(UsageError, match=r"^--item-at .*1200,850"):
        Place().read(text, "--item-at")


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
        Settings.of(given)
    assert isinstance(caught.value, DigitizeError)
    assert caught.value.exit_code == 2


def test_values_at_their_limits_are_taken():
    Settings.of({"square_mm": (2, 1000), "measured_mm": (2, 1000), "dpi": (10, 20000), "dust": 0, "tolerance": 0.001})
    Settings.of({"dust": 100, "tolerance": 1, "clearance": 0, "kerf": 0})
    Settings.of({"clearance": 20, "kerf": 5, "background": "#000000"})


def test_a_bad_background_is_refused_at_once():
    with pytest.raises(UsageError, match="--background pale"):
        Settings(background="pale")


def test_what_is_not_given_stays_open():
    plain = Settings()
    assert (plain.square_mm, plain.measured_mm, plain.dpi, plain.background) == (None,) * 4
    assert not plain.cutting.wanted
    assert plain.given() == {}
    assert plain.tolerance_mm == 0.02


def test_a_reading_of_calipers_is_known_to_004_mm_unless_said():
    """Careful reading with 0.01 mm resolution, k = 2: common practice, no source."""
    assert Settings().caliper_sd_mm == 0.02
    assert Settings(caliper_error_mm=0.01).caliper_sd_mm == 0.005
