"""`python -m digitize` and the console command."""

from __future__ import annotations

import os
import sys

_STOPPED = 130  # as shells have it for an interrupt


def main() -> None:
    """Run the command line; every failure becomes a sentence and an exit code."""
    # the matrices are small: threads for them cost start-up time and memory, and win nothing
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    if sys.argv[1:] == ["--help"]:
        _first_help()
        return
    try:
        from .cli.commands import app

        app(prog_name="digitize")
    except KeyboardInterrupt:  # while the commands themselves are imported, or the interpreter winds up
        sys.stderr.write("digitize: stopped.\n")
        sys.stderr.flush()
        os._exit(_STOPPED)


def _first_help() -> None:
    """Print the overview from a file: it must not wait for any library (tests/test_help.py keeps the file right)."""
    with open(__file__.removesuffix("__main__.py") + "data/help.txt", encoding="utf-8") as file:
        sys.stdout.write(file.read())


if __name__ == "__main__":
    main()
