"""The examples in the docstrings run, from the folder of the clone, and every public name has one."""

from __future__ import annotations

import ast
import doctest
import importlib
import inspect
from pathlib import Path

import pytest

import digitize

ROOT = Path(__file__).resolve().parents[1]


def modules_with_examples():
    for path in sorted((ROOT / "digitize").rglob("*.py")):
        if ">>>" in path.read_text("utf-8"):
            yield ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")


@pytest.mark.parametrize("name", list(modules_with_examples()))
def test_examples_run(name, monkeypatch):
    monkeypatch.chdir(ROOT)
    failed, tried = doctest.testmod(importlib.import_module(name), optionflags=doctest.ELLIPSIS)
    assert tried > 0
    assert failed == 0


def test_no_example_is_skipped():
    for path in (ROOT / "digitize").rglob("*.py"):
        text = path.read_text("utf-8")
        for node in ast.walk(ast.parse(text if "+SKIP" in text else "")):
            if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef):
                assert "+SKIP" not in (ast.get_docstring(node) or ""), path


@pytest.mark.parametrize("name", sorted(set(digitize.__all__) - {"__version__"}))
def test_every_public_name_has_an_example(name):
    made = getattr(digitize, name)
    told = [inspect.getdoc(made) or ""]
    if inspect.isclass(made):
        told += [inspect.getdoc(one) or "" for one in vars(made).values() if callable(one) or isinstance(one, property)]
    assert any(">>>" in text for text in told)
