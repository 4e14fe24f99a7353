"""Reading in a process that was forked from one that has read pictures: libvips' threads do not live on in it.

There a new process reads, and hands the picture over. No other process ever needs one.
"""

from __future__ import annotations

import os
import pickle
import subprocess
import sys

from ..errors import DigitizeError
from ..records import Picture

_SCRIPT = (
    "import sys, pickle; data, name, limit, sys.path[:] = pickle.load(sys.stdin.buffer); "
    "from digitize.reading.picture import answer; sys.stdout.buffer.write(answer(data, name, limit))"
)


def picture_from_new_process(data: bytes, name: str, *, max_mpx: float) -> Picture:
    """Read a picture from the bytes of its file in a new process.

    Raises
    ------
    DigitizeError
        As reading raises them, and if the system starts no process.
    """
    asked = pickle.dumps((data, name, max_mpx, sys.path))
    try:
        command = [sys.executable or "python3", "-c", _SCRIPT]
        done = subprocess.run(command, input=asked, capture_output=True, check=True, env=os.environ)
        came = pickle.loads(done.stdout)
    except (OSError, subprocess.SubprocessError, pickle.UnpicklingError, EOFError) as error:
        raise DigitizeError(
            f"this process was forked from one that had read pictures, and no new one could be started to read "
            f"({type(error).__name__}). Start processes anew (spawn) in place of forking."
        ) from error
    if isinstance(came, DigitizeError):
        raise came
    picture: Picture = came
    picture.pixels.setflags(write=False)
    picture.to_linear.setflags(write=False)
    return picture
