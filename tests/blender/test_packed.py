"""The packed extension: installed from its zip, with only its own wheels, the whole way run."""

import json
import os
import platform
import shutil
import subprocess
import sys
import zipfile
from importlib.util import find_spec
from pathlib import Path

import pytest

from addon import build

ARM = platform.machine().lower() in ("arm64", "aarch64")
HERE = {
    "linux": "linux-x64",
    "win32": "windows-x64",
    "darwin": f"macos-{'arm64' if ARM else 'x64'}",
}
SCRIPT = Path(__file__).with_name("installed_way.py")


@pytest.fixture(scope="module")
def packed():
    """Build the zip for this machine; fetches the wheels once."""
    name = HERE[sys.platform]
    return build.build(name, json.loads(build.LOCK.read_text("utf-8"))[name])


def test_the_lock_names_wheels_of_both_pythons_for_every_platform():
    lock = json.loads(build.LOCK.read_text("utf-8"))
    assert set(lock) == {"linux-x64", "windows-x64", "macos-x64", "macos-arm64"}
    for wheels in lock.values():
        names = [wheel["file"] for wheel in wheels]
        assert not [name for name in names if name.startswith("numpy")]
        assert all(len(wheel["sha256"]) == 64 for wheel in wheels)
        for library in ("cvxopt", "shapely", "spyrrow", "pillow", "fast_simplification"):
            pythons = {n.split("-")[2] for n in names if n.lower().startswith(f"{library}-")}
            assert pythons == {"cp311", "cp313"}, library


def test_a_second_build_meanwhile_takes_nothing_from_the_first(monkeypatch, tmp_path):
    """The packer is replaced by one that, the first time, builds the same zip once more."""
    monkeypatch.setattr(build, "OUT", tmp_path)
    packed = []

    def pack(what, *options):
        if what != "build":
            return
        source, target = (Path(option.split("=", 1)[1]) for option in options)
        packed.append(source)
        if len(packed) == 1:
            build.build("linux-x64", [])
        assert 'version = "' in (source / "blender_manifest.toml").read_text("utf-8")
        assert (source / "flatten" / "__init__.py").is_file()
        target.write_bytes(b"zip")

    monkeypatch.setattr(build, "_pack", pack)
    built = build.build("linux-x64", [])

    assert len(set(packed)) == 2
    assert [file.name for file in tmp_path.iterdir()] == [built.name]  # nothing is left


@pytest.mark.slow
def test_the_zip_holds_add_on_engine_wheels_and_licences(packed):
    with zipfile.ZipFile(packed) as zipped:
        names = zipped.namelist()
        listed = zipped.read("LICENSES.md").decode()
        manifest = zipped.read("blender_manifest.toml").decode()
    assert packed.stat().st_size <= build.MOST_BYTES
    assert {"__init__.py", "LICENSE", "flatten/__init__.py", "languages/de.json"} <= set(names)
    assert not [name for name in names if name.startswith("wheels/numpy")]
    for wheel in (name for name in names if name.startswith("wheels/")):
        assert f'"./{wheel}"' in manifest
        library = wheel.removeprefix("wheels/").split("-")[0].replace("_", "-").lower()
        assert library in listed.replace("_", "-").lower()


@pytest.mark.slow
def test_installed_from_its_zip_it_goes_the_whole_way(packed, tmp_path):
    """Only bpy and numpy are visible, as in Blender; everything else must come from the zip."""
    visible = tmp_path / "visible"
    visible.mkdir()
    places = [Path(find_spec(name).origin).parent for name in ("bpy", "numpy")]
    places += list(places[1].parent.glob("numpy.libs"))
    for place in places:
        (visible / place.name).symlink_to(place)
    environment = {
        name: value
        for name, value in os.environ.items()
        if not name.startswith(("PYTHON", "BLENDER"))
    }
    environment |= {
        "PYTHONPATH": str(visible),
        "BLENDER_USER_RESOURCES": str(tmp_path / "user"),
        "PYTHONDONTWRITEBYTECODE": "1",
    }
    out = tmp_path / "cut"
    done = subprocess.run(
        [sys.executable, "-S", str(SCRIPT), str(packed), str(out)],
        capture_output=True, text=True, timeout=240, env=environment, cwd=tmp_path,
    )  # fmt: skip
    told = done.stdout + done.stderr
    assert "WENT THE WHOLE WAY" in told, told[-3000:]
    written = {file.name for file in out.iterdir()}
    assert {"patterns.dxf", "roll.dxf", "templates.pdf", "layup.pdf", "result.json"} <= written
    shutil.rmtree(tmp_path / "user", ignore_errors=True)
