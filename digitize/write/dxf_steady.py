"""What makes ezdxf write the same bytes for the same drawing, sealed as ours."""

from __future__ import annotations

import contextlib
import io
import threading
from collections.abc import Iterator
from typing import TYPE_CHECKING

from ..seal import BLANK, seal

if TYPE_CHECKING:
    from ezdxf.document import Drawing

_FIXED_META = threading.Lock()


@contextlib.contextmanager
def fixed_meta_data() -> Iterator[None]:
    """Keep clock and random numbers out of what is made and written meanwhile.

    The setting is the whole process's: one thread at a time has it, and it is put back.
    """
    from ezdxf import options  # type: ignore[attr-defined]

    with _FIXED_META:
        before = options.write_fixed_meta_data_for_testing
        options.write_fixed_meta_data_for_testing = True
        try:
            yield
        finally:
            options.write_fixed_meta_data_for_testing = before


def sealed_bytes(document: Drawing) -> bytes:
    """Return the finished drawing's file with our mark; call it within `fixed_meta_data`."""
    document.appids.add(BLANK)
    _order_classes(document)
    stream = io.StringIO()
    document.write(stream)
    return seal(document.encode(stream.getvalue()))


def _order_classes(document: Drawing) -> None:
    """Put the CLASSES section in order: ezdxf takes part of it from a set of strings, which has none."""
    if document.dxfversion > "AC1009":
        document.classes.add_required_classes(document.dxfversion)
        ordered = sorted(document.classes.classes.items())
        document.classes.classes.clear()
        document.classes.classes.update(ordered)
