"""Linear algebra without a BLAS, against NumPy's own; and that nothing else of the package calls one."""

import ast
import hashlib
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from digitize import steady
from digitize.reading.picture import picture_from_bytes
from digitize.recipe.outline import outline_picture
from digitize.run import Output, make_files
from digitize.settings import Settings

from .batch_scans import scan

PACKAGE = Path(__file__).resolve().parents[1] / "digitize"
# NumPy's functions that go to a BLAS or LAPACK, or to a dot product of the same library (convolve, correlate)
BLAS = {"matmul", "dot", "vdot", "inner", "tensordot", "convolve", "correlate", "polyfit", "cov", "corrcoef", "vecdot"}
RNG = np.random.default_rng(5)


def calls_blas(tree):
    """Names of what a module uses that goes to a BLAS; a norm along an axis is sums of squares alone."""
    for node in ast.walk(tree):
        if isinstance(node, ast.BinOp | ast.AugAssign) and isinstance(node.op, ast.MatMult):
            yield node.lineno, "@"
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name) and node.value.id == "np":
            if node.attr in BLAS:
                yield node.lineno, node.attr
            if node.attr == "linalg" and node not in allowed(tree):
                yield node.lineno, "linalg"
        if isinstance(node, ast.Attribute) and node.attr == "polynomial":
            yield node.lineno, "polynomial"
        if isinstance(node, ast.keyword) and node.arg == "optimize":
            yield node.value.lineno, "einsum with optimize"
        if isinstance(node, ast.Import | ast.ImportFrom) and "scipy" in ast.unparse(node):
            yield node.lineno, "scipy"


def allowed(tree):
    calls = [node for node in ast.walk(tree) if isinstance(node, ast.Call)]
    return [
        call.func.value
        for call in calls
        if ast.unparse(call.func) == "np.linalg.norm" and any(word.arg == "axis" for word in call.keywords)
    ]


def test_nothing_calls_a_blas():
    found = [
        f"{path.relative_to(PACKAGE)}:{line} {what}"
        for path in sorted(PACKAGE.rglob("*.py"))
        for line, what in calls_blas(ast.parse(path.read_text(encoding="utf-8")))
    ]
    assert not found


@pytest.mark.parametrize(
    "line",
    ["a @ b", "a @= b", "np.dot(a, b)", "np.linalg.norm(a)", "np.linalg.solve(a, b)", "np.convolve(a, b)"],
)
def test_such_calls_are_seen(line):
    assert list(calls_blas(ast.parse(line)))


def test_a_norm_along_an_axis_is_none():
    assert not list(calls_blas(ast.parse("np.linalg.norm(a, axis=1)")))


@pytest.mark.parametrize(
    ("one", "other"),
    [
        *[((3,), (3,)), ((40,), (40,)), ((5, 2), (2, 2)), ((2,), (2, 4)), ((6, 3), (3,)), ((7, 4, 3), (7, 3, 5))],
        *[((7, 1, 4), (7, 4, 30)), ((4, 90), (90, 6)), ((8, 3, 40), (8, 40, 3)), ((90,), (5, 90, 2)), ((4, 0), (0, 3))],
    ],
)
def test_products_are_those_of_numpy(one, other):
    a, b = RNG.normal(size=one), RNG.normal(size=other)
    np.testing.assert_allclose(steady.product(a, b), a @ b, rtol=0, atol=1e-13)


def test_products_keep_the_type():
    a, b = RNG.normal(size=(5, 30)).astype(np.float32), RNG.normal(size=(30, 2)).astype(np.float32)
    assert steady.product(a, b).dtype == np.float32
    assert steady.product(np.arange(6).reshape(2, 3), np.array([1, 20, 400])).tolist() == [820, 2083]


@pytest.mark.parametrize("shape", [(2,), (4,), (13,), (60, 4), (1, 40)])
def test_systems_are_solved(shape):
    *stack, size = shape
    matrix, right = RNG.normal(size=(*stack, size, size)), RNG.normal(size=(*stack, size, 3))
    np.testing.assert_allclose(steady.solve(matrix, right), np.linalg.solve(matrix, right), rtol=1e-8, atol=1e-9)
    np.testing.assert_allclose(steady.inverse(matrix), np.linalg.inv(matrix), rtol=1e-8, atol=1e-9)


def test_a_pivot_of_zero_is_exchanged():
    np.testing.assert_array_equal(steady.inverse(np.array([[0.0, 2.0], [1.0, 0.0]])), [[0.0, 1.0], [0.5, 0.0]])


def test_a_singular_system_is_not_finite():
    assert not np.isfinite(steady.solve(np.ones((2, 2)), np.ones((2, 1)))).any()


def designs():
    tall = RNG.normal(size=(50, 6))
    yield "tall", tall
    yield "a polynomial far out", np.vander(np.linspace(0.0, 300.0, 40), 3)
    yield "a column twice", np.column_stack([tall, tall[:, 2]])
    yield "a column of zeros", np.column_stack([tall[:, :2], np.zeros(50)])
    yield "wide", RNG.normal(size=(3, 7))
    yield "nothing", np.zeros((4, 2))


