"""A drawing made again from its document is told to be the same, and one that is drawn otherwise is not."""

from dataclasses import replace

import pytest

from digitize.batch.alike import is_drawn_alike
from digitize.document.document import read_document
from digitize.run import Output, make_of, vector_files
from digitize.settings import Settings

from .batch_scans import SHAPES
from .rendered import as_picture
from .truth import zoo
from .truth.flatbed import Scene

# of 40 scans as those of the batch's tests these came out otherwise from documents: figures in words that were rounded
# to the next digit, and words that lay elsewhere, where an item has two places of the same width for them
ROUNDED, ELSEWHERE = (6, 24), (28,)


def made(seed):
    """The result of a scan of one item."""
    scene = Scene(105, 75, dpi_x=120.0, seed=seed, noise_codes=1.5)
    scene.add_square(25, (20, 37), 3.0 + seed % 4)
    scene.add_item(zoo.BLANKS[SHAPES[seed % 4]](), (70, 37), 7.0 * (seed % 4), (0.08, 0.10, 0.12))
    return make_of(as_picture(scene.render().pixels, dpi=120.0), Settings(square_mm=25)).result


def alike(there, again):
    """Of two results' drawings by name, whether the first would be taken for the second."""
    return {name: is_drawn_alike(there[name], data, name.rpartition(".")[2]) for name, data in again.items()}


@pytest.mark.parametrize("seed", [*ROUNDED, *ELSEWHERE])
def test_what_is_drawn_from_a_document_is_what_was_drawn_first(seed):
    there = vector_files(made(seed), Output(), "scan")
    again = vector_files(read_document(there["scan.json"]).result, Output(), "scan")
    assert there["scan.dxf"] != again["scan.dxf"]  # the document has fewer digits
    assert set(alike(there, again).values()) == {True}
    assert len(again) == 5


def test_other_drawings_are_told():
    result = made(6)
    there = vector_files(result, Output(), "scan")
    renamed = replace(result, items=(replace(result.items[0], name="scan-2"),))
    other_paper = vector_files(result, Output(paper="letter"), "scan")
    assert not alike(there, other_paper)["scan.proof.pdf"]
    assert not any(alike(there, vector_files(renamed, Output(), "scan")).values())
    wider = replace(result.items[0], exterior_mm=result.items[0].exterior_mm * 1.001)
    assert not alike(there, vector_files(replace(result, items=(wider,)), Output(), "scan"))["scan.json"]
