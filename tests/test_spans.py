"""What steps leave of profiles, and quartiles of profiles, against NumPy's own least squares and sorting."""

import cv2
import numpy as np
import pytest

from digitize.edge.spans import Spans, rests_of_each, spanning
from digitize.edge.steps import stepped
from digitize.edge.stretches import _quartiles, means_along
from digitize.edge.trace import trace_edge
from digitize.measure.ragged import medians_along
from tests.rendered import drawn, polygon_px

AT = np.arange(-8.0, 8.1, 0.5)


def cases_and_values():
    rng = np.random.default_rng(3)
    cases = np.column_stack([rng.uniform(-3, 3, 40), rng.uniform(0.5, 3, 40)])
    return cases, rng.normal(0.4, 0.3, (7, len(AT)))


def left_over(basis, values):
    """RMS of what the columns of a basis leave, by NumPy's least squares."""
    found = np.linalg.lstsq(basis, values, rcond=None)[0]
    return np.sqrt(np.mean((values - basis @ found) ** 2))


def test_rests_are_those_of_least_squares_however_they_are_asked_for():
    cases, values = cases_and_values()
    basis = stepped(AT, cases)
    truth = np.array([[left_over(one, value) for one in basis] for value in values])
    spans = Spans.of(spanning(basis))
    assert spans.rests(values) == pytest.approx(truth, abs=1e-12)
    some = np.array([[k, 2 * k, 39 - k] for k in range(len(values))])
    assert spans.rests_of(values, some).tolist() == np.take_along_axis(spans.rests(values), some, axis=1).tolist()
    few = np.array([5, 17, 30])
    assert spans.picked(few).rests(values).tolist() == spans.rests(values)[:, few].tolist()
    own = np.stack([basis[k : k + 5] for k in range(len(values))])
    rows = spanning(own.reshape(-1, len(AT), 2)).reshape(len(values), 5, 2, len(AT))
    assert rests_of_each(values, rows) == pytest.approx(np.stack([truth[k, k : k + 5] for k in range(len(values))]))


@pytest.mark.parametrize("count", [1, 2, 3, 4, 5, 7, 8, 11, 16, 17])
def test_quartiles_of_profiles_are_where_sorting_puts_them(count):
    light = np.random.default_rng(count).integers(0, 9, (count, 4, 50)) / 8.0  # with many ties
    low, high = _quartiles(list(light))
    ordered = np.sort(light, axis=0)
    assert (low == ordered[count // 4]).all()
    assert (high == ordered[(3 * count) // 4]).all()


@pytest.mark.parametrize("count", [1, 2, 9, 10])
def test_medians_along_rows_are_numpys(count):
    values = np.random.default_rng(count).normal(size=(3, 4, count))
    assert (medians_along(values) == np.median(values, axis=-1)).all()


@pytest.mark.parametrize("away", [40.0, 14.0])
def test_where_profiles_end_beyond_the_picture_is_told_place_by_place(away):
    size, radius = 120, 20.0
    picture = drawn([polygon_px((size - away - radius, 60.0), radius, 60)], (size, size))
    dark = (picture.pixels[..., 0] < 128).astype(np.uint8)
    chain = cv2.findContours(dark, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[0][0][:, 0].astype(np.int64)
    contour = trace_edge(picture, dark, (0, 0), chain, is_hole=False).contour
    at = np.arange(-16.0, 16.1, 4.0)
    whole = np.arange(len(contour.points_px))
    means, known = means_along(picture, [contour], [[whole[k : k + 5] for k in range(0, len(whole) - 5, 5)]], at)
    inside = known[:, at <= 12.0]
    assert inside.all()
    assert known.all() == (away > 16.0)
    assert means[..., at < -3.0, :].max() < 0.1 < 0.8 < means[..., (at > 3.0) & (at < 13.0), :].min()
