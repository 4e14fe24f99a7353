"""The stored DXF drawing against ezdxf, which made it: the same bytes, whatever is drawn."""

import subprocess
import sys
from dataclasses import replace
from itertools import product

import numpy as np
import pytest

from digitize.records import Circle, OpenPath
from digitize.seal import is_sealed
from digitize.write import dxf
from digitize.write.dxf_stored import can_store
from digitize.write.look import PLAIN, Look
from digitize.write.sheet import compose
from tests import made
from tests.dxf_stored import PLACE, skeleton

LEAD = OpenPath(np.array([(0.0, 0.0), (1.0, 0.0), (2.0, 1e-6)]), np.array([0.0, 0.3]))
MORE = {
    "nothing": (),
    "pins": (("PIN", Circle((1.0, 2.5), 3.0)),),
    "wall": (("WALL", Circle((-1e-7, 2.5), 1234.56789012)),),
    "both": (("WALL", Circle((1.0, 2.5), 3.0)), ("PIN", Circle((1.0, 2.5), 3.0)), ("POCKET", LEAD)),
}


@pytest.mark.parametrize(
    ("more", "entities", "in_inches"), list(product(MORE, ("polylines", "lines-and-arcs"), (0, 1)))
)
def test_the_same_bytes_as_the_library(more, entities, in_inches):
    look = Look(dxf_entities=entities)
    sheet = compose(made.result(), None, replace(PLAIN, filled=False), in_inches=bool(in_inches))
    sheet = replace(sheet, curves=(*sheet.curves, *MORE[more]))
    assert can_store(sheet)
    ours = dxf.sheet_dxf(sheet, look=look, in_inches=bool(in_inches))
    scaled = dxf.scaled_sheet(sheet, 1 / 25.4) if in_inches else sheet
    assert is_sealed(ours)
    assert ours == dxf.library_dxf(scaled, release="R2010", look=look, in_inches=bool(in_inches))


def test_the_stored_drawing_is_what_the_library_makes():
    assert PLACE.read_text(encoding="utf-8") == skeleton()


def test_what_cannot_be_printed_is_left_to_the_library():
    sheet = compose(made.result(), None, PLAIN)
    odd = replace(sheet, texts=(replace(sheet.texts[0], words="two\nlines"), *sheet.texts[1:]))
    assert can_store(sheet)
    assert not can_store(odd)
    assert dxf.sheet_dxf(odd) == dxf.library_dxf(odd, release="R2010", look=PLAIN, in_inches=False)


def test_the_library_is_not_imported():
    code = (
        "import sys; from tests import made; from tests.written import dxf_bytes; dxf_bytes(made.result()); "
        "sys.exit('ezdxf' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
