"""Pack the extension: add-on, engine and wheels for each platform, checked by Blender's own packer.

`python -m addon.build [PLATFORM ...]` writes out/build/mouldply-VERSION-PLATFORM.zip. The wheels
are those of `carried.json`, unmodified, each checked against its digest there; they are fetched
once into out/build/wheels. `python -m addon.build --relock` chooses the newest wheels anew.
"""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
import tempfile
import zipfile
from email.parser import Parser
from importlib.util import find_spec
from pathlib import Path

from . import carried

HERE = Path(__file__).resolve().parent
ROOT = HERE.parent
OUT = ROOT / "out" / "build"
LOCK = HERE / "carried.json"
# The checkout's own tools and the command line's reader have no place in the extension.
LEFT_OUT = {
    "build.py", "carried.py", "carried.json", "blend_reader.py", "guide", "__pycache__",
}  # fmt: skip
# Where a wheel's metadata states its licence too vaguely: read from the licence text inside it.
STATED = {"cvxopt": "GPL-3.0-or-later", "spyrrow": "MIT", "reportlab": "BSD-3-Clause"}
MOST_BYTES = 100 * 2**20


def main(arguments: list[str]) -> int:
    """Build the zips for these platforms, or all."""
    if arguments == ["--relock"]:
        LOCK.write_text(json.dumps(carried.choose(OUT / "wheels"), indent=1) + "\n", "utf-8")
        return 0
    lock = json.loads(LOCK.read_text("utf-8"))
    unknown = [name for name in arguments if name not in lock]
    if unknown:
        print(f"There is no platform '{unknown[0]}': {', '.join(lock)}.", file=sys.stderr)
        return 2
    for platform in arguments or lock:
        zip_file = build(platform, lock[platform])
        print(f"{zip_file.relative_to(ROOT)}: {zip_file.stat().st_size / 2**20:.1f} MB")
    return 0


def build(platform: str, wheels: list[dict[str, str]]) -> Path:
    """Return the validated zip for one platform."""
    files = [carried.fetch(wheel, OUT / "wheels") for wheel in wheels]
    target = OUT / f"mouldply-{version()}-{platform}.zip"
    with tempfile.TemporaryDirectory(prefix="stage-", dir=OUT) as own:  # another build may run
        stage, packed = Path(own) / platform, Path(own) / target.name
        stage_sources(stage)
        (stage / "wheels").mkdir()
        for file in files:
            shutil.copy2(file, stage / "wheels")
        (stage / "LICENSES.md").write_text(licences(files), "utf-8")
        (stage / "blender_manifest.toml").write_text(manifest(platform, files), "utf-8")
        _pack("build", f"--source-dir={stage}", f"--output-filepath={packed}")
        _pack("validate", str(packed))
        size = packed.stat().st_size
        if size > MOST_BYTES:
            raise SystemExit(f"{target.name} has {size / 2**20:.0f} MB; 100 at most.")
        packed.replace(target)
    return target


def stage_sources(stage: Path) -> None:
    """Copy add-on, engine and licence; the engine goes inside, as `flatten`."""
    ignore = shutil.ignore_patterns(*LEFT_OUT)
    shutil.copytree(HERE, stage, ignore=ignore)
    shutil.copytree(
        ROOT / "flatten", stage / "flatten", ignore=shutil.ignore_patterns("__pycache__")
    )
    shutil.copy2(ROOT / "LICENSE", stage)


def manifest(platform: str, files: list[Path]) -> str:
    """Return the manifest with version, platform and wheels filled in."""
    text = (HERE / "blender_manifest.toml").read_text("utf-8")
    head, rest = text.split("\n[permissions]", 1)
    listed = "".join(f'  "./wheels/{file.name}",\n' for file in files)
    own = f'version = "{version()}"\nplatforms = ["{platform}"]\nwheels = [\n{listed}]\n'
    return f"{head}\n{own}\n[permissions]{rest}"


def licences(files: list[Path]) -> str:
    """Return the list of everything carried, with its licence as its own metadata states it."""
    lines = [
        "# Licences",
        "",
        "mouldply itself: GPL-3.0-or-later (LICENSE). It carries these libraries unmodified, as",
        "published on PyPI; the full licence texts are inside each wheel.",
        "",
        "| Library | Version | Licence |",
        "|---|---|---|",
    ]
    rows = {_licence_row(file) for file in files}
    fonts = sorted((ROOT / "flatten").glob("export/fonts/*"))
    notes = [
        f"- `flatten/export/fonts/{file.name}`" for file in fonts if "LICEN" in file.name.upper()
    ]
    return "\n".join(
        [*lines, *sorted(rows), "", "Fonts, with their licences beside them:", *notes, ""]
    )


def version() -> str:
    """Return the project's version."""
    for line in (ROOT / "flatten" / "__init__.py").read_text("utf-8").splitlines():
        if line.startswith("__version__"):
            return line.split('"')[1]
    raise SystemExit("flatten/__init__.py states no __version__.")


def _licence_row(file: Path) -> str:
    with zipfile.ZipFile(file) as packed:
        name = next(n for n in packed.namelist() if n.endswith(".dist-info/METADATA"))
        facts = Parser().parsestr(packed.read(name).decode("utf-8"))
    stated = (
        STATED.get(facts["Name"].lower())
        or facts.get("License-Expression")
        or (facts.get("License") or "").split("\n")[0]
    )
    if not stated or len(stated) > 60:
        classifiers = facts.get_all("Classifier") or []
        stated = next((c.split(" :: ")[-1] for c in classifiers if "License" in c), "see the wheel")
    return f"| {facts['Name']} | {facts['Version']} | {stated} |"


def _pack(*arguments: str) -> None:
    """Run the packer that comes inside the bpy module."""
    found = find_spec("bpy")
    if found is None or found.origin is None:
        raise SystemExit("The packer comes with the bpy module: pip install 'mouldply[blender]'.")
    packer = next(Path(found.origin).parent.rglob("bl_pkg/cli/blender_ext.py"))
    done = subprocess.run([sys.executable, str(packer), *arguments], capture_output=True, text=True)
    if done.returncode:
        raise SystemExit(f"Blender's packer refuses:\n{done.stdout}{done.stderr}")


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
