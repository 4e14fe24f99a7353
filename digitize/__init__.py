"""digitize: true-size outlines of objects from a picture beside a reference square.

From the folder of the clone, where a picture with three fobs beside a square of 30 mm lies:

>>> import digitize
>>> found = digitize.outline("samples/fobs.jpg", square_mm=30)
>>> [f"{item.width_mm:.1f} x {item.height_mm:.1f} mm" for item in found.items]
['29.8 x 40.4 mm', '29.9 x 40.4 mm', '30.0 x 40.5 mm']

See `digitize.api`; what is found is described in `digitize.records`.
"""

from typing import TYPE_CHECKING, Any

__all__ = [
    "DigitizeError",
    "Outlines",
    "Output",
    "Pixels",
    "Report",
    "Settings",
    "__version__",
    "outline",
    "outline_file",
]

if TYPE_CHECKING:
    from .api import DigitizeError, Outlines, Output, Pixels, Report, Settings, outline, outline_file
    from .seal import __version__


def __getattr__(name: str) -> Any:
    """Import what is used when it is first used: the help must not pay for numpy, and a stop is heard the sooner."""
    if name == "__version__":
        from .seal import __version__

        return __version__
    if name in __all__:
        from . import api

        return getattr(api, name)
    raise AttributeError(f"module 'digitize' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)
