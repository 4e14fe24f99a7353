"""What every command does when the command line cannot be read: names that look like options are told from them."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import PurePath
from typing import Any

from typer import Exit
from typer.core import TyperCommand, TyperGroup

from ..errors import DigitizeError, UsageError
from .once import noting, refuse_twice
from .plain import take_plainly
from .say import say
from .tables import take_usual, usual_lines


class Command(TyperCommand):
    """A command that says how to give a file whose name begins with a dash."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """Parse; where an option is not known and a word may be a file's name, add how to say so."""
        take_plainly(self.get_params(ctx))
        args = _with_holes_joined(args)
        given = list(args)  # the parser takes them away
        trouble = self._take_usual(ctx, given)
        try:
            rest = super().parse_args(ctx, args)  # which ends here where only help is wanted
        except Exception as error:  # which library the class is of depends on typer's version
            name, one_dash = _name_with_dash(given), _one_dash_short(given, self.get_params(ctx))
            if type(error).__name__ == "NoSuchOption" and one_dash is not None:
                error.message = f"{one_dash} has one dash: write -{one_dash}."  # type: ignore[attr-defined]
            elif type(error).__name__ == "NoSuchOption" and name is not None:
                error.message += f". If {name} is a file's name, write ./{name}, or -- before the names."  # type: ignore[attr-defined]
            raise
        try:
            refuse_twice(ctx, given)
        except UsageError as error:
            trouble = error
        if trouble is not None:
            say(f"digitize: {trouble}")
            raise Exit(trouble.exit_code)
        for line in usual_lines(ctx):
            say(line)
        return rest

    def make_parser(self, ctx: Any) -> Any:
        """Return the parser; what it meets is noted."""
        return noting(super().make_parser(ctx), ctx)

    def _take_usual(self, ctx: Any, given: list[str]) -> DigitizeError | None:
        """Let a workshop's file say what is not given here; return what is wrong with it."""
        words = [(word, one) for one in self.get_params(ctx) for word in one.opts if word.startswith("--")]
        options = {word.removeprefix("--"): one for word, one in words if word != "--help"}
        try:
            take_usual(ctx, given, options)
        except DigitizeError as error:
            return error
        return None


class Group(TyperGroup):
    """The commands together."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """Parse what stands before the command."""
        take_plainly(self.get_params(ctx))
        return super().parse_args(ctx, args)


def _with_holes_joined(words: Sequence[str]) -> list[str]:
    """Return the words with a hole's number and diameter, ``--hole 1 4.02``, as the one word the option takes."""
    joined: list[str] = []
    for word in words:
        if joined[-2:-1] == ["--hole"] and joined[-1].isdecimal() and _is_number(word.replace(",", ".")):
            joined[-1] += f"={word}"
        else:
            joined.append(word)
    return joined


def _name_with_dash(words: Sequence[str]) -> str | None:
    """Return the first word that begins with a dash and ends as names of files do."""
    for word in words:
        if word == "--":
            return None
        if word.startswith("-") and PurePath(word).suffix[1:].isalnum() and not _is_number(word):
            return word
    return None


def _one_dash_short(words: Sequence[str], options: Sequence[Any]) -> str | None:
    """Return the first word that would be an option, had it the second dash."""
    names = {name for one in options for name in (*one.opts, *one.secondary_opts) if name.startswith("--")}
    for word in words:
        if word == "--":
            return None
        if not word.startswith("--") and f"-{word.partition('=')[0]}" in names:
            return word.partition("=")[0]
    return None


def _is_number(word: str) -> bool:
    try:
        float(word)
    except ValueError:
        return False
    return True
