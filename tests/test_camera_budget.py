"""What a photo's figure owes to height, focal length and lens, against similar triangles worked by hand.

A camera 300 mm straight above the card, an item of 60 x 40 mm whose top lies 3 mm above it: 297 mm from the eye. With a
focal length longer by a part s the eye goes up with it, which leaves the card as it was and moves the top by
s * 3 / 297 of its size; a height wrong by u moves it by u / 297.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import digitize
from digitize.camera.budget import SeenRing, item_budget
from digitize.camera.estimate import CameraEstimate
from digitize.camera.focal import LensKnowledge
from digitize.camera.lens import Lens
from digitize.camera.pose import Pose
from digitize.camera.solve import Model, Prior, solve
from tests.test_camera import evidence, lens_of, prior
from tests.truth.camera import camera
from tests.truth.shapes import Shape, rectangle

HEIGHT_MM, DISTANCE_MM = 3.0, 300.0
EYE = camera((0, 0), DISTANCE_MM)
WIDTH_MM, DEPTH_MM = 60.0, 40.0
# RMS distance that a growth by a part of 1 moves the edge across itself, with as many places on each of the sides
ACROSS_MM = np.sqrt((30**2 + 20**2) / 2)


def budget(height_mm=HEIGHT_MM, *, within_mm=0.1, **known):
    """Lines by name, with what is not `known` of the lens fixed."""
    sd = {"focal": 0.0, "centre": 0.0, "k1": 0.0, "k2": 0.0} | known
    exact = prior(EYE, **sd)
    mean = np.array([np.log(EYE.focal_px), *EYE.principal_px, 0, 0, 0, 0, 0])
    found = evidence(EYE, noise=0.0)
    solution = solve((found,), Model(lens_of(EYE), (Pose(EYE.rotation, EYE.translation),)), Prior(mean, exact.sd))
    words = LensKnowledge(Lens(EYE.focal_px, EYE.principal_px), exact.sd[:5], "exif", "EXIF, 26 mm equivalent")
    estimate = CameraEstimate(solution, found, np.zeros(2), (), 0.8, 3.0, words, np.full(4, 0.01))
    ring = Shape(rectangle(WIDTH_MM, DEPTH_MM)).outer.placed((0, 0), 0).polygon(1e-3)
    part = np.linspace(0, 1, 400)[:, None, None]
    ring = ((1 - part) * ring + part * np.roll(ring, -1, axis=0)).transpose(1, 0, 2).reshape(-1, 2)
    seen = SeenRing(EYE.to_px(ring, height_mm), np.full(len(ring), height_mm))
    return {line.name: line for line in item_budget(estimate, (seen,), height_within_mm=within_mm)}


def test_a_height_read_to_a_tenth_of_a_millimetre_is_in_the_figure():
    """0.1 mm either way, evenly distributed: 0.1 / sqrt(3) = 0.0577 mm (JCGM 100, 4.3.7)."""
    line = budget()["item height"]
    assert line.length_mm == pytest.approx(WIDTH_MM * 0.05774 / 297, rel=0.01)
    assert line.profile_mm == pytest.approx(ACROSS_MM * 0.05774 / 297, rel=0.02)
    assert "item height" not in budget(within_mm=None)
    # 3+-0.5 mm: 0.5 / sqrt(3) = 0.2887 mm
    assert budget(within_mm=0.5)["item height"].length_mm == pytest.approx(WIDTH_MM * 0.2887 / 297, rel=0.01)


def test_a_flat_item_of_which_a_height_in_doubt_is_said_has_it_in_the_figure():
    """0+-0.5 mm: 60 mm are seen too large by 0.2887 / 300 of them. Without a word what is flat lies on the card."""
    line = budget(0.0, within_mm=0.5)["item height"]
    assert line.length_mm == pytest.approx(WIDTH_MM * 0.2887 / 300, rel=0.01)
    picture = Path(__file__).parent.parent / "samples" / "badge.jpg"

    def note(**height):
        item = digitize.outline(picture, measured_mm=(54, 54), **height).items[0]
        return {part.name: part.note for part in item.uncertainty.budget}.get("item height")

    assert note(item_height_mm=0, height_within_mm=0.5) == "known to 0.5 mm either way"
    tenth = "known to 0.1 mm either way"
    assert note(item_height_mm=0, height_within_mm=0.1) == tenth  # said, though others are taken to be so unless said
    assert note(item_height_mm=0) is None
    assert note(item_height_mm=3.2) == tenth


def test_a_focal_length_known_to_2_percent_moves_what_is_raised():
    line = budget(focal=0.02)["focal length"]
    assert line.length_mm == pytest.approx(WIDTH_MM * 0.02 * 3 / 297, rel=0.02)
    assert line.profile_mm == pytest.approx(ACROSS_MM * 0.02 * 3 / 297, rel=0.03)
    assert "EXIF, 26 mm equivalent" in line.note
    flat = budget(0.0, focal=0.02)["focal length"]
    assert flat.length_mm < 0.01 * line.length_mm


def test_a_shift_of_all_of_it_is_no_error():
    """The principal point 12 px off: the raised top is seen 12 px * 3 mm / 3100 px = 0.012 mm beside its place."""
    line = budget(centre=12.0)["lens"]
    assert line.profile_mm < 0.001
    assert line.length_mm < 0.001


def test_a_height_wrong_by_all_that_was_said_is_covered():
    """3+-0.5 mm said of what is 3.5 mm high: 60 mm are seen too large by 0.5 / 297 of them, 0.10 mm."""
    stated = budget(within_mm=0.5)["item height"]
    off = WIDTH_MM * 0.5 / 297
    assert off == pytest.approx(0.101, abs=0.001)
    assert off < 2 * stated.length_mm < 1.3 * off
    assert 2 * stated.profile_mm > ACROSS_MM * 0.5 / 297
