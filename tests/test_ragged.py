"""Rings looked at together: the same, bit for bit, as each by itself; sums and medians are NumPy's."""

import numpy as np
import pytest

from digitize.edge.pure import Rough
from digitize.edge.trace import trace_edge, trace_edges
from digitize.measure.ragged import EndToEnd, median, moving_mean
from digitize.measure.rings import rolled
from tests.rendered import as_picture, circle_px, codes_of, polygon_px
from tests.truth.light import paint
from tests.truth.raster import blurred_coverage

SIZES = [31, 7, 90, 24]


def drawn(noise_codes):
    """A picture of things that are round, cornered, small, soft, and of one with a hole."""
    shape = (260, 330)
    light = np.full((*shape, 3), 0.8)
    rings = [
        circle_px((60, 60), 40),
        polygon_px((180.3, 70), 45, 4),
        polygon_px((75, 190), 50, 3),
        circle_px((285, 200), 9),
    ]
    for ring, blur in zip(rings, (0.8, 0.8, 1.1, 0.9), strict=True):
        paint(light, blurred_coverage([ring], shape, blur), (0.1, 0.15, 0.2))
    paint(light, blurred_coverage([circle_px((60, 60), 14)], shape, 0.8), (0.8,) * 3)
    paint(light, blurred_coverage([circle_px((178, 204), 40)], shape, 3.2), (0.2,) * 3)
    return as_picture(codes_of(light, noise_codes=noise_codes, seed=4))


def borders_of(picture):
    """Every border of what is darker than half-way, the small ones left out."""
    import cv2

    mask = (cv2.blur(picture.pixels[..., 1], (3, 3)) < 165).astype(np.uint8)
    chains, tree = cv2.findContours(mask, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
    return [
        Rough(mask, (0, 0), chain[:, 0, :].astype(np.int64), bool(tree[0][k][3] >= 0))
        for k, chain in enumerate(chains)
        if len(chain) > 20
    ]


@pytest.mark.parametrize("noise_codes", [1.0, 25.0])
def test_edges_traced_together_are_those_traced_one_by_one(noise_codes):
    picture = drawn(noise_codes)
    borders = borders_of(picture)
    together = trace_edges(picture, borders)
    assert len(together) >= 6
    for border, one in zip(borders, together, strict=True):
        alone = trace_edge(picture, border.mask, border.origin, border.chain, is_hole=border.is_hole)
        assert (one is None) == (alone is None)
        if alone is None or one is None:
            continue
        assert one.contour.points_px.tobytes() == alone.contour.points_px.tobytes()
        assert one.contour.sd_px.tobytes() == alone.contour.sd_px.tobytes()
        assert one.contour.corners == alone.contour.corners
        assert (one.contour.blur_px, one.contour.shade) == (alone.contour.blur_px, alone.contour.shade)
        assert (one.lost, one.findings) == (alone.lost, alone.findings)


def test_neighbours_are_those_of_the_same_ring():
    rings = EndToEnd(SIZES)
    values = np.random.default_rng(1).normal(size=(sum(SIZES), 2))
    for by in (1, -1, 5, -3):
        one_by_one = [rolled(values[at], -by) for at in rings.slices]
        assert (values[rings.moved(by)] == np.concatenate(one_by_one)).all()
    some, rows = rings.picked([2, 0])
    assert (values[rows] == np.concatenate([values[rings.slices[2]], values[rings.slices[0]]])).all()
    assert some.sizes.tolist() == [90, 31]


def test_means_over_neighbours_stay_within_their_ring():
    rng, rings = np.random.default_rng(2), EndToEnd(SIZES)
    values, weights = rng.normal(size=(sum(SIZES), 3)), rng.uniform(size=sum(SIZES))
    mean, weight = moving_mean(values, weights, 10, closed=True, rings=rings)
    for at in rings.slices:
        alone, total = moving_mean(values[at], weights[at], 10, closed=True)
        assert (mean[at] == alone).all()
        assert (weight[at] == total).all()


@pytest.mark.parametrize("count", [1, 2, 3, 8, 51, 400])
def test_medians_are_those_of_numpy(count):
    values = np.random.default_rng(count).normal(size=count)
    assert median(values) == np.median(values)
    assert median(values.astype(np.float32)) == np.median(values.astype(np.float32))
