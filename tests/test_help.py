"""Help: the overview that is kept as a file, how quick it is, and that every option is explained, in the README too."""

import re
import subprocess
import sys

import pytest
import typer.main

from digitize.cli.commands import app
from tests.bench.speed import help_ratio
from tests.help_pages import DEVELOPERS, MANUAL, OVERVIEW, PAGES, README, ROOMS, ROOT, commands, tables

AGAIN = "write it again: python -m tests.help_pages"
COMMANDS = commands()
PROGRAM = typer.main.get_command(app)


@pytest.mark.parametrize("path", PAGES, ids=lambda path: path.name)
def test_pages_say_what_the_code_says(path):
    assert path.read_text("utf-8") == PAGES[path](), AGAIN


def test_overview_is_printed():
    done = subprocess.run([sys.executable, "-m", "digitize", "--help"], capture_output=True, text=True, check=True)
    assert done.stdout == OVERVIEW.read_text("utf-8")
    assert done.stderr == ""


def test_overview_takes_less_than_a_third_of_importing_opencv_and_scikit_image():
    # Processor time, the least of several runs in turn: other work on the machine hardly changes it.
    assert help_ratio(3) < 0.3


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_and_option_is_explained(name):
    command = COMMANDS[name]
    assert command.help
    for parameter in command.params:
        assert getattr(parameter, "help", None), parameter.name


def test_manual_lists_every_option_of_every_command():
    for name, command in COMMANDS.items():
        section = next(part for part in tables().split("### ") if part.startswith(f"`digitize {name}"))
        for option in command.params:
            if option.param_type_name == "option" and option.name != "help":
                for name in (option.opts[0], *option.secondary_opts):
                    assert f"`{name}`" in section


@pytest.mark.parametrize("page", [README, MANUAL], ids=["README", "manual"])
def test_pages_name_no_option_that_is_not_there(page):
    options = [option for command in (PROGRAM, *COMMANDS.values()) for option in command.params]
    known = {text for option in options for text in (*option.opts, *option.secondary_opts)}
    text = page.read_text("utf-8")
    words = set(re.findall(r"(?<![\w-])--[a-z][a-z-]+", text))
    assert words <= known | {"--help", "--quiet"}


@pytest.mark.parametrize("page", [README, MANUAL], ids=["README", "manual"])
def test_pages_run_on_samples_that_are_there(page):
    for path in re.findall(r"(?<![\w/])(?:samples|calibration|tests)/[\w./-]+\w", page.read_text("utf-8")):
        assert (ROOT / path).exists(), path


def test_links_lead_to_files_and_headings_that_are_there():
    pages = [README, MANUAL, DEVELOPERS, *ROOT.glob("*/README.md"), ROOT / "tests" / "bench" / "README.md"]
    for page in pages:
        for target in re.findall(r"\]\((?!http)([^)]+)\)", page.read_text("utf-8")):
            name, _, heading = target.partition("#")
            path = page.parent / name if name else page
            assert path.exists(), f"{page.name}: {target}"
            if heading:
                lines = re.findall(r"^#+ (.*)$", path.read_text("utf-8"), re.MULTILINE)
                assert heading in {re.sub(r"[^\w -]", "", line).lower().replace(" ", "-") for line in lines}, target


def test_readme_stays_short():
    assert len(README.read_text("utf-8").splitlines()) < 200


def test_readme_holds_the_two_lines_that_the_ci_script_runs():
    text = README.read_text("utf-8")
    lines = [line[4:] for line in text.splitlines() if line.startswith("    python3 -m venv ")]
    assert len(lines) == 2
    assert "digitize outline samples/" in lines[0]
    assert lines[1].endswith("/python -m pytest")
    # The script takes them from the README by this pattern; a copy of its own would drift.
    script = (ROOT / ".ci" / "run").read_text("utf-8")
    assert r"s/^    \(python3 -m venv .*\)$/\1/p" in script
    assert '"${lines[0]}"' in script
    assert '"${lines[1]}"' in script
    assert "pytest" not in re.sub(r"#.*", "", script)


def test_every_room_is_in_the_list_of_modules():
    package = ROOT / "digitize"
    assert {path.parent.relative_to(package).as_posix() for path in package.rglob("__init__.py")} == {".", *ROOMS}
