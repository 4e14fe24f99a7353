"""Toothed edges in coarse pictures: lines only where lines and arcs cannot keep to the limit, the rest as it is."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely

from digitize.fitting import fit
from digitize.fitting.bulge import curve_ring
from digitize.fitting.distance import two_sided_distance
from digitize.fitting.draft import Draft, counts_of, in_sequence
from digitize.fitting.fit import fit_curve
from digitize.fitting.lined import lined
from digitize.fitting.ring import make_ring
from digitize.fitting.tangent import split
from digitize.records import FloatArray, Path

TOLERANCE = 0.02
SPACING = 0.25  # mm, about that of places along an edge at 100 dpi


def toothed(radius: float, teeth: int, deep: float, noise: float) -> FloatArray:
    """A disc whose teeth rise along a curve and fall steeply, their tips and notches rounded to 0.05 mm."""
    share = np.linspace(0, 1, 40, endpoint=False)
    angle = (np.arange(teeth)[:, None] + share) * 2 * np.pi / teeth
    reach = radius + deep * np.where(share < 0.85, (share / 0.85) ** 2, (1 - share) / 0.15)
    sharp = np.stack([reach * np.cos(angle), reach * np.sin(angle)], -1).reshape(-1, 2)
    edge = shapely.Polygon(sharp).buffer(-0.05).buffer(0.1).buffer(-0.05).exterior
    count = round(edge.length / SPACING)
    places = shapely.line_interpolate_point(edge, np.arange(count) * edge.length / count)
    points = shapely.get_coordinates(places)
    points = points if edge.is_ccw else points[::-1]
    return points + np.random.default_rng(0).normal(0, noise, points.shape)


@pytest.mark.parametrize(("radius", "teeth", "noise"), [(20.0, 30, 0.002), (30.0, 50, 0.001)])
def test_a_toothed_edge_keeps_its_arcs_between_the_teeth(radius: float, teeth: int, noise: float) -> None:
    ring = toothed(radius, teeth, 1.2, noise)
    found = fit_curve(make_ring(ring), tolerance_mm=TOLERANCE)
    assert isinstance(found, Path)
    away, back, outside = two_sided_distance(found, ring)
    assert max(away, back) <= TOLERANCE
    assert abs(outside) < 0.001  # lines through every other point of a bent edge would cut it
    assert shapely.is_valid(shapely.polygons(curve_ring(found, chord_mm=0.001)))
    lines = len(shapely.get_coordinates(shapely.LinearRing(ring).simplify(TOLERANCE))) - 1  # Douglas and Peucker 1973
    assert len(found.bulges) < 0.65 * lines
    assert np.count_nonzero(found.bulges) > teeth


def test_where_lines_alone_are_fewer_they_are_what_is_given() -> None:
    ring = toothed(31.492, 53, 0.7637, 0.0025)
    found = fit_curve(make_ring(ring), tolerance_mm=TOLERANCE)
    assert isinstance(found, Path)
    lines = len(shapely.get_coordinates(shapely.LinearRing(ring).simplify(TOLERANCE))) - 1
    assert len(found.bulges) <= 1.02 * lines


def test_pieces_that_keep_to_a_narrow_strip_but_cross_in_it_become_lines() -> None:
    length, width, count = 10.0, 0.03, 41
    along, aside = np.linspace(0, length, count), np.zeros(count)
    ring = np.vstack([np.column_stack([along, aside]), np.column_stack([along[::-1], aside + width])])
    breaks = np.array([0, count - 1, count, 2 * count - 1])
    bulges = np.array([-0.0036, 0.0, -0.0036, 0.0])  # 0.018 mm inward from either side
    none = np.zeros(4, dtype=bool)
    draft = Draft(ring[breaks], bulges, breaks, bulges == 0, none, none)
    assert not shapely.is_valid(shapely.polygons(curve_ring(draft.path(), chord_mm=0.0001)))
    found = lined(draft, ring, np.full(len(ring), TOLERANCE))
    assert shapely.is_valid(shapely.polygons(curve_ring(found.path(), chord_mm=0.0001)))
    assert max(two_sided_distance(found.path(), ring)[:2]) <= TOLERANCE
    assert found.fixed.all()


def test_breaks_that_crossed_where_a_spike_was_cut_off_are_put_in_sequence(monkeypatch: pytest.MonkeyPatch) -> None:
    """Soft, ragged edges in coarse scans: of two short pieces side by side the later one begins a point before."""
    angle = np.linspace(0, 2 * np.pi, 500, endpoint=False)
    reach = 20.0 + 1.5 * np.sin(5 * angle) + np.random.default_rng(0).normal(0, 0.002, len(angle))
    ring = np.stack([reach * np.cos(angle), reach * np.sin(angle)], axis=1)
    own, seen = fit._fitted, []

    async def crossed(*args: object, **given: object) -> object:
        draft, cut = await own(*args, **given)  # type: ignore[arg-type]
        assert draft is not None
        draft = split(draft, 3, 1, len(ring))
        breaks = draft.breaks.copy()
        breaks[4] = breaks[3] - 1
        seen.append(replace(draft, breaks=breaks))
        return seen[-1], cut

    tidied, given_on = fit.with_whole_lines, []

    async def looked_at(draft: Draft, *rest: FloatArray) -> Draft:
        given_on.append(draft)
        return await tidied(draft, *rest)

    monkeypatch.setattr(fit, "_fitted", crossed)
    monkeypatch.setattr(fit, "with_whole_lines", looked_at)
    found = fit_curve(make_ring(ring), tolerance_mm=TOLERANCE)
    assert isinstance(found, Path)
    assert max(two_sided_distance(found, ring)[:2]) <= TOLERANCE
    assert counts_of(seen[0], len(ring)).min() < 0  # which `np.repeat` refuses, wherever pieces are judged
    assert [counts_of(draft, len(ring)).min() >= 0 for draft in given_on] == [True]
    sound = in_sequence(seen[0], len(ring))
    counts = counts_of(sound, len(ring))
    assert counts.min() >= 0
    assert counts.sum() == len(ring)
    assert in_sequence(sound, len(ring)) is sound
