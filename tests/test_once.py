"""An option that takes one value, given twice: refused by every command, not the last taken in silence."""

import pytest
import typer
from typer.testing import CliRunner

from digitize.cli.commands import app

COMMAND = typer.main.get_command(app)
MANY = {  # what may be said several times: the help says "repeatable"
    *("batch --pattern", "check --hole", "lot --item", "plate --item", "plate --plate-hole", "plate --item-thickness"),
    *("plate --label", "template --artwork", "template --insert", "profile printer --shift"),
}


def run(*words):
    return CliRunner().invoke(app, [*words])


def commands(group=COMMAND, before=()):
    for name, one in group.commands.items():
        if hasattr(one, "commands"):
            yield from commands(one, (*before, name))
        else:
            yield (*before, name), one


OPTIONS = [
    (words, one)
    for words, command in commands()
    for one in command.params
    if one.param_type_name == "option" and not one.is_flag
]


def test_every_command_is_looked_at():
    assert len({words for words, _ in OPTIONS}) >= 13
    assert {" ".join([*words, one.opts[0]]) for words, one in OPTIONS if one.multiple} == MANY


# What a command cannot be called without.
NEEDS = {("check",): ["x"], ("template",): ["x"], ("batch",): ["--to", "y"], ("profile", "lens"): ["z", "--to", "y"]}


@pytest.mark.parametrize("words", sorted({words for words, _ in OPTIONS}), ids=" ".join)
def test_an_option_of_one_value_given_twice_is_refused(words):
    for option in (one.opts[0] for of, one in OPTIONS if of == words and not one.multiple):
        needed = NEEDS.get(words, [])
        beside = [word for word in needed if word not in (option, "y")] if option in needed else needed
        done = run(*words, *beside, option, "7", f"{option}=8")
        assert done.exit_code == 2, option
        assert done.stderr == f"digitize: {option} is given twice: 7, then 8. Only one can hold: give it once.\n"


def test_what_was_said_is_told():
    done = run("outline", "scan.png", "--clearance", "0.2", "--kerf", "0.18", "--clearance", "0.3", "--clearance=0.2")
    assert done.exit_code == 2
    assert done.stderr == (
        "digitize: --clearance is given 3 times: 0.2, then 0.3, then 0.2. Only one can hold: give it once.\n"
    )
    assert done.stdout == ""


def test_two_words_of_one_choice_contradict_each_other():
    done = run("outline", "scan.png", "--camera", "--square", "50", "--flatbed")
    assert (done.exit_code, done.stderr) == (
        2,
        "digitize: --camera and --flatbed contradict each other: give one of them.\n",
    )


@pytest.mark.parametrize(
    "words",
    [
        ("outline", "no-such.png", "--ideal", "--ideal", "--camera", "--camera"),  # the same said again
        ("outline", "no-such.png", "--square", "50", "--", "--square"),  # the name of a file
        ("plate", "no-such.json", "--item", "a", "--item", "b", "--plate-hole", "1,2,3", "--plate-hole", "4,5,6"),
    ],
)
def test_what_may_stand_twice_does(words):
    done = run(*words)
    assert done.exit_code in (2, 3)
    assert "no such file" in done.stderr.lower()
    assert "given" not in done.stderr


def test_help_comes_first():
    done = run("outline", "--clearance", "0.2", "--clearance", "0.3", "--help")
    assert done.exit_code == 0
    assert "Usage" in done.stdout
