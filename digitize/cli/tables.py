"""What a workshop's file says once for the commands that lay plates, unroll walls and read calipers.

Options for pictures stand at the top of the file; those of such a command in a table of its name, as several mean
another thing there (``web``, ``cut-from``). They reach the command as the library's defaults do, so that whatever a
command declares may stand in the file; what stands on the command line comes first.
"""

from __future__ import annotations

import inspect
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from typing import Any, get_args, get_origin

from typer.models import OptionInfo

from ..errors import UsageError
from ..kinds import shown
from ..parameters import declared
from ..records import Usual
from .usual_file import Found, found_file, meant, word_of, words_of

_KEPT = "digitize.usual"  # of a context's own things: what the file set


@dataclass(frozen=True, slots=True)
class _Reads:
    """What a command takes of the file."""

    table: str = ""
    only: Collection[str] | None = None  # of the table; None: all
    shared: Collection[str] = ()  # of the options for pictures


_READS: Mapping[str, _Reads] = {
    "plate": _Reads("plate"),
    "template": _Reads("template"),
    "unroll": _Reads("unroll"),
    "profile printer": _Reads("plate", only=("bed", "zero")),
    "profile card": _Reads(shared=("caliper-error",)),
    "profile lens": _Reads(shared=("max-mpx",)),
    "check": _Reads(shared=("caliper-error",)),
    "card": _Reads(shared=("paper",)),
}

_OF_ROWS = frozenset({"rows", "columns", "stagger", "turn-every-second"})
_OF_GRID = frozenset({"bed", "zero", "to", "format", "force"})
_ASIDE: Mapping[str, Collection[str]] = {  # said on the command line, these of the file have no place beside it
    "lay": _OF_ROWS | {"as-many-as-fit", "gap", "margin", "turn"},
    "as-many-as-fit": _OF_ROWS,
    **dict.fromkeys(_OF_ROWS, ("as-many-as-fit",)),
    "gap": ("web",),
    "web": ("gap",),
}


def take_usual(context: Any, given: Collection[str], options: Mapping[str, Any]) -> None:
    """Let a command have what a workshop's file sets, where nothing else is said; what that is, `usual_of` tells.

    Parameters
    ----------
    context
        Of the command-line library, before the words are read.
    given
        The words of the command line.
    options
        The command's options by their names without dashes, as the library has them.

    Raises
    ------
    UsageError
        If the file cannot be read, names what is no option of the command, or has no word for it.
    """
    reads = _READS.get(_called(context))
    found = found_file() if reads else None
    if reads is None or found is None:
        return
    said = {word.split("=")[0].removeprefix("--") for word in given if word.startswith("--")}
    if "again" in said:  # the document holds all there is
        return
    table = _table(found, reads, options)
    gone = said.union(*(_ASIDE.get(name, ()) for name in said))
    if "grid" in said:
        gone |= table.keys() - _OF_GRID
    words = {name: _word(found, options[name], name, value) for name, value in table.items() if name not in gone}
    if words:
        context.default_map = {options[name].name: word for name, word in words.items()}
        if (
            usual := found.usual({name: _told(found, name, table[name], many=_many(options[name])) for name in words})
        ) is not None:
            context.meta[_KEPT] = usual, found.line(usual)


def usual_of(context: Any) -> Usual | None:
    """Return what a workshop's file set for a command."""
    usual, _ = context.meta.get(_KEPT, (None, ""))
    return usual  # type: ignore[no-any-return]


def usual_lines(context: Any) -> list[str]:
    """Return what is said of that on the screen."""
    return [line for line in context.meta.get(_KEPT, (None, ""))[1:] if line]


def table_of(command: Callable[..., Any], name: str) -> Usual | None:
    """Return all that a workshop's file sets for a command, for the page that offers its options; None if nothing.

    Raises
    ------
    UsageError
        If the file cannot be read, names what is no option of the command, or has no word for it.
    """
    found = found_file()
    if found is None:
        return None
    options = _options_of(command)
    table = _table(found, _READS[name], options)
    return found.usual({option: _told(found, option, value, many=options[option]) for option, value in table.items()})


def _options_of(command: Callable[..., Any]) -> dict[str, bool]:
    """Return the names of a command's options, without the dashes, and whether each may be given several times."""
    names: dict[str, bool] = {}
    for key, one in inspect.signature(command, eval_str=True).parameters.items():
        for info in get_args(one.annotation)[1:]:
            if isinstance(info, OptionInfo):
                said = (info.default, *(info.param_decls or ()))  # the first stands there until the library has read it
                given = [word.removeprefix("--") for word in said if isinstance(word, str) and word.startswith("--")]
                many = any(
                    get_origin(kind) is list for kind in (*get_args(get_args(one.annotation)[0]), one.annotation)
                )
                names |= dict.fromkeys(given or [key.replace("_", "-")], many)
    return names


def _told(found: Found, name: str, value: object, *, many: bool) -> str | bool:
    """Return a value as it is told: of an option that is given several times, all in one."""
    return " ".join(words_of(found.place, name, value)) if many else word_of(found.place, name, value)


def _many(option: Any) -> bool:
    return bool(getattr(option, "multiple", False))


def _called(context: Any) -> str:
    """Return a command's name, with the group's that it stands in."""
    names, at = [], context
    while at is not None and at.parent is not None:
        names.append(at.info_name)
        at = at.parent
    return " ".join(reversed(names))


def _table(found: Found, reads: _Reads, options: Collection[str]) -> dict[str, Any]:
    """Return what the file says for a command, by option."""
    own = dict(found.tables.get(reads.table, {})) if reads.table else {}
    if reads.only is not None:
        own = {name: value for name, value in own.items() if name in reads.only}
    unknown = [name for name in own if name not in options]
    if unknown:
        raise UsageError(
            f"{found.place}: {unknown[0]} is no option of {reads.table}. {meant(unknown[0], options)}There are "
            f"{', '.join(sorted(options))}."
        )
    if reads.table and (misplaced := [name for name in found.top if name in options and name not in _of_pictures()]):
        raise UsageError(
            f"{found.place}: {misplaced[0]} stands above the tables, where options for pictures stand. Write it below "
            f"a line [{reads.table}]."
        )
    return own | {name: value for name, value in found.top.items() if name in reads.shared}


def _of_pictures() -> set[str]:
    """Return the names of the options for pictures."""
    from ..run import Output
    from ..settings import Reading, Settings

    return {one.option for group in (Settings, Reading, Output) for one in declared(group).values()}


def _word(found: Found, option: Any, name: str, value: object) -> str | bool | list[str]:
    """Return what an option that the library knows is given in the file."""
    if _many(option):
        return words_of(found.place, name, value)
    word = word_of(found.place, name, value)
    if isinstance(word, bool) != bool(getattr(option, "is_flag", False)):
        expected = "a number or a text in quotes" if isinstance(word, bool) else "true or false"
        raise UsageError(f"{found.place}: {name} = {shown(value)}: expected {expected}.")
    return word
