"""DEVELOPERS.md is true to the code, and the house keeps the rules it states."""

import ast
import re
import subprocess
from collections import Counter
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose
from sample_jobs import dish_job
from shapes import sheet
from test_layers import ORDER

from flatten.job import save_job

ROOT = Path(__file__).parents[1]
PAGE = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
ROOMS = ("flatten", "addon", "tests", "blend_samples")
FILES = [file for room in ROOMS for file in sorted((ROOT / room).rglob("*.py"))]
LONG = 300  # lines: read in one sitting


def docstring(file: Path) -> str:
    return ast.get_docstring(ast.parse(file.read_text(encoding="utf-8"))) or ""


def test_a_file_says_what_it_is_for_and_a_long_one_why_it_is_long():
    for file in FILES:
        lines = len(file.read_text(encoding="utf-8").splitlines())
        told = docstring(file)
        assert told or not lines, f"{file} does not say what it is for"
        if lines > LONG:
            assert "Longer than most files: " in told.replace("\n", " "), (
                f"{file} has {lines} lines"
            )


def test_the_picture_of_dependencies_holds_every_layer_in_its_place():
    """Read from the top: what stands higher in the picture never stands lower in the test."""
    picture = re.search(r"From the top:\n\n((?: {4}.*\n)+)", PAGE)[1]
    row_of = {
        name: number
        for number, row in enumerate(reversed(picture.splitlines()))
        for name in re.findall(r"\w+", re.split(r" {3,}", row.strip())[0])
    }
    drawn = [name for name in ORDER if not name.startswith("verify_")]  # parts of verify

    assert set(drawn) == set(row_of) - {"people"}
    rows = [row_of[name] for name in drawn]
    assert rows == sorted(rows)


def test_files_and_rooms_named_on_the_page_are_there():
    known = {file.name for file in FILES} | {"tasks.py", "deliver"}
    for name in re.findall(r"`(?:[\w/]*/)?(\w+\.(?:py|json|npz))`", PAGE):
        written = {"result.json", "layouts.json", "drape.npz"}
        assert name in known | written | {"NAME.py"} or list(ROOT.glob(f"*/**/{name}")), name
    for path in re.findall(r"`((?:flatten|addon|tests|blend_samples)/[\w/.]*)`", PAGE):
        assert (ROOT / path.replace("NAME.py", "")).exists(), path


def test_every_room_of_the_engine_is_on_the_map():
    for room in sorted((ROOT / "flatten").iterdir()):
        if room.is_dir() and (room / "__init__.py").is_file():
            assert f"`flatten/{room.name}/`" in PAGE or f"`{room.name}/`" in PAGE, room.name


def test_draping_without_a_job_runs_as_written():
    """On a flat sheet the pattern is the sheet, its tack point at the origin."""
    code = re.findall(r"```python\n(.*?)```", PAGE, re.DOTALL)[0]
    flat = sheet(lambda u, v: (u, v, 0 * u), np.linspace(0, 100, 6), np.linspace(0, 60, 4))
    told = {"vertices": flat.vertices, "faces": flat.faces}

    exec(code, told)

    drape = told["drape"]
    assert_allclose(drape.flat, flat.vertices[:, :2], atol=1e-6)
    assert drape.strain.shape == (len(flat.faces), 3)
    assert drape.settled.all()


def test_the_files_of_a_job_are_had_as_written(tmp_path):
    code = re.findall(r"```python\n(.*?)```", PAGE, re.DOTALL)[1]
    save_job(dish_job(), tmp_path / "job")
    told = {"folder": tmp_path / "job"}

    exec(code, told)

    assert set(told["files"]) > {"patterns.dxf", "templates.pdf", "roll.dxf"}
    assert "result.json" not in told["files"]
    assert all(isinstance(content, bytes) for content in told["files"].values())


def unpacked(content: bytes) -> bytes:
    """Return what a compressed .blend holds, anything else as it is."""
    if not content.startswith(b"\x28\xb5\x2f\xfd"):
        return content
    packer = pytest.importorskip("zstandard").ZstdDecompressor()
    return packer.stream_reader(content, read_across_frames=True).read()


def test_nothing_kept_in_git_tells_of_the_machine_it_was_made_on():
    """No home folder of a person stands in what is kept; examples of such paths do in tests."""
    try:
        kept = subprocess.run(
            ["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, check=True, text=True
        ).stdout.split("\0")
    except (OSError, subprocess.CalledProcessError):
        pytest.skip("not a checkout")
    private = re.compile(rb"(?:/home/|/Users/|C:\\Users\\)\w|/root\b")
    for name in filter(None, kept):
        if name.startswith("tests/") or not (ROOT / name).is_file():
            continue
        found = private.search(unpacked((ROOT / name).read_bytes()))
        assert found is None, f"{name}: {found[0]!r}"


# What the engine offers as a library, as the page says; nothing of ours calls it.
LIBRARY = {"files_of"}


def test_what_the_engine_defines_is_used():
    """A public name that stands once, where it is made, is dead or belongs to the list above."""
    rooms = (ROOT / "flatten", ROOT / "addon", ROOT / "blend_samples")
    sources = [file for room in rooms for file in room.rglob("*.py")]
    words = Counter(
        word for file in sources for word in re.findall(r"\w+", file.read_text(encoding="utf-8"))
    )
    for file in sorted((ROOT / "flatten").rglob("*.py")):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.FunctionDef | ast.ClassDef):
                names = [node.name]
            elif isinstance(node, ast.Assign):
                names = [one.id for one in node.targets if isinstance(one, ast.Name)]
            else:
                continue
            for name in names:
                if name.startswith("__") or name in LIBRARY:
                    continue
                assert words[name] > 1, f"{file.name}: {name}"
    assert all(words[name] == 1 for name in LIBRARY), "gone, or called: strike it from the list"
    assert all(re.search(rf"\b{name}\b", PAGE) for name in LIBRARY), "say on the page what it does"
