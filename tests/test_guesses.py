"""Guesses of a square's corners, many at once: none that could be the reference is lost to the quick look."""

import numpy as np
import pytest

from digitize.reference.guesses import Asked, in_order_round, is_square_like, may_be_seen, may_be_square_like

UNIT = np.array([(0, 0), (1, 0), (1, 1), (0, 1)], float)


def quads(count, seed, wild):
    """Quadrilaterals near squares of 8 to 60 px, turned, pulled at each corner by up to `wild` of a side."""
    rng = np.random.default_rng(seed)
    side, angle = rng.uniform(8, 60, count), rng.uniform(0, 2 * np.pi, count)
    turn = np.stack([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]]).transpose(2, 0, 1)
    pulled = UNIT * rng.uniform(0.7, 1.4, (count, 1, 2)) + rng.uniform(-wild, wild, (count, 4, 2))
    return in_order_round(side[:, None, None] * np.einsum("gij,gkj->gki", turn, pulled))


@pytest.mark.parametrize("asked", [Asked(1.0, False), Asked(1.3, False), Asked(1.0, True)])
def test_the_quick_look_at_many_guesses_says_what_the_look_at_each_says(asked):
    corners = quads(3000, 5, 0.15)
    each = [is_square_like(one, asked, is_guess=True) for one in corners]
    assert 0.02 < np.mean(each) < 0.9
    assert may_be_square_like(corners, asked).tolist() == each


def side_places(corners, parts):
    """Places 0.5 px apart on the middle of each side of a quadrilateral, on so large a part of it."""
    found = []
    for start, end, part in zip(corners, np.roll(corners, -1, axis=0), parts, strict=True):
        count = round(2 * float(np.hypot(*(end - start))))
        t = np.linspace(0.1, 0.1 + 0.8 * part, max(2, round(count * part)))
        found.append(start + t[:, None] * (end - start))
    return np.concatenate(found)


@pytest.mark.parametrize(
    ("parts", "seen"),
    [
        ((1, 1, 1, 1), True),
        ((1, 1, 0.6, 0.6), True),  # a worn print, or one that something lies on
        ((1, 0.6, 0.6, 0.6), False),  # only one side is seen well
        ((1, 1, 1, 0.2), False),  # one is hardly seen
    ],
)
def test_enough_of_each_side_has_to_be_seen_and_most_of_two(parts, seen):
    corners = quads(40, 8, 0.02) * 3.0
    borders = [side_places(one, np.roll(parts, k)) for k, one in enumerate(corners)]
    assert may_be_seen(corners, borders).tolist() == [seen] * len(corners)


def test_what_is_seen_of_one_guess_does_not_depend_on_the_others():
    corners = quads(30, 9, 0.05) * 2.0
    rng = np.random.default_rng(10)
    borders = [side_places(one, rng.uniform(0.3, 1.0, 4)) + rng.uniform(-1.5, 1.5, 2) for one in corners]
    together = may_be_seen(corners, borders).tolist()
    assert {True, False} == set(together)
    assert together == [may_be_seen(corners[k : k + 1], borders[k : k + 1])[0] for k in range(len(corners))]
    assert not len(may_be_seen(np.zeros((0, 4, 2)), []))
