"""Faults in the linear algebra that every machine does alike, and where it is left."""

from __future__ import annotations

from .kind import Fault

STEADY = "tests/test_steady.py"

FAULTS = (
    Fault(
        "steady-a-blas-is-called",
        "digitize/fitting/circle.py",
        "few_unknowns_each(slopes.T, (distance - laid.rows(radii)) * root, laid.starts)",
        "np.linalg.lstsq(slopes.T, (distance - laid.rows(radii)) * root)[0]",
        (f"{STEADY}::test_nothing_calls_a_blas",),
    ),
    Fault(
        "steady-columns-alike-taken-as-apart",
        "digitize/steady.py",
        "if not first[k] > least[k]:",
        "if not first[k] > -1.0:",
        (f"{STEADY}::test_few_unknowns_are_those_of_numpy",),
    ),
    Fault(
        "steady-no-pivot",
        "digitize/steady.py",
        "pivot = k + np.abs(flat[:, k:, k]).argmax(axis=1)",
        "pivot = np.full(len(flat), k)",
        (f"{STEADY}::test_a_pivot_of_zero_is_exchanged",),
    ),
    Fault(
        "steady-deficient-taken-as-whole",
        "digitize/steady.py",
        "if not long > least * first:",
        "if not long > 0.0:",
        (f"{STEADY}::test_least_squares_are_those_of_numpy",),
    ),
    Fault(
        "steady-spent-column-kept",
        "digitize/steady.py",
        "there = left > 1e-12 * size",
        "there = left > 0.0",
        (f"{STEADY}::test_orthonormal_columns_span_the_same",),
    ),
    Fault(
        "steady-many-systems-beside-one-that-has-none",
        "digitize/steady.py",
        "good &= rows[:, k, k] > least[:, k]",
        "good &= rows[:, k, k] > -1.0",
        (f"{STEADY}::test_few_unknowns_of_each_are_those_of_one",),
    ),
)
