"""Every file of a result is the same, byte for byte, in every process."""

import functools
import hashlib
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from digitize.document.document import document_bytes
from digitize.records import Picture
from digitize.seal import is_sealed
from digitize.write.look import DXF_VERSIONS
from digitize.write.preview.picture import check_png_bytes
from digitize.write.proof.pages import proof_bytes
from tests import made
from tests.written import dxf_bytes, pdf_bytes, svg_bytes


@functools.cache
def everything():
    result = made.result()
    grain = np.arange(2000 * 1300 * 3, dtype=np.uint64) * 2654435761 >> 7 & 0xFF
    picture = Picture("a.png", "5e" * 32, grain.astype(np.uint8).reshape(1300, 2000, 3), np.zeros((256, 3), np.float32))
    made_files = {f"{version}.dxf": dxf_bytes(result, version=version) for version in DXF_VERSIONS}
    made_files |= {"svg": svg_bytes(result), "pdf": pdf_bytes(result), "proof.pdf": proof_bytes(result)}
    made_files["json"] = document_bytes(result)
    return made_files | {"check.png": check_png_bytes(picture, result, made.FlatScale())}


def digests():
    return {name: hashlib.sha256(data).hexdigest() for name, data in everything().items()}


def run(code, **environment):
    kept = {key: os.environ[key] for key in ("PATH", "SYSTEMROOT", "HOME") if key in os.environ}
    done = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        check=True,
        cwd=Path(__file__).parents[1],
        env=kept | environment,
    )
    return done.stdout


def test_all_are_marked():
    assert all(is_sealed(data) for data in everything().values())


@pytest.mark.parametrize(("seed", "zone"), [("1", "Asia/Tokyo"), ("77", "America/Lima")])
def test_same_bytes_in_another_process(seed, zone):
    code = "from tests.test_write_same_bytes import digests; print(digests())"
    there = run(code, PYTHONHASHSEED=seed, TZ=zone, LC_ALL="C")
    assert there.strip() == str(digests())


def test_importing_the_writers_costs_no_heavy_import():
    code = (
        "import sys, digitize.document.document, digitize.files, digitize.write.dxf, digitize.write.svg, "
        "digitize.write.pdf, digitize.write.proof.pages, digitize.write.preview.picture; "
        "print(sorted({m.split('.')[0] for m in sys.modules} & {'cv2', 'ezdxf', 'pikepdf', 'PIL', 'shapely', 'lxml'}))"
    )
    assert run(code).strip() == "[]"


def test_the_document_alone_pays_for_no_drawing():
    code = (
        "import sys; from digitize.run import Output; from digitize.document.document import document_bytes; "
        "from tests import made; Output(formats='json'); document_bytes(made.result()); "
        "print(sorted(m for m in sys.modules if m.startswith(('digitize.write.dxf', 'digitize.write.sheet', "
        "'digitize.write.pdf', 'digitize.write.preview')) or m in ('PIL', 'ezdxf')))"
    )
    assert run(code).strip() == "[]"
