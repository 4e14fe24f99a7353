"""Several blanks of a lot: mean, largest, smallest, spread, odd ones; the factor of a tolerance interval."""

import json
import math
from dataclasses import replace
from hashlib import sha256

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner

from digitize.cli.commands import app
from digitize.document.document import document_bytes, read_document
from digitize.errors import UsageError
from digitize.trust.lot import chi_square_quantile, howe_factor, make_lot
from tests.made import result as made_result
from tests.made import rounded_ring, tag
from tests.test_check import carried


def plate(larger=0.0, dent=0.0):
    """A 60 x 40 mm plate with corners of 6 mm, larger all round by so much, with a dent in its long side."""
    ring = rounded_ring(60 + 2 * larger, 40 + 2 * larger, 6 + larger, count=120) - (30 + larger, 20 + larger)
    lower = ring[:, 1] < -15
    return ring + np.column_stack([np.zeros(len(ring)), lower * dent * np.exp(-((ring[:, 0] - 8) ** 2) / 8)])


def lot_of(*rings, **options):
    return make_lot([f"tag-{n}" for n in range(len(rings))], rings, **options)


def test_mean_largest_smallest():
    """Plates 0, 0.1 and 0.2 mm larger a side: the mean is 0.1 larger, the hulls are the outer two."""
    rings = [carried(plate(by), turn, (turn, 0.0)) for by, turn in ((0.0, 0), (0.1, 100.0), (0.2, -20.0))]
    lot = lot_of(*rings)
    for ring, by in ((lot.smallest_mm, 0.0), (lot.mean_mm, 0.1), (lot.largest_mm, 0.2)):
        known = shapely.Polygon(plate(by))
        assert shapely.Polygon(ring).area == pytest.approx(known.area, rel=2e-5)
        assert shapely.hausdorff_distance(shapely.LinearRing(ring), shapely.LinearRing(plate(by))) < 0.06
    assert lot.range_mm == pytest.approx(0.2, abs=2e-3)
    assert lot.spread_mm == pytest.approx(0.1, abs=1e-3)  # of 0, 0.1, 0.2
    assert [sample.larger_mm for sample in lot.samples] == pytest.approx([-0.1, 0.0, 0.1], abs=1e-3)


def test_a_blank_that_lay_on_its_other_face_is_turned_over():
    skew = plate() + np.column_stack([np.zeros(len(plate())), 0.06 * plate()[:, 0]])
    lot = lot_of(skew, carried(skew, 30.0, (4, 4), over=True), carried(skew, -70.0, (4, 4)))
    assert [sample.placement.over for sample in lot.samples] == [False, True, False]
    assert lot.range_mm.max() < 2e-3
    as_it_lay = lot_of(skew, carried(skew, 30.0, (4, 4), over=True), either_face=False)
    assert as_it_lay.range_mm.max() > 0.5


def odd(rings):
    return [sample.name for sample in lot_of(*rings, either_face=False).samples if sample.is_odd]


def test_an_odd_one_is_named():
    rings = [plate(by, dent=0.5 if n == 3 else 0.0) for n, by in enumerate((0.01, -0.02, 0.0, 0.01, 0.02, -0.01))]
    assert odd(rings) == ["tag-3"]
    larger = [plate(by) for by in (0.01, -0.02, 0.0, 0.3, 0.02, -0.01)]
    assert odd(larger) == ["tag-3"]


def test_what_is_of_another_kind_is_refused():
    with pytest.raises(UsageError, match="no blanks of one kind"):
        lot_of(plate(), plate(5.0))
    with pytest.raises(UsageError, match="No outline"):
        lot_of()


@pytest.mark.parametrize(
    ("count", "part", "confidence", "factor"),
    [
        (43, 0.90, 0.99, 2.217),  # NIST/SEMATECH e-Handbook 7.2.6.3, worked example
        (10, 0.95, 0.95, 3.379),  # exact values, as tables of two-sided tolerance factors have them (from memory)
        (20, 0.95, 0.95, 2.752),
        (50, 0.95, 0.95, 2.379),
    ],
)
def test_factors_of_tolerance_intervals(count, part, confidence, factor):
    """Howe's formula is within 0.6 % of the tables' exact values from 10 samples on."""
    assert howe_factor(count, part, confidence) == pytest.approx(factor, rel=6e-3)


@given(st.floats(1e-4, 0.9999), st.integers(1, 500))
@settings(max_examples=50, deadline=None)
def test_quantiles_agree_with_a_library(probability, free):
    from scipy import stats  # takes long to import, and only one process comes here

    assert chi_square_quantile(probability, free) == pytest.approx(stats.chi2.ppf(probability, free), rel=1e-9)


