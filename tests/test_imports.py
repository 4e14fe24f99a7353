"""Imports point one way: stages know nothing of one another, only the recipe joins them, nobody imports the commands.

Read from the source, so that imports inside functions count too; `at_once` are those that importing a module runs.
"""

import ast
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1] / "digitize"
STAGES = {"reference", "silhouette", "edge", "curve", "pocket", "difference", "height"}
RECIPES = {"pipeline", "pipeline_camera", "describe"}  # describe: from one item's rings to its curves and pocket
HEAVY = {"cv2", "shapely", "ezdxf", "pikepdf", "PIL", "trimesh", "pyvips", "scipy", "skimage", "fsspec", "distributed"}
BASE = {"", "errors", "records", "seal", "cautions", "opencv"}


@dataclass(frozen=True)
class Imports:
    """What a module imports, by full name."""

    anywhere: frozenset[str]
    at_once: frozenset[str]


def name_of(path: Path) -> str:
    """Return a module's name below the package: "edge", "write.dxf", "" for the package itself."""
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


MODULES = {name_of(path): path for path in sorted(ROOT.rglob("*.py"))}


@cache
def imports(module: str) -> Imports:
    return imports_of(MODULES[module].read_text(encoding="utf-8"), package_of(module))


def package_of(module: str) -> str:
    return module if MODULES[module].name == "__init__.py" else module.rpartition(".")[0]


def imports_of(source: str, package: str) -> Imports:
    """Imports of a source; those for the type checker only are left out."""
    anywhere, at_once = set(), set()

    def walk(node: ast.AST, *, inside: bool) -> None:
        for child in ast.iter_child_nodes(node):
            if isinstance(child, ast.If) and "TYPE_CHECKING" in ast.unparse(child.test):
                continue
            names = names_in(child, package)
            anywhere.update(names)
            if not inside:
                at_once.update(names)
            walk(child, inside=inside or isinstance(child, ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda))

    walk(ast.parse(source), inside=False)
    return Imports(frozenset(anywhere), frozenset(at_once))


def names_in(node: ast.AST, package: str) -> set[str]:
    """Full names of the modules an import statement names; ours begin with "digitize"."""
    if isinstance(node, ast.Import):
        return {alias.name for alias in node.names}
    if not isinstance(node, ast.ImportFrom):
        return set()
    base = node.module or ""
    if node.level:
        above = ["digitize", *package.split(".")] if package else ["digitize"]
        base = ".".join([*above[: len(above) - node.level + 1], *([node.module] if node.module else [])])
    own = {
        f"{base}.{alias.name}" for alias in node.names if f"{base}.{alias.name}".removeprefix("digitize.") in MODULES
    }
    return own or {base}


def ours(names: frozenset[str]) -> set[str]:
    return {name.removeprefix("digitize").removeprefix(".") for name in names if name.split(".")[0] == "digitize"}


def reached(module: str, *, at_once: bool) -> set[str]:
    """Our modules that a module imports, directly or by others."""
    found, waiting = set(), [module]
    while waiting:
        seen = imports(waiting.pop())
        new = ours(seen.at_once if at_once else seen.anywhere) & MODULES.keys() - found
        found |= new
        waiting += new
    return found


def below(package: str) -> list[str]:
    return [module for module in MODULES if module.startswith(f"{package}.")]


def test_the_reader_of_imports_sees_what_there_is():
    source = (
        "import cv2\nfrom typing import TYPE_CHECKING\nfrom .records import Item\nfrom .write import dxf, svg\n"
        "if TYPE_CHECKING:\n    import ezdxf\ndef f():\n    from . import edge\n    import shapely.geometry\n"
    )
    seen = imports_of(source, "")
    assert ours(seen.at_once) == {"records", "write.dxf", "write.svg"}
    assert ours(seen.anywhere) == {"records", "write.dxf", "write.svg", "edge"}
    assert {"cv2", "typing"} <= seen.at_once
    assert "shapely.geometry" in seen.anywhere - seen.at_once
    assert "ezdxf" not in seen.anywhere
    assert ours(imports_of("from ..errors import X\nfrom .paths import Y", "write").at_once) == {
        "errors",
        "write.paths",
    }
    assert MODULES.keys() >= STAGES | RECIPES | BASE
    assert reached("cli", at_once=False) >= STAGES


@pytest.mark.parametrize("stage", sorted(STAGES))
def test_a_stage_knows_no_other_no_recipe_and_no_disk(stage):
    known = reached(stage, at_once=False)
    assert known & (STAGES | RECIPES | {"run", "api", "cli", "files", "picture"}) - {stage} == set()
    for module in {stage, *known}:
        outside = {name.split(".")[0] for name in imports(module).anywhere}
        assert outside & {"typer", "os", "pathlib", "io", "sys"} <= ({"os"} if module == "opencv" else set()), module


def test_only_the_recipe_calls_two_stages():
    callers = {module for module in MODULES if len(ours(imports(module).anywhere) & STAGES) > 1}
    assert callers <= RECIPES


@pytest.mark.parametrize(
    ("package", "allowed"),
    [
        ("fitting", {"errors", "records"}),
        ("reading", {"errors", "records"}),
        ("camera", {"errors", "records", "profiles"}),
        # drawings share how a bulge is read, the words of the uncertainty, and what a card consists of
        ("write", BASE | {"fitting.bulge", "uncertainty", "card_parts"}),
    ],
)
def test_a_folder_imports_only_what_lies_under_it(package, allowed):
    for module in below(package):
        assert ours(imports(module).anywhere) - set(below(package)) <= allowed, module


@pytest.mark.parametrize(
    ("module", "users"),
    [
        ("cli", {"__main__"}),
        ("pipeline", {"api", "run", "batch.work"}),
        ("pipeline_camera", {"pipeline"}),
        ("demo", {"cli"}),
        ("table", {"cli"}),
        ("typer", {"cli", "options"}),
        ("cv2", {"opencv"}),
    ],
)
def test_who_may_import_what(module, users):
    full = f"digitize.{module}" if module in MODULES else module
    assert {one for one in MODULES if full in imports(one).anywhere} <= users


def test_the_batch_is_imported_by_the_commands_only():
    users = {module for module in MODULES if ours(imports(module).anywhere) & set(below("batch"))}
    assert users - set(below("batch")) <= {"cli"}


@pytest.mark.parametrize("module", ["pipeline", "run", "api", "cli", "batch.work", "options", "profile"])
def test_scans_do_not_import_the_camera(module):
    assert {
        name for name in reached(module, at_once=True) if name.split(".")[0] in ("camera", "pipeline_camera")
    } == set()


@pytest.mark.parametrize("module", sorted(MODULES))
def test_slow_libraries_are_imported_where_they_are_used(module):
    assert {name.split(".")[0] for name in imports(module).at_once} & HEAVY == set()


@pytest.mark.parametrize("module", sorted(MODULES))
def test_no_module_needs_itself_to_be_imported(module):
    assert module not in reached(module, at_once=True)


@pytest.mark.parametrize("module", sorted(set(MODULES) - {"cli", "__main__"} - set(below("batch"))))
def test_only_the_commands_print(module):
    calls = [node for node in ast.walk(ast.parse(MODULES[module].read_text())) if isinstance(node, ast.Call)]
    assert not [node.lineno for node in calls if isinstance(node.func, ast.Name) and node.func.id == "print"]
