"""What every command shares: people's text, numbers, and failures as sentences with an exit code."""

from __future__ import annotations

import functools
import sys
from collections.abc import Callable
from typing import Any

import typer

from ..errors import DigitizeError
from ..kinds import in_mm, number_in, refusal
from ..options import Said


def say(line: str) -> None:
    """Print people's text on stderr, whatever the terminal can show."""
    encoding = sys.stderr.encoding or "ascii"
    print(line.encode(encoding, "replace").decode(encoding), file=sys.stderr)


def number(word: str | None, name: str, *, unit: str = "") -> float | None:
    """Read a number with a point or a comma before its decimals; a length perhaps in inches."""
    if word is None:
        return None
    text, each = in_mm(word, unit)
    value = number_in(text)
    if value is None:
        raise refusal(name, word, "expected a number")
    return value * each


def usual(context: Any, groups: tuple[Said[Any], ...], card: str | None = None) -> tuple[Said[Any], ...]:
    """Return what was said with what the workshop says once, which is told."""
    import datetime

    from .workshop import with_usual

    spoken = with_usual(context, groups, card, today=datetime.date.today())
    for line in spoken.lines:
        say(line)
    return spoken.groups


def sentences(command: Callable[..., int]) -> Callable[..., None]:
    """Turn our errors into a sentence on stderr and the command's return value into the exit code."""

    @functools.wraps(command)
    def run(*args: Any, **kwargs: Any) -> None:
        try:
            code = command(*args, **kwargs)
        except DigitizeError as error:
            say(f"digitize: {error}")
            code = error.exit_code
        except MemoryError:
            say("digitize: not enough memory for this picture. Close programs or scan a smaller area.")
            code = 3
        except EOFError as error:  # which the library of the command line takes for a wish to leave
            raise RuntimeError("a process beside this one closed its pipe") from error
        raise typer.Exit(code)

    return run
