"""Options about the scale that a picture's reference leaves no use for: said, so that nobody counts on them."""

from __future__ import annotations

import numpy as np

from ..card.kinds import OWN_SIZE_CODE, layout_for_codes
from ..records import Finding
from ..settings import Pair, Settings
from ..words.say import finding_of
from .codes import SeenCode
from .ring_card import readings_said


def unused_options(settings: Settings, seen: tuple[SeenCode, ...]) -> tuple[Finding, ...]:
    """Remark on `--measured`, `--square`, `--disc` and `--dpi` where the reference that was used is another.

    Parameters
    ----------
    settings
        What the user asked for.
    seen
        Rings of our card in the picture; none: the plain square was used.
    """
    said: dict[str, str] = {}
    if not seen and settings.measured_mm is not None:
        said["measured" if settings.disc_mm is None else "measured_disc"] = _words(settings.measured_mm)
    if seen and settings.square_mm is not None and not _needs_square(settings, settings.square_mm, seen):
        said["square"] = _words(settings.square_mm)
    if seen and settings.disc_mm is not None:
        said["disc"] = f"{settings.disc_mm:g}"
    if settings.dpi is not None:
        said["dpi"] = _words(settings.dpi)
    return tuple(
        finding_of("option-not-used", attention=False, case=option, said=words) for option, words in said.items()
    )


def _needs_square(settings: Settings, square_mm: Pair, seen: tuple[SeenCode, ...]) -> bool:
    """Whether a ring card takes `--square`: as the side its code cannot tell, or as a reading of the print."""
    if any(code.code == OWN_SIZE_CODE for code in seen):
        return True
    layout = layout_for_codes([code.code for code in seen], square_mm=float(np.mean(square_mm)))
    return settings.measured_mm is None and readings_said(layout, settings) is not None


def _words(pair: Pair) -> str:
    return f"{pair[0]:g}" if pair[0] == pair[1] else f"{pair[0]:g}x{pair[1]:g}"
