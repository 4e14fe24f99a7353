"""What the code says of itself: the help's overview, the manual's tables, the interface's keywords, the modules.

`python -m tests.help_pages` writes them again after a command, an option or a module was added; tests/test_help.py
tells when.
"""

from __future__ import annotations

import ast
import re
import textwrap
from collections.abc import Mapping
from pathlib import Path

import typer.main

from digitize.cli.commands import app
from digitize.parameters import Parameter, declared
from digitize.run import Output
from digitize.settings import Reading, Settings
from tests.rooms import drawing

ROOT = Path(__file__).resolve().parents[1]
OVERVIEW = ROOT / "digitize" / "data" / "help.txt"
README = ROOT / "README.md"
MANUAL = ROOT / "digitize" / "README.md"  # all options; the README itself is for the operator
API = ROOT / "digitize" / "api.py"
DEVELOPERS = ROOT / "DEVELOPERS.md"
DRAWING = ROOT / "tests" / "rooms.svg"
ELSEWHERE = "outline"  # the command whose options the others share


def commands() -> dict:
    """Return every command by its name; one of a group by both names."""
    found = {}
    for name, one in typer.main.get_command(app).commands.items():
        inner = getattr(one, "commands", None)
        found |= {name: one} if inner is None else {f"{name} {sub}": command for sub, command in inner.items()}
    return found


def overview() -> str:
    """Return what the command-line library itself would print, 80 columns wide."""
    command = typer.main.get_command(app)
    context = command.make_context("digitize", [], resilient_parsing=True, terminal_width=80)
    return command.get_help(context) + "\n"


def tables() -> str:
    """Return the manual's part on the commands: a heading, a sentence and a table for each."""
    found = commands()
    shared = {_row(one): _names(one) for one in _options(found[ELSEWHERE])}
    return "\n".join(_section(name, command, shared) for name, command in found.items())


def _section(name: str, command, shared: dict[str, str]) -> str:
    places = [one for one in command.params if one.param_type_name == "argument"]
    usage = " ".join(["digitize", name, *(_place(one) for one in places)])
    rows = {_row(one): _names(one) for one in _options(command)}
    own = [row for row in rows if name == ELSEWHERE or row not in shared]
    also = [rows[row] for row in rows if row not in own]
    lines = [f"### `{usage}`", "", " ".join(command.help.split()), ""]
    lines += [f"`{_place(one)}`: {one.help}\n" for one in places]
    if own:
        lines += ["| option | meaning | unless given |", "|---|---|---|", *own, ""]
    if also:
        lines += [f"{'And as' if own else 'As'} for `{ELSEWHERE}`: {', '.join(also)}.", ""]
    return "\n".join(lines)


def _place(argument) -> str:
    name = argument.name.upper().removesuffix("S") if argument.nargs == -1 else argument.name.upper()
    return name + ("..." if argument.nargs == -1 else "")


def _options(command) -> list:
    return [one for one in command.params if one.param_type_name == "option" and one.name != "help"]


def _names(option) -> str:
    """Return an option's name, and that of its opposite if it has one."""
    return ", ".join(f"`{name}`" for name in (option.opts[0], *option.secondary_opts[:1]))


def _row(option) -> str:
    words = " ".join((option.help or "").split()).replace("|", "\\|")
    return f"| {_names(option)} | {words} | {_default(option)} |"


def _default(option) -> str:
    value = option.default
    if value is None or value is False or callable(value):
        return ""
    text = f"{value:g}" if isinstance(value, float) else str(value)
    return f"`{text}`" if text else ""


# --- the Python interface ----------------------------------------------------------------------------------------


def interface(text: str) -> str:
    """Return `digitize/api.py` with the keywords of its functions as the parameters are declared, and what they are."""
    text = _with_keywords(text, "outline", {**declared(Settings), **declared(Reading)}, after="picture", indent=0)
    return _with_keywords(text, "save", declared(Output), after="folder", indent=4)


def _with_keywords(text: str, function: str, known: Mapping[str, Parameter], *, after: str, indent: int) -> str:
    """Write a function's keywords and their part of its docstring, behind what is said of its argument `after`."""
    inner, space = " " * (indent + 4), " " * indent
    keywords = "".join(f"{inner}{key}: {_hint(one)} = {_literal(one.unsaid)},\n" for key, one in known.items())
    place = re.compile(rf"(\n{space}def {function}\(\n.*?\n{inner}\*,\n).*?(\n{space}\) -> )", re.DOTALL)
    text = place.sub(lambda found: found[1] + keywords.rstrip("\n") + found[2], text, count=1)
    lines = "\n".join(f"{inner}{key}\n{_wrapped(one.help, indent + 8)}" for key, one in known.items())
    place = re.compile(rf"(\n{inner}{after}\n{inner}    [^\n]*\n).*?(\n\n{inner}R(?:eturns|aises)\n)", re.DOTALL)
    return place.sub(lambda found: found[1] + lines + found[2], text, count=1)


def _hint(one: Parameter) -> str:
    hint = one.kind.hint.replace("tuple[float, float]", "Pair")
    return hint if one.unsaid is not None else f"{hint} | None"


def _literal(value: object) -> str:
    return repr(value).replace("'", '"')


def _wrapped(words: str, indent: int) -> str:
    return textwrap.fill(words, 118, initial_indent=" " * indent, subsequent_indent=" " * indent)


# The rooms in the order in which a picture passes them.
ROOMS = (
    *(
        "records",
        "words",
        "reading",
        "card",
        "measure",
        "reference",
        "camera",
        "scanner",
        "silhouette",
        "edge",
        "fitting",
        "cutting",
        "trust",
        "plate",
        "hand",
    ),
    *(
        "recipe",
        "document",
        "write",
        "write/artwork",
        "write/card",
        "write/plate",
        "write/preview",
        "write/proof",
        "write/solid",
        "batch",
        "review",
        "review/plate",
        "cli",
    ),
)


def modules() -> str:
    """Return the list of modules with the first line of each, room by room."""
    package = ROOT / "digitize"
    lines = []
    for folder in (package, *(package / name for name in ROOMS)):
        lines.append(f"`{folder.relative_to(ROOT)}/` {_first_line(folder / '__init__.py')}\n")
        files = sorted(p for p in folder.glob("*.py") if p.name != "__init__.py")
        lines += [f"- `{path.name}` {_first_line(path)}" for path in files]
        lines.append("")
    return "\n".join(lines)


def _first_line(path: Path) -> str:
    text = path.read_text("utf-8")
    own = text[: text.index('"""', 3) + 3] if text.startswith('"""') else text  # the rest is long to parse
    return (ast.get_docstring(ast.parse(own)) or "").split("\n")[0]


def filled(text: str, name: str, part: str) -> str:
    """Return `text` with `part` between its marks."""
    place = re.compile(f"(<!-- {name} -->\n).*?(<!-- end of {name} -->)", re.DOTALL)
    if not place.search(text):
        raise ValueError(f"there are no marks for {name}")
    return place.sub(lambda found: f"{found[1]}\n{part}\n{found[2]}", text, count=1)


PAGES = {  # each as it should be
    OVERVIEW: lambda: overview(),
    MANUAL: lambda: filled(MANUAL.read_text("utf-8"), "commands", tables()),
    API: lambda: interface(API.read_text("utf-8")),
    DRAWING: lambda: drawing(),
    DEVELOPERS: lambda: filled(DEVELOPERS.read_text("utf-8"), "modules", modules()),
}


if __name__ == "__main__":
    for path, page in PAGES.items():
        path.write_text(page(), "utf-8")
        print(f"wrote {path}")
