"""The wheels the extension carries: chosen once into carried.json, then fetched by their digest."""

from __future__ import annotations

import hashlib
import subprocess
import sys
import tempfile
from pathlib import Path

PYTHONS = ("3.11", "3.13")  # inside Blender 4.2 to 5.0, and from 5.1 on
# numpy comes with Blender. ezdxf and fonttools have a pure wheel that serves every platform.
COMPILED = ("cvxopt", "shapely", "spyrrow", "pillow", "fast-simplification")
PURE = ("ezdxf", "fonttools", "pyparsing", "typing_extensions", "reportlab", "charset-normalizer")
# First the tags every system runs that Blender itself runs on (glibc 2.28, macOS 11.2); where a
# library has no wheel for those, newer systems one after the other.
TAGS = {
    "linux-x64": (
        [f"manylinux_2_{minor}_x86_64" for minor in (17, 24, 26, 27, 28)]
        + ["manylinux2014_x86_64"],
        [],
    ),
    "windows-x64": (["win_amd64"], []),
    "macos-x64": (
        [f"macosx_{v}_x86_64" for v in ("10_9", "10_12", "10_13", "10_15", "11_0")],
        [f"macosx_{v}_x86_64" for v in ("12_0", "13_0", "14_0", "15_0")],
    ),
    "macos-arm64": (
        ["macosx_11_0_arm64"],
        [f"macosx_{v}_arm64" for v in ("12_0", "13_0", "14_0", "15_0")],
    ),
}


def choose(cache: Path) -> dict[str, list[dict[str, str]]]:
    """Return platform -> wheels, the newest version each, as carried.json holds them."""
    lock: dict[str, list[dict[str, str]]] = {}
    for platform, tags in TAGS.items():
        files = [_choose(name, cache, (["any"], []), PYTHONS[0]) for name in PURE]
        files += [_choose(name, cache, tags, python) for name in COMPILED for python in PYTHONS]
        rows = {file.name: {"file": file.name, "sha256": digest(file)} for file in files}
        lock[platform] = [rows[name] for name in sorted(rows)]
    return lock


def fetch(wheel: dict[str, str], cache: Path) -> Path:
    """Return the wheel's file from the cache, fetched from PyPI if need be; refuse another one."""
    file = cache / wheel["file"]
    if not file.is_file():
        name, version, python, abi, platforms = _parts(wheel["file"])
        number = f"{python[2]}.{python[3:]}" if python.startswith("cp") else PYTHONS[0]
        tags = platforms.split(".")
        cache.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(prefix="fetch-", dir=cache) as own:  # whole or not there
            fresh = Path(own) / wheel["file"]
            if not _download(f"{name}=={version}", Path(own), tags, number, abi) or (
                not fresh.is_file()
            ):
                raise SystemExit(f"{wheel['file']} cannot be fetched. Run --relock to choose anew.")
            fresh.replace(file)
    if digest(file) != wheel["sha256"]:
        raise SystemExit(f"{file} is not the wheel carried.json names. Delete it and try again.")
    return file


def digest(file: Path) -> str:
    """Return the SHA-256 of a file."""
    return hashlib.sha256(file.read_bytes()).hexdigest()


def _choose(name: str, cache: Path, tags: tuple[list[str], list[str]], python: str) -> Path:
    """Download for the systems Blender runs on, or for as few newer ones as will do."""
    base, newer = tags
    fresh = cache / f"choose-{name}-{python}-{base[0]}"
    for count in range(len(newer) + 1):
        if _download(name, fresh, [*base, *newer[:count]], python, f"cp{python.replace('.', '')}"):
            found = next(fresh.glob("*.whl"))
            kept = found.replace(cache / found.name)
            fresh.rmdir()
            return kept
    raise SystemExit(f"There is no wheel of {name} for Python {python} on {base[0]} or newer.")


def _download(what: str, folder: Path, tags: list[str], python: str, abi: str) -> bool:
    folder.mkdir(parents=True, exist_ok=True)
    platforms = [f"--platform={tag}" for tag in tags]
    command = [
        sys.executable, "-m", "pip", "download", "--quiet", "--no-deps", "--only-binary=:all:",
        "--implementation=cp", f"--python-version={python}", f"--abi={abi}", "--abi=abi3",
        "--abi=none", f"--dest={folder}", *platforms, what,
    ]  # fmt: skip
    return subprocess.run(command, capture_output=True).returncode == 0


def _parts(file: str) -> list[str]:
    """Return name, version, Python, ABI and platforms from a wheel's file name (PEP 427)."""
    return file.removesuffix(".whl").split("-")
