"""What comes of a picture, made once in a process for all tests of what is done with it: commands, batches, files.

Outlining is a pure function of a picture and its settings; who tests that itself does not use this.
"""

from __future__ import annotations

import copy
import hashlib
import pickle
from dataclasses import replace

from digitize.errors import OutlineError, ScaleError
from digitize.recipe import outline as recipe
from digitize.recipe.outline import Outlined
from digitize.records import Picture
from digitize.settings import Settings

_outline = recipe.outline_picture
_made: dict[tuple[str, ...], Outlined | ScaleError | OutlineError] = {}


def outline_picture(picture: Picture, settings: Settings, *, empty: Picture | None = None) -> Outlined:
    """Outline as the recipe does, once for each picture as it was read and its settings; refuse again what was refused.

    A file's name and hash are no more than told: the same picture out of another file is made again only where its
    steps by hand are held against them, or where what is said of pockets side by side tells items by name.
    """
    if empty is not None:
        return _outline(picture, settings, empty=empty)
    own = (picture.name, picture.sha256)
    key = (_digest(picture), hashlib.sha256(pickle.dumps(settings)).hexdigest(), *(own if settings.by_hand else ()))
    made = _made.get((*key, *own), _made.get(key))
    if made is None or (isinstance(made, Outlined) and not _is_told(made, own) and not _tells_no_names(made)):
        made = _attempt(picture, settings)
        _made.setdefault(key, made)
        _made[*key, *own] = made
    if isinstance(made, ScaleError | OutlineError):
        raise copy.copy(made)
    return made if _is_told(made, own) else _told(made, own)


def _attempt(picture: Picture, settings: Settings) -> Outlined | ScaleError | OutlineError:
    try:
        return _outline(picture, settings)
    except (ScaleError, OutlineError) as error:
        return error.with_traceback(None)  # which holds the picture and all that was made of it


def _digest(picture: Picture) -> str:
    """What a picture is, but for the file it came from."""
    bare = replace(picture, name="", sha256="", pixels=picture.pixels[:0], to_linear=picture.to_linear[:0])
    digest = hashlib.sha256(pickle.dumps((bare, picture.pixels.shape)))
    digest.update(picture.pixels)
    digest.update(picture.to_linear)
    return digest.hexdigest()


def _is_told(made: Outlined, own: tuple[str, str]) -> bool:
    return (made.result.source_name, made.result.source_sha256) == own


def _tells_no_names(made: Outlined) -> bool:
    return len(made.result.items) == 1 or all(item.pocket is None for item in made.result.items)


def _told(made: Outlined, own: tuple[str, str]) -> Outlined:
    name, sha256 = own
    items = tuple(
        replace(item, name=f"{recipe._stem(name)}-{number}") for number, item in enumerate(made.result.items, 1)
    )
    return replace(made, result=replace(made.result, source_name=name, source_sha256=sha256, items=items))


def patch(monkeypatch) -> None:
    """Let commands in this process take what was made before."""
    monkeypatch.setattr(recipe, "outline_picture", outline_picture)


def for_good() -> None:
    """The same for a process of its own: the page's server in a browser's tests."""
    recipe.outline_picture = outline_picture
