"""Imports point one way: stages know nothing of one another, only the recipe joins them, nobody imports the commands.

Read from the source, so that imports inside functions count too; `at_once` are those that importing a module runs.
"""

import ast
import re
from dataclasses import dataclass
from functools import cache
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1] / "digitize"
LOW = {
    "errors",
    "sound",
    "steady",
    "records",
    "words",
    "seal",
    "opencv",
    "ending",
    "files",
    "packaged",
}  # every room may stand on them
# Who may import whom, room by room: the whole map. A module at the top is a room of its own.
MAP: dict[str, set[str]] = {
    "errors": set(),
    "sound": set(),
    "steady": set(),
    "records": {"sound", "steady"},
    "seal": set(),
    "packaged": set(),
    "opencv": {"errors"},
    "ending": set(),
    "files": {"errors", "seal", "ending"},
    "words": {"records"},  # what is said to people; whoever finds something says it from there
    "kept": {"errors", "files"},  # what is remembered for the user, by name
    "kept_cards": {"card", "errors", "files", "kept", "kinds", "seal", "trust"},
    "kinds": {"errors"},
    "parameters": {"errors", "kinds"},
    "hand": {"errors", "kinds", "files"},  # corrections as they are kept; the recipe carries them out
    "usual": {"kinds", "parameters", "records"},
    "settings": {
        *("errors", "kept", "kinds", "parameters", "records", "camera", "scanner", "cutting", "trust", "hand", "usual"),
    },
    "spoken": {"errors", "kinds", "parameters", "records", "settings", "cutting", "usual"},
    "reading": {"errors", "steady", "records", "words", "opencv"},
    "card": {"errors", "records", "words"},
    "measure": {"records", "steady", "reading"},
    "camera": {"errors", "steady", "records", "seal", "files", "opencv", "measure"},
    "scanner": {"errors", "steady", "records", "seal", "files", "kept"},
    "reference": {
        *(
            "errors",
            "steady",
            "records",
            "words",
            "settings",
            "opencv",
            "reading",
            "card",
            "measure",
            "camera",
        ),
    },
    "silhouette": {"errors", "steady", "records", "words", "opencv", "reading", "measure"},
    "edge": {"errors", "steady", "records", "words", "opencv", "measure"},
    "fitting": {"errors", "steady", "records", "words", "measure", "opencv"},
    "cutting": {
        "packaged",
        "errors",
        "steady",
        "kinds",
        "parameters",
        "records",
        "words",
        "seal",
        "files",
        "measure",
        "fitting",
    },
    "trust": {"errors", "steady", "kinds", "parameters", "records", "words", "measure"},
    "plate": {
        *("errors", "steady", "kinds", "parameters", "records", "words", "seal"),
        *("measure", "fitting", "cutting"),
    },
    "document": {"errors", "records", "words", "seal", "plate"},
    "recipe": {
        *("errors", "steady", "records", "words", "settings", "reading", "card", "reference", "camera", "scanner"),
        *("silhouette", "edge", "fitting", "cutting", "trust", "measure", "sound", "hand"),
    },
    "write": {
        "packaged",
        "steady",
        "cutting",
        "errors",
        "kinds",
        "parameters",
        "records",
        "words",
        "seal",
        "opencv",
        "trust",
        "fitting",
        "card",
        "plate",
        "usual",
    },
    "run": {
        *("card", "errors", "kinds", "parameters", "files", "records", "settings", "reading", "recipe", "document"),
        "write",
    },
    "run_plate": {
        *("errors", "files", "kinds", "records", "seal", "plate", "document", "write"),
    },
    "again": {"errors", "files", "records", "seal", "settings", "document", "run"},
    "api": {"errors", "kinds", "files", "records", "settings", "reading", "recipe", "document", "run"},
    "batch": {
        *("hand", "options", "spoken"),
        "errors",
        "files",
        "records",
        "words",
        "seal",
        "opencv",
        "ending",
        "settings",
        "reading",
        "recipe",
        "document",
        "run",
        "trust",
        "write",
    },
    "options": {"kinds", "parameters", "records", "usual"},
    "review": {
        *("errors", "kinds", "parameters", "options", "files", "records", "words", "settings", "opencv", "reading"),
        *("trust", "write", "ending", "run", "hand", "measure", "steady"),
        *("batch", "card", "spoken", "usual"),
        *("run_plate", "plate", "document", "fitting", "seal"),
        "kept_cards",
    },
    "cli": {
        *(
            "review",
            "errors",
            "kinds",
            "parameters",
            "files",
            "kept",
            "kept_cards",
            "records",
            "words",
            "seal",
            "settings",
            "options",
            "run",
            "run_plate",
            "again",
            "reading",
            "recipe",
        ),
        *("card", "camera", "scanner", "cutting", "document", "trust", "plate", "write", "batch", "usual"),
    },
    "__main__": {"ending", "cli"},
    "": {"seal", "api"},
}
COMMANDS = {"cli.commands", "cli.say", "cli.from_pictures", "cli.from_documents", "cli.to_begin_with"}
COMMANDS |= {"cli.misread", "cli.shared", "cli.tables"}  # how they are read
STAGES = {"reference", "camera", "silhouette", "edge", "fitting", "cutting", "plate"}  # pure: no disk, no screen
DISK = {"typer", "os", "pathlib", "io", "sys"}
HEAVY = {"cv2", "shapely", "ezdxf", "pikepdf", "PIL", "trimesh", "pyvips", "scipy", "skimage", "fsspec", "distributed"}
HEAVY |= {"starlette", "uvicorn"}


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
            if not isinstance(child, ast.stmt | ast.excepthandler | ast.match_case):
                continue  # no expression holds an import
            if isinstance(child, ast.If) and "TYPE_CHECKING" in ast.unparse(child.test):
                continue
            names = names_in(child, package)
            anywhere.update(names)
            if not inside:
                at_once.update(names)
            walk(child, inside=inside or isinstance(child, ast.FunctionDef | ast.AsyncFunctionDef))

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


