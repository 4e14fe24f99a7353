"""`python -m digitize` and the console command."""

from __future__ import annotations

import gc
import os
import sys

_COLLECT_EVERY = 20_000  # new objects; importing makes ten times as many, and none of it is garbage


def main() -> None:
    """Run the command line; every failure becomes a sentence and an exit code."""
    gc.set_threshold(_COLLECT_EVERY)
    _fill_numbers()
    from .ending import watch

    watch()
    # the matrices are small: threads for them cost start-up time and memory, and win nothing
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    from .cli.screen import Screen

    screen = Screen.taken()
    if sys.argv[1:] == ["--help"]:
        code = _first_help()
    else:
        from .cli.failures import guarded

        code = guarded(_command)
    _leave(screen.code(code))


def _fill_numbers() -> None:
    """Keep a result's file from getting the number of a stream that is closed, and what is said from going there."""
    while (number := os.open(os.devnull, os.O_RDWR)) <= 2:
        pass
    os.close(number)


def _command() -> int:
    from .cli.commands import app_for

    app_for(sys.argv[1:])(prog_name="digitize")
    return 0


def _leave(code: int) -> None:
    """End without winding up the interpreter, during which a signal would end it without a word."""
    import atexit

    atexit._run_exitfuncs()
    os._exit(code)


def _first_help() -> int:
    """Print the overview from a file: it must not wait for any library (tests/test_help.py keeps the file right)."""
    with open(__file__.removesuffix("__main__.py") + "data/help.txt", encoding="utf-8") as file:
        sys.stdout.write(file.read())
    return 0


if __name__ == "__main__":
    main()
