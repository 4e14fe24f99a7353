"""Walls of another shade than the top, seen beside it: their foot is found where little else tells the item."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
import shapely

from digitize.edge import walls
from digitize.edge.walls import Footed, with_feet
from digitize.recipe import photo as pipeline_camera
from digitize.recipe.outline import outline_picture
from tests.near import distances
from tests.test_camera_photo import SQUARE, codes, eye, read, scene_of, score
from tests.truth.photo import hidden_rings
from tests.truth.scenes import shape_of

TABLE = (0.78, 0.77, 0.75)


def photo_of(tmp_path, reflectance, wall):
    """A 3 mm item on a light table; `wall` is its walls' share of the top's light."""
    scene = scene_of(eye(), background=TABLE)
    scene.add_square((50.0, 50.0), (-45, 5), 20)
    truth = scene.add_item(
        shape_of("key-fob"), (40, -5), 30, height_mm=3.0, reflectance=np.array(TABLE) * reflectance, wall=wall
    )
    return read(tmp_path, scene), truth


def as_traced(picture, contour, card, height_mm):
    return Footed(contour, 0.0)


def kept(taken, given):
    """Feet as they are found, put down with the contour they were found along."""
    footed = with_feet(*given)
    taken.append((given[1], footed))
    return footed


def moved_px(traced, footed):
    return np.linalg.norm(footed.contour.points_px - traced.points_px, axis=1)


def left_px(traced, footed, truth):
    """RMS distance of the points that were moved from what the prism hides, projected by the truth's own camera."""
    (edge, *_), seen = hidden_rings(truth, 3.0, eye()), moved_px(traced, footed) > 0
    away = distances(footed.contour.points_px[seen], shapely.LinearRing(eye().to_px(edge)))
    return np.sqrt((away**2).mean())


def sd_where_moved_px(traced, footed):
    """The stated deviation is RMS along all of the contour; all of it comes from where feet were moved."""
    return footed.sd_px / np.sqrt((moved_px(traced, footed) > 0).mean())


@pytest.mark.parametrize(("reflectance", "wall"), [(0.77, 0.8), (0.6, 0.6)])
def test_feet_of_walls_are_found(tmp_path, monkeypatch, reflectance, wall):
    picture, truth = photo_of(tmp_path, reflectance, wall)
    taken = []
    monkeypatch.setattr(pipeline_camera, "with_feet", lambda *given: kept(taken, given))
    found, item = score(outline_picture(picture, SQUARE).result, truth)
    assert (np.abs(found.distances_um) <= 1000 * item.uncertainty.profile_k2_mm).mean() > 0.93
    assert left_px(*taken[0], truth) <= 1.6 * sd_where_moved_px(*taken[0])  # of half of it, 1.9 and more
    monkeypatch.setattr(pipeline_camera, "with_feet", as_traced)
    before, _ = score(outline_picture(picture, SQUARE).result, truth)
    assert found.p95_um < 0.85 * before.p95_um
    assert found.p95_um < 50


def test_a_foot_far_from_the_edge_is_not_believed(monkeypatch):
    """Of a wall's feet one stretch is found three pixels off, on something else: its neighbours' feet stand in."""
    feet, at = np.full(200, 0.2), np.arange(200)
    feet[80:90] = 3.0
    monkeypatch.setattr(walls, "_profiles", lambda *given: None)
    monkeypatch.setattr(walls, "_common_shade", lambda *given: None)
    monkeypatch.setattr(walls, "_shift", lambda *given: (feet, None))
    monkeypatch.setattr(walls, "_near_corners", lambda *given: np.zeros(200, bool))
    contour = SimpleNamespace(points_px=np.column_stack([at, 0 * at]), blur_px=0.9)
    around = SimpleNamespace(inward=np.tile([0.0, 1.0], (200, 1)), width_px=np.full(200, 6.0))
    assert np.allclose(walls._believed_feet(None, contour, around, np.ones(200, bool)), 0.2)


def test_clear_items_stay_as_traced(tmp_path, monkeypatch):
    picture, truth = photo_of(tmp_path, 0.2, 0.85)
    found, item = score(outline_picture(picture, SQUARE).result, truth)
    monkeypatch.setattr(pipeline_camera, "with_feet", as_traced)
    before, _ = score(outline_picture(picture, SQUARE).result, truth)
    assert found.p95_um == pytest.approx(before.p95_um, abs=3)
    assert "item-pale" not in [f.code for f in item.findings]


@pytest.mark.parametrize(("reflectance", "wall", "share"), [(0.9, 0.95, 0.93), (1.09, 0.9, 0.8)])
def test_pale_items_are_said_and_the_doubt_is_in_the_figure(tmp_path, reflectance, wall, share):
    """No profile tells the foot there; the last item's walls are of the table's own light and not seen at all."""
    picture, truth = photo_of(tmp_path, reflectance, wall)
    result = outline_picture(picture, SQUARE).result
    found, item = score(result, truth)
    assert "item-pale" in codes(result)
    assert (np.abs(found.distances_um) <= 1000 * item.uncertainty.profile_k2_mm).mean() > share