def room(module: str) -> str:
    """Return the folder that a module lies in, or the module itself where it lies at the top."""
    return module.partition(".")[0]


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
    assert ours(imports_of("from ...seal import X\nfrom . import mesh", "write.solid").at_once) == {
        "seal",
        "write.solid.mesh",
    }
    assert {room(module) for module in MODULES} == MAP.keys()
    assert {room(module) for module in reached("cli.commands", at_once=False)} >= STAGES


def test_imports_are_those_of_the_map():
    rooms = {module: {room(one) for one in ours(imports(module).anywhere)} - {room(module)} for module in MODULES}
    assert {module: found - MAP[room(module)] for module, found in rooms.items() if found - MAP[room(module)]} == {}


def test_no_arrow_of_the_map_is_unused():
    drawn = {name: {room(one) for m in MODULES if room(m) == name for one in ours(imports(m).anywhere)} for name in MAP}
    assert {name: sorted(MAP[name] - drawn[name] - LOW) for name in MAP if MAP[name] - drawn[name] - LOW} == {}


def test_the_map_has_no_circle():
    assert list(TopologicalSorter(MAP).static_order())


def test_no_module_reaches_itself_even_by_imports_inside_functions():
    assert [module for module in MODULES if module and module in reached(module, at_once=False)] == []


def test_no_circle_is_hidden_from_all_but_the_type_checker():
    graph = {}
    for module, path in MODULES.items():
        names, text = imports(module).anywhere, path.read_text(encoding="utf-8")
        if "TYPE_CHECKING" in text:
            names = frozenset().union(*(names_in(node, package_of(module)) for node in ast.walk(ast.parse(text))))
        graph[module] = (ours(names) & MODULES.keys()) - {module, ""}
    assert list(TopologicalSorter(graph).static_order())


@pytest.mark.parametrize("stage", sorted(STAGES))
def test_a_stage_touches_no_disk_and_no_screen(stage):
    keeps_files = {"camera.profile", "cutting.defaults", "plate.lay"}  # read or made of what a user keeps
    for module in set(below(stage)) - keeps_files:
        assert {name.split(".")[0] for name in imports(module).anywhere} & DISK == set(), module


@pytest.mark.parametrize("name", sorted(one for one in MAP if (ROOT / one).is_dir() and one))
def test_every_room_says_what_comes_in_what_goes_out_and_what_it_may_import(name):
    text = ast.get_docstring(ast.parse((ROOT / name / "__init__.py").read_text(encoding="utf-8"))) or ""
    assert "In:" in text
    assert "Out:" in text
    named = text.partition("May import")[2]
    assert named
    if "all" not in named and "everything" not in named:
        assert [one for one in MAP[name] if not re.search(rf"\b{one}\b", named)] == []


@pytest.mark.parametrize(
    ("module", "users"),
    [
        ("cli.commands", {"__main__"}),
        ("recipe.outline", {"api", "run", "batch.work"}),
        ("recipe.photo", {"recipe.outline", "recipe.trace"}),
        ("cli.demo", {"cli.to_begin_with"}),
        ("cli.table", {"cli.from_pictures", "cli.to_begin_with", "cli.lot"}),
        ("typer", {*COMMANDS, "options"}),
        ("cv2", {"opencv"}),
    ],
)
def test_who_may_import_what(module, users):
    full = f"digitize.{module}" if module in MODULES else module
    assert {one for one in MODULES if full in imports(one).anywhere} <= users


def test_the_batch_is_imported_by_the_commands_and_the_pages_folder_only():
    users = {module for module in MODULES if ours(imports(module).anywhere) & set(below("batch"))}
    assert users - set(below("batch")) <= {"cli.from_pictures", "cli.review", "review.folder"}


@pytest.mark.parametrize("module", ["recipe.outline", "run", "api", "cli.commands", "batch.work"])
def test_scans_do_not_import_the_camera(module):
    assert {name for name in reached(module, at_once=True) if room(name) == "camera" or name == "recipe.photo"} == set()


def test_slow_libraries_are_imported_where_they_are_used():
    slow = {module: {name.split(".")[0] for name in imports(module).at_once} & HEAVY for module in MODULES}
    assert {module: found for module, found in slow.items() if found} == {}


def test_only_the_commands_print():
    silent = set(MODULES) - COMMANDS - {"__main__"} - set(below("batch"))
    assert len(silent) > 300
    assert {module: lines for module in silent if (lines := prints(MODULES[module]))} == {}


def prints(path):
    text = path.read_text(encoding="utf-8")
    calls = [node for node in ast.walk(ast.parse(text if "print" in text else "")) if isinstance(node, ast.Call)]
    return [node.lineno for node in calls if isinstance(node.func, ast.Name) and node.func.id == "print"]


@pytest.mark.parametrize("name", sorted(MODULES))
def test_no_module_gives_a_limit_two_values(name):
    """The second would hold where the first is meant: nothing else tells."""
    body = ast.parse(MODULES[name].read_text(encoding="utf-8")).body
    targets = [one for node in body if isinstance(node, ast.Assign) for one in node.targets]
    targets += [node.target for node in body if isinstance(node, ast.AnnAssign)]
    names = [leaf for target in targets for leaf in ast.walk(target) if isinstance(leaf, ast.Name)]
    bound = [name.id for name in names if isinstance(name.ctx, ast.Store)]
    assert sorted(bound) == sorted(set(bound))
