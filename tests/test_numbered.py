"""Patches of a mask by number: the same as OpenCV tells of them."""

import cv2
import numpy as np
import pytest

from digitize.silhouette.numbered import AREA, numbered

RANDOM = np.random.default_rng(5)


@pytest.mark.parametrize("connectivity", [4, 8])
@pytest.mark.parametrize("share", [0.0, 0.02, 0.3, 0.5, 0.7, 1.0])
def test_labels_boxes_and_areas_are_opencv_s(share, connectivity):
    for shape in ((1, 1), (1, 40), (37, 1), (23, 31), (64, 48)):
        fine = RANDOM.random(shape) < share
        for mask in (fine, np.kron(fine, np.ones((3, 4), bool)), fine.astype(np.uint8) * 255):
            _, expected, stats, _ = cv2.connectedComponentsWithStats(
                (mask != 0).view(np.uint8), connectivity=connectivity
            )
            labels, patches = numbered(mask, connectivity)
            assert np.array_equal(labels, expected)
            assert np.array_equal(patches[1:], stats[1:])


def test_a_patch_is_told_by_left_top_width_height_and_area():
    mask = np.zeros((9, 12), bool)
    mask[2:5, 3:10] = True
    mask[3, 5:7] = False  # a hole in it
    labels, patches = numbered(mask, 4)
    assert patches.tolist() == [[0, 0, 0, 0, 0], [3, 2, 7, 3, 19]]
    assert AREA == 4
    assert labels.max() == 1
