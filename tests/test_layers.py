"""The engine never meets Blender and only looks down: the picture in DEVELOPERS.md, as a test."""

import ast
from pathlib import Path

import pytest

ENGINE = Path(__file__).parents[1] / "flatten"
# From the bottom up; a folder or file may use its own layer and those before it.
ORDER = [
    "errors", "arrays", "memory", "units", "finding", "progress", "records", "json_file", "packed",
    "alone", "folder",
    "surface", "mould", "cloth", "pattern", "laminate", "nest", "export",
    "job", "stamp", "start", "result", "lay", "kept", "extras",
    "answer", "answer_parts", "run", "proposals",
    "verify_lines", "verify_pdf", "verify_marks", "verify_places", "verify_paper", "verify",
    "mould_facts", "facts", "summary", "deliver", "serve", "commands", "__main__",
]  # fmt: skip
BANNED = {"bpy", "bmesh", "mathutils", "gpu", "addon"}
ONLY_IN = {"cvxopt": "cloth/factor.py", "ezdxf": "export/dxf.py"}


def imported_names(file: Path) -> set[str]:
    """Return what a file imports: layers of the engine by name, other packages by their first."""
    names = set()
    depth = len(file.relative_to(ENGINE).parts) - 1
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.level == 0:
            names.add((node.module or "").split(".")[0])
        elif isinstance(node, ast.ImportFrom) and node.level == depth + 1:
            first = (node.module or "").split(".")[0]
            names |= {first} if first else {alias.name for alias in node.names}
    return names


FILES = sorted(ENGINE.rglob("*.py"))


@pytest.mark.parametrize("file", FILES, ids=lambda file: str(file.relative_to(ENGINE)))
def test_engine_knows_no_blender_and_only_looks_down(file):
    names = imported_names(file)
    assert not names & BANNED, f"{file.name} imports {names & BANNED}"
    assert "flatten" not in names, "inside the engine imports are relative: it is carried in a zip"
    layer = file.relative_to(ENGINE).parts[0].removesuffix(".py")
    if layer == "__init__":
        assert not names - {"__future__"}, "importing the engine must stay quick"
        return
    assert layer in ORDER, f"{layer} has no place in the picture"
    above = set(ORDER[ORDER.index(layer) + 1 :])
    assert not names & above, f"{file.name} looks up to {names & above}"


@pytest.mark.parametrize(("package", "home"), ONLY_IN.items())
def test_a_solver_or_a_format_stays_in_its_own_file(package, home):
    users = [str(file.relative_to(ENGINE)) for file in FILES if package in imported_names(file)]
    assert users in ([], [home])


def test_every_layer_exists_and_folders_are_two_deep():
    there = {path.name.removesuffix(".py") for path in ENGINE.iterdir() if path.suffix != ".pyc"}
    assert there - {"__init__", "__pycache__"} <= set(ORDER)
    deep = [path for path in FILES if len(path.relative_to(ENGINE).parts) > 2]
    assert not deep
