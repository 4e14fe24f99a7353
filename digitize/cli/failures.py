"""What nobody expected: a sentence, where the details are, and an exit code that means nothing else."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable

from ..errors import UNEXPECTED
from ..seal import __version__


def guarded(command: Callable[[], int]) -> int:
    """Return a command's exit code; of one that fails unexpectedly `UNEXPECTED`."""
    try:
        return command()
    except SystemExit as error:  # the library of the command line ends so
        return _code(error.code)
    except MemoryError:
        sys.stderr.write("digitize: not enough memory. Close programs, or scan a smaller area.\n")
        return 3
    except BaseException as error:
        sys.stderr.write(unexpected_sentence(error) + "\n")
        return UNEXPECTED


def _code(code: object) -> int:
    return code if isinstance(code, int) else 0 if code is None else UNEXPECTED


def unexpected_sentence(error: BaseException) -> str:
    """Return what is said of what nobody expected; whoever mends it finds the details where it says."""
    what = " ".join(f"{type(error).__name__}: {error}".split())[:200]
    return (
        f"digitize: something went wrong that digitize did not expect ({what}); what was not named as written is not "
        f"there. Try again; if it stays, report it with the picture and the details: {_details(error)}."
    )


def _details(error: BaseException) -> str:
    """Write what whoever mends it wants to know into a file of its own; return its path, or the place in the source."""
    import platform
    import tempfile
    import traceback

    told = [f"digitize {__version__}, Python {sys.version}, {platform.platform()}", repr(sys.argv), ""]
    told += traceback.format_exception(error)
    try:
        handle, path = tempfile.mkstemp(prefix="digitize-failure-", suffix=".txt")
        with open(handle, "w", encoding="utf-8", errors="backslashreplace") as file:
            file.write("\n".join(told))
    except OSError:
        last = traceback.extract_tb(error.__traceback__)[-1:]
        return ", ".join(f"{os.path.basename(one.filename)}, line {one.lineno}" for one in last) or "none"
    return path
