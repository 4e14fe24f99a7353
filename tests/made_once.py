"""What comes of a picture, made once in a process for all tests of what is done with it: commands, batches, files.

Outlining is a pure function of a picture and its settings; who tests that itself does not use this.
"""

from __future__ import annotations

import copy
import pickle

from digitize.errors import OutlineError, ScaleError
from digitize.recipe import outline as recipe
from digitize.recipe.outline import Outlined
from digitize.records import Picture
from digitize.settings import Settings

_outline = recipe.outline_picture
_made: dict[tuple[str, str, bytes], Outlined | ScaleError | OutlineError] = {}


def outline_picture(picture: Picture, settings: Settings, *, empty: Picture | None = None) -> Outlined:
    """Outline as the recipe does, once for each name, content and settings; what was refused is refused again."""
    if empty is not None or not picture.sha256.strip("0"):  # or of no file: nothing tells it from others
        return _outline(picture, settings, empty=empty)
    key = picture.name, picture.sha256, pickle.dumps(settings)
    if key not in _made:
        try:
            _made[key] = _outline(picture, settings)
        except (ScaleError, OutlineError) as error:
            _made[key] = error.with_traceback(None)  # which holds the picture and all that was made of it
    made = _made[key]
    if isinstance(made, ScaleError | OutlineError):
        raise copy.copy(made)
    return made


def patch(monkeypatch) -> None:
    """Let commands in this process take what was made before."""
    monkeypatch.setattr(recipe, "outline_picture", outline_picture)


def for_good() -> None:
    """The same for a process of its own: the page's server in a browser's tests."""
    recipe.outline_picture = outline_picture
