"""digitize: true-size outlines of objects from a picture beside a reference square.

>>> import digitize
>>> found = digitize.outline("scan.png", square_mm=50)  # doctest: +SKIP

See `digitize.api`; what is found is described in `digitize.records`.
"""

from typing import TYPE_CHECKING, Any

from .seal import __version__

__all__ = ["DigitizeError", "Outlines", "Output", "Report", "Settings", "__version__", "outline", "outline_file"]

if TYPE_CHECKING:
    from .api import DigitizeError, Outlines, Output, Report, Settings, outline, outline_file


def __getattr__(name: str) -> Any:
    """Import the interface when it is first used: the version and the help must not pay for numpy."""
    if name in __all__:
        from . import api

        return getattr(api, name)
    raise AttributeError(f"module 'digitize' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)