# --- the command ---------------------------------------------------------------------------------------------------


def document(folder, name, scale):
    item = tag(name=name)
    grown = replace(item, exterior_mm=(item.exterior_mm - (30, 20)) * scale + (30, 20))
    path = folder / f"{name}.json"
    path.write_bytes(document_bytes(made_result(grown, source_sha256=sha256(name.encode()).hexdigest())))
    return path


@pytest.fixture
def documents(tmp_path):
    return [document(tmp_path, f"tag-{n}", 1 + 0.002 * n) for n in range(3)]


def run(*words):
    return CliRunner().invoke(app, ["lot", *map(str, words)])


def test_command_makes_a_pocket_that_fits_the_largest_and_art_within_the_smallest(documents, tmp_path):
    out = tmp_path / "out"
    done = run(*documents, "--clearance", 0.2, "--inset", 1, "--to", out)
    assert done.exit_code == 0, done.output
    names = {path.name for path in out.iterdir()}
    assert names == {f"tag-0-lot.{kind}" for kind in ("json", "dxf", "svg", "pdf", "proof.pdf", "spread.svg")}
    found = read_document((out / "tag-0-lot.json").read_bytes()).result
    assert len(found.lot.samples) == 3
    assert found.lot.tolerance_factor == pytest.approx(9.993, abs=0.001)  # three samples tell little
    # largest: 60.24 x 40.16 mm and 0.2 mm of clearance a side; smallest: 60 x 40 less 1 mm a side
    assert box(found.items[0].pocket.curves) == pytest.approx((60.64, 40.56), abs=0.03)
    assert box(found.items[0].print_area) == pytest.approx((58.0, 38.0), abs=0.03)


def box(curves):
    return tuple(
        np.ptp(np.concatenate([one.points_mm for one in curves if hasattr(one, "points_mm")]), axis=0).tolist()
    )


def test_a_lot_is_not_taken_for_a_blank(documents, tmp_path):
    assert run(*documents, "--to", tmp_path, "--name", "all").exit_code in (0, 1)
    again = run(tmp_path / "all.json", documents[0], "--to", tmp_path / "more")
    assert again.exit_code == 2
    assert "a lot already" in again.output
    assert not (tmp_path / "more").exists()


def test_items_of_one_document_are_a_lot_too(tmp_path):
    path = tmp_path / "three.json"
    beside = [tag(name=name, origin_px=(400.0 + 1500 * n, 2000.0)) for n, name in enumerate("abc")]
    path.write_bytes(document_bytes(made_result(*beside)))
    done = run(path, "--to", tmp_path, "--json")
    assert done.exit_code == 0, done.output
    assert len(json.loads(done.stdout)["lot"]["samples"]) == 3
    assert run(path, "--item", "nobody", "--to", tmp_path).exit_code == 2
    assert run("--to", tmp_path).exit_code == 2


def test_a_blank_is_not_counted_twice(documents, tmp_path):
    """The same blanks twice would make the lot look evener than it is; also where one outline was turned upright."""
    done = run(*documents, documents[1], "--to", tmp_path / "out")
    assert done.exit_code == 2
    assert "tag-1 of lantern row 7.png is the same blank in the same picture" in done.output
    first = read_document(documents[0].read_bytes()).result
    (item,) = first.items
    way = np.radians(30.0)
    turn = np.array([[np.cos(way), -np.sin(way)], [np.sin(way), np.cos(way)]])
    low = (item.exterior_mm @ turn.T).min(axis=0)
    px = (turn.T @ low) / first.scale.mm_per_px * (1, -1)
    turned = replace(
        item,
        exterior_mm=item.exterior_mm @ turn.T - low,
        holes_mm=tuple(ring @ turn.T - low for ring in item.holes_mm),
        centroid_mm=tuple((turn @ item.centroid_mm - low).tolist()),
        origin_px=tuple((np.array(item.origin_px) + px).tolist()),
        rotation_deg=30.0,
    )
    other = tmp_path / "upright.json"
    other.write_bytes(document_bytes(replace(first, items=(turned,), source_name="copy.png")))
    done = run(documents[0], other, "--to", tmp_path / "out")
    assert done.exit_code == 2, done.output
    assert "of copy.png is the same blank" in done.output
    assert not (tmp_path / "out").exists()


def test_one_blank_alone_tells_nothing_of_the_lot(documents, tmp_path):
    done = run(documents[0], "--to", tmp_path)
    assert "nothing of how much the others" in done.output.replace("\n", " ")
    assert math.isinf(lot_of(plate()).factor())
