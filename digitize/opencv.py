"""The one place that imports OpenCV, so that its absence is a sentence and its chatter is off."""

from __future__ import annotations

from functools import cache
from types import ModuleType

from .errors import DigitizeError

_ADVICE = (
    "Debian and Ubuntu: sudo apt install libgl1 libglib2.0-0 libxcb1 (on Ubuntu 24.04 and later libglib2.0-0t64). "
    "Fedora: sudo dnf install mesa-libGL glib2 libxcb. Arch: sudo pacman -S libglvnd glib2 libxcb. "
    "Alpine: sudo apk add mesa-gl glib libxcb."
)


class OpenCVError(DigitizeError):
    """OpenCV cannot be imported on this machine."""

    exit_code = 3


@cache
def cv() -> ModuleType:
    """Import OpenCV when it is first needed, and return it.

    Returns
    -------
    module
        ``cv2``, with its own messages on stderr switched off.

    Raises
    ------
    OpenCVError
        If the import fails; the message names the system packages that a machine without a desktop lacks.
    """
    try:
        import cv2
    except ImportError as error:
        raise OpenCVError(_sentence(error)) from error
    cv2.utils.logging.setLogLevel(cv2.utils.logging.LOG_LEVEL_SILENT)
    return cv2


def _sentence(error: ImportError) -> str:
    """Tell a package that is not there from one that lacks a library of the system."""
    if isinstance(error, ModuleNotFoundError) and error.name == "cv2":
        return "OpenCV (cv2) is not installed in this Python environment: python -m pip install opencv-python"
    return (
        f"OpenCV cannot be loaded: {error}. On a machine without a desktop, system libraries that it needs "
        f"are often missing. {_ADVICE}"
    )
