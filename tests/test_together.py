"""Fits in step: what comes of each is what comes of it alone, and what many wait for is worked out at once."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from digitize.fitting.distance import two_sided_distance
from digitize.fitting.draft import first_draft
from digitize.fitting.fillets import nearest_fillets
from digitize.fitting.fit import curve_of, fit_curve
from digitize.fitting.ring import make_ring
from digitize.fitting.shapes import recognise
from digitize.fitting.together import Wish, together
from digitize.records import Path
from tests import strategies as s

TOLERANCE = 0.02


def test_curves_fitted_in_step_are_those_fitted_alone() -> None:
    """Bit by bit, whatever the others are: one item mended by hand must not move the next."""
    star, corners = s.star(5, 30, 13).sampled(noise=0.002, seed=3, corners=True)
    rings = [
        make_ring(s.id1_card().sampled(noise=0.002, seed=1)[0]),
        make_ring(s.lobed((0.05, -0.08, 0.03, 0.02), 25, 0.7)),
        make_ring(star, corners),
        make_ring(s.uneven(20, 0.05, 8.0, 3)),
        make_ring(s.ellipse(12, 10)),
    ]
    in_step = together(curve_of(ring) for ring in rings)
    assert len({len(curve.bulges) for curve in in_step}) > 2
    for ring, curve in zip(rings, in_step, strict=True):
        alone = fit_curve(ring)
        assert np.array_equal(curve.points_mm, alone.points_mm)
        assert np.array_equal(curve.bulges, alone.bulges)


def test_what_many_wait_for_is_worked_out_at_once() -> None:
    asked: list[int] = []

    def squares(numbers: Sequence[int]) -> list[int]:
        asked.append(len(numbers))
        return [number**2 for number in numbers]

    async def power(number: int, times: int) -> int:
        for _ in range(times):
            number = await Wish(squares, number)
        return number

    found = together(power(number, times) for number, times in ((2, 1), (3, 3), (5, 0), (7, 2)))
    assert found == [2**2, 3**8, 5, 7**4]
    assert asked == [3, 2, 1]


@pytest.mark.parametrize("way", [1, -1])
def test_an_arc_that_takes_a_vertex_off_touches_both_lines(way: int) -> None:
    """Tangents from a vertex to a circle that touches both of its lines are r tan(turn / 2) long (Euclid III 36)."""
    sides, radius = 24, 12.0
    angle = way * np.arange(2400) * 2 * np.pi / 2400
    ring = radius * np.column_stack([np.cos(angle), np.sin(angle)])
    begun = first_draft(ring, np.arange(sides) * 100, ())
    draft = replace(begun, vertices=begun.vertices / np.cos(np.pi / sides), bulges=np.zeros(sides))
    found = nearest_fillets(draft, ring, np.full(len(ring), TOLERANCE), np.arange(sides))
    turn = way * 2 * np.pi / sides
    for at, arc in found.items():
        assert arc is not None
        size, vertex = abs(arc.start - arc.centre), complex(*draft.vertices[at])
        assert 0.8 * radius < size < radius  # the largest there is room for is the nearest to the circle
        ahead = 1j * way * vertex / abs(vertex)
        for end, side in ((arc.start, -1), (arc.end, 1)):
            assert abs(end - vertex) == pytest.approx(size * math.tan(abs(turn) / 2), rel=1e-9)
            leaves = ahead * np.exp(0.5j * side * turn) * side
            assert abs((end - vertex) / abs(end - vertex) - leaves) < 1e-9
        assert 4 * math.atan(arc.bulge) == pytest.approx(turn, rel=1e-9)


@pytest.mark.parametrize(("bow_mm", "off_mm"), [(0.0, 0.0005), (0.005, 0.0015)])
def test_sides_of_a_known_shape_are_straight_only_where_they_are(bow_mm: float, off_mm: float) -> None:
    """Sides of 8 mm bowed by 5 um: a line leaves 3 um of it, an arc of 8^2 / (8 x 0.005) = 1600 mm nothing."""
    points, _ = s.rounded_rectangle(14, 12, 3).sampled(spacing=0.04)
    x, y = (points - points.mean(axis=0)).T
    bow = bow_mm * np.clip(1 - (x / 4) ** 2, 0, None) * (np.abs(y) > 5.9)
    points = np.column_stack([x, y + np.sign(y) * bow])
    shape = recognise(make_ring(points))
    assert shape is not None
    path = fit_curve(make_ring(points), like=shape.curve)
    assert isinstance(path, Path)
    assert max(two_sided_distance(path, points)[:2]) < off_mm
    assert np.sum(path.bulges == 0) == (4 if bow_mm == 0 else 2)