@pytest.mark.parametrize("design", [pytest.param(design, id=name) for name, design in designs()])
def test_least_squares_are_those_of_numpy(design):
    right = RNG.normal(size=(len(design), 2))
    expected = np.linalg.lstsq(design, right, rcond=None)[0]
    scale = max(1.0, np.abs(expected).max())
    np.testing.assert_allclose(steady.least_squares(design, right), expected, rtol=0, atol=1e-10 * scale)
    np.testing.assert_allclose(steady.least_squares(design, right[:, 0]), expected[:, 0], rtol=0, atol=1e-10 * scale)
    np.testing.assert_allclose(
        steady.pseudo_inverse(design, least=1e-13), np.linalg.pinv(design, rcond=1e-13), rtol=0, atol=1e-10
    )


@pytest.mark.parametrize("design", [pytest.param(design, id=name) for name, design in designs() if name != "wide"])
def test_few_unknowns_are_those_of_numpy(design):
    right = RNG.normal(size=len(design))
    expected = np.linalg.lstsq(design, right, rcond=None)[0]
    np.testing.assert_allclose(steady.few_unknowns(design, right), expected, rtol=0, atol=1e-9)
    squares = np.linalg.pinv(design.T @ design, rcond=1e-13)
    np.testing.assert_allclose(steady.inverse_of_squares(design), squares, rtol=1e-9, atol=1e-10)


def test_few_unknowns_of_each_are_those_of_one() -> None:
    """Of a column made of two others too, which the systems beside it do not suffer from."""
    sizes = (40, 7, 300)
    parts = [RNG.normal(size=(size, 4)) for size in sizes]
    parts[1][:, 2] = 0.1 * parts[1][:, 0] + 0.7 * parts[1][:, 1]
    rights = [RNG.normal(size=size) for size in sizes]
    starts = np.cumsum([0, *sizes[:-1]])
    found = steady.few_unknowns_each(np.concatenate(parts), np.concatenate(rights), starts)
    for part, right, one in zip(parts, rights, found, strict=True):
        np.testing.assert_allclose(one, np.linalg.lstsq(part, right, rcond=None)[0], rtol=0, atol=1e-9)
        again = steady.few_unknowns_each(part, right, np.array([0]))[0]
        assert np.array_equal(one, again)


def test_least_squares_keep_the_digits_that_normal_equations_lose():
    # Laeuchli's matrix: the squares of its small elements vanish beside 1 (Golub and Van Loan, 5.3, from memory)
    e = 1e-9
    design = np.array([[1.0, 1.0], [e, 0.0], [0.0, e]])
    np.testing.assert_allclose(steady.least_squares(design, np.array([2.0, e, e])), [1.0, 1.0], rtol=1e-6)


def test_polynomials():
    at = np.linspace(-3, 20, 30)
    np.testing.assert_allclose(steady.polynomial(at, 2 - 3 * at + 0.5 * at**2, 2), [2, -3, 0.5], rtol=1e-10)


def test_orthonormal_columns_span_the_same():
    bases = RNG.normal(size=(20, 12, 3))
    found = steady.orthonormal(bases)
    np.testing.assert_allclose(found.swapaxes(1, 2) @ found, np.broadcast_to(np.eye(3), (20, 3, 3)), atol=1e-14)
    np.testing.assert_allclose(found @ (found.swapaxes(1, 2) @ bases), bases, atol=1e-13)
    bases[:, :, 2] = bases[:, :, 0] - bases[:, :, 1]
    assert not steady.orthonormal(bases)[:, :, 2].any()


@pytest.mark.parametrize("shape", [(2, 2), (3, 2)])
def test_the_nearest_turn_is_that_of_the_singular_values(shape):
    columns = RNG.normal(size=shape)
    u, _, v = np.linalg.svd(columns, full_matrices=False)
    np.testing.assert_allclose(steady.nearest_turn(columns), u @ v, atol=1e-12)


def test_eigenvalues_and_vectors():
    some = RNG.normal(size=(3, 3))
    values, vectors = steady.eigen(some @ some.T)
    np.testing.assert_allclose(values, np.linalg.eigvalsh(some @ some.T), atol=1e-14)
    np.testing.assert_allclose(vectors @ np.diag(values) @ vectors.T, some @ some.T, atol=1e-13)
    assert steady.eigen(np.zeros((3, 3)))[0].tolist() == [0, 0, 0]


def test_log_determinant():
    half = RNG.normal(size=(9, 14))
    definite = half @ half.T
    assert steady.log_determinant(definite) == pytest.approx(np.linalg.slogdet(definite)[1], rel=1e-12)
    assert np.isnan(steady.log_determinant(np.diag([1.0, -2.0])))


def test_lengths_and_complex_places():
    assert steady.norm(np.array([3.0, -4.0])) == 5.0
    assert steady.as_complex(np.array([[3.0, -4.0]])).tolist() == [3 - 4j]


def outlined():
    """What a small scan comes to, as this process has its libraries."""
    picture = picture_from_bytes(scan(0), "scan.png")
    made = outline_picture(picture, Settings.of({"square_mm": (25.0, 25.0), "symmetric": True}))
    files = make_files(picture, made, Output(folder=Path("."), formats=("json", "svg")))
    return {name: hashlib.sha256(data).hexdigest() for name, data in files.items()}


def test_kernels_of_one_blas_write_the_same_files():
    # OpenBLAS takes the kernel that OPENBLAS_CORETYPE names; the one of the oldest processor has no fused multiply-add
    environment = os.environ | {"OPENBLAS_CORETYPE": "Prescott", "OPENBLAS_NUM_THREADS": "1"}
    command = [sys.executable, "-c", "from tests.test_steady import outlined; print(outlined())"]
    told = subprocess.run(command, cwd=PACKAGE.parent, env=environment, capture_output=True, check=True, text=True)
    assert told.stdout.strip() == str(outlined())
