"""Every exception digitize raises on purpose: one root, a few children, each with its exit code.

A message says what was seen, why it will not do, and what to try.
"""

from typing import Any

UNEXPECTED = 70  # exit code of what is no error of these: EX_SOFTWARE of BSD's sysexits.h


class DigitizeError(Exception):
    """Root of all errors a user may see; ``exit_code`` is what the command returns.

    Of its own it means what is not here: a library that is missing or cannot be loaded, an address that cannot be used.

    >>> [error.exit_code for error in (UsageError, PictureError, ScaleError, OutlineError)]
    [2, 3, 4, 1]
    """

    exit_code = 3


class UsageError(DigitizeError, ValueError):
    """An option or argument that cannot be meant."""

    exit_code = 2


class PictureError(DigitizeError):
    """The input cannot be read, or is no picture that can be measured."""

    exit_code = 3


class ScaleError(DigitizeError):
    """No trustworthy scale: no reference, a damaged one, or several and no way to choose."""

    exit_code = 4

    def __init__(self, sentence: str, *, squares_px: tuple[tuple[float, float], ...] = ()) -> None:
        super().__init__(sentence)
        self.squares_px = squares_px  # middles of the squares that may be meant, where pointing at one helps


class OutlineError(DigitizeError):
    """No honest outline exists in the picture."""

    exit_code = 1

    def __init__(self, sentence: str, *, failed: tuple[Any, ...] = (), left_out: tuple[Any, ...] = ()) -> None:
        super().__init__(sentence)
        self.failed, self.left_out = failed, left_out  # `records.FailedItem` and `LeftOut`, that a hand may mend


class WriteError(DigitizeError, OSError):
    """A result cannot be written, or would overwrite a file that digitize did not write."""

    exit_code = 3


class DocumentError(DigitizeError):
    """Bytes that are no outline document, or a damaged or newer one."""

    exit_code = 3
