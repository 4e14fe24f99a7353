"""Help: the overview that is kept as a file, how quick it is, and that every option is explained.

`python -m tests.test_help` writes the file again after a command was added or its first line changed.
"""

import subprocess
import sys
from pathlib import Path

import pytest
import typer.main

from digitize.cli import app
from tests.bench.speed import help_ratio

FILE = Path(__file__).resolve().parents[1] / "digitize" / "data" / "help.txt"
COMMANDS = typer.main.get_command(app).commands


def overview():
    """What the command-line library itself would print, 80 columns wide."""
    command = typer.main.get_command(app)
    context = command.make_context("digitize", [], resilient_parsing=True, terminal_width=80)
    return command.get_help(context) + "\n"


def test_overview_is_what_the_commands_say():
    assert FILE.read_text("utf-8") == overview(), "write it again: python -m tests.test_help"


def test_overview_is_printed():
    done = subprocess.run([sys.executable, "-m", "digitize", "--help"], capture_output=True, text=True, check=True)
    assert done.stdout == FILE.read_text("utf-8")
    assert done.stderr == ""


def test_overview_takes_less_than_a_third_of_importing_opencv_and_scikit_image():
    # Processor time, the least of several runs in turn: other work on the machine hardly changes it.
    assert help_ratio(6) < 0.3


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_and_option_is_explained(name):
    command = COMMANDS[name]
    assert command.help
    for parameter in command.params:
        assert getattr(parameter, "help", None), parameter.name


if __name__ == "__main__":
    FILE.write_text(overview(), "utf-8")
