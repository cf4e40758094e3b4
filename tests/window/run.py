"""Run a script of this folder in a real Blender window, with the packed extension installed.

    BLENDER=/path/to/blender python3 tests/window/run.py whole_way --out out/window

BLENDER       the program; otherwise `blender` of the search path
MOULDPLY_ZIP  the extension; otherwise the zip for this system in out/build
MOULDPLY_USER Blender's user folder; otherwise an empty one that is removed afterwards

Without a screen (Linux) it starts Xvfb and ends it again. Exit code 0: the script went through;
1: it failed, or took too long. A green exit says nothing about beauty: look at the pictures.
"""

from __future__ import annotations

import argparse
import os
import platform
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
# Software drawing would take every processor from the worker; a graphics card takes none.
ONE_PROCESSOR = {"LP_NUM_THREADS": "1"}


def main() -> int:
    """Read the command line and run."""
    asked = argparse.ArgumentParser(description=__doc__.split("\n\n")[0])
    asked.add_argument("script", choices=sorted(_scripts()))
    asked.add_argument("--out", type=Path, default=ROOT / "out" / "window")
    asked.add_argument("--size", default="1600x1000", help="of the window, in pixels")
    asked.add_argument("--scale", type=float, default=1.0, help="of the interface")
    asked.add_argument("--language", default="", help="de for German")
    asked.add_argument("--blend", type=Path, help="file to open; otherwise an empty one")
    asked.add_argument("--limit", type=float, default=1200.0, help="seconds for everything")
    given = asked.parse_args()
    program = os.environ.get("BLENDER") or shutil.which("blender")
    if not program:
        asked.error("no Blender: set BLENDER to the program.")
    extension = Path(os.environ.get("MOULDPLY_ZIP") or _own_zip())
    if not extension.is_file():
        asked.error(f"no extension at {extension}: run `python3 tasks.py build` first.")
    given.out.mkdir(parents=True, exist_ok=True)
    with _user_folder() as user, _screen(given.size) as display:
        settings = {
            "BLENDER_USER_RESOURCES": str(user),
            "MOULDPLY_ZIP": str(extension.resolve()),
            "WINDOW_SCRIPT": str(HERE / f"{given.script}.py"),
            "WINDOW_OUT": str(given.out.resolve()),
            "WINDOW_SCALE": str(given.scale),
            "WINDOW_LANGUAGE": given.language,
            "PYTHONUNBUFFERED": "1",
        } | display
        return _run(_command(program, given), settings, given)


def _scripts() -> list[str]:
    others = {"run", "driver", "hands"}
    return [file.stem for file in HERE.glob("*.py") if file.stem not in others]


def _own_zip() -> Path:
    system = {"Linux": "linux", "Darwin": "macos", "Windows": "windows"}[platform.system()]
    chip = "arm64" if platform.machine().lower() in ("arm64", "aarch64") else "x64"
    found = sorted((ROOT / "out" / "build").glob(f"mouldply-*-{system}-{chip}.zip"))
    return found[-1] if found else ROOT / "out" / "build" / f"mouldply-{system}-{chip}.zip"


def _command(program: str, given: argparse.Namespace) -> list[str]:
    width, height = given.size.split("x")
    command = [program, "--factory-startup", "--no-window-focus", "--enable-event-simulate"]
    command += ["--window-geometry", "0", "0", width, height]
    if given.blend:
        command.append(str(given.blend.resolve()))
    hide = "import bpy; bpy.context.preferences.view.show_splash = False"
    return [*command, "--python-expr", hide, "--python", str(HERE / "driver.py")]


def _run(command: list[str], settings: dict[str, str], given: argparse.Namespace) -> int:
    """Start Blender, wait for it, show what it printed."""
    log = given.out / f"{given.script}.log"
    with log.open("wb") as printed:
        blender = subprocess.Popen(
            command, env=os.environ | settings, stdin=subprocess.DEVNULL, stdout=printed,
            stderr=subprocess.STDOUT,
        )  # fmt: skip
        try:
            code = blender.wait(given.limit)
        except subprocess.TimeoutExpired:
            blender.kill()
            blender.wait()
            code = -1
    text = log.read_text("utf-8", errors="replace")
    print(text[-6000:])
    if code == -1:
        print(f"Not done after {given.limit:.0f} s.", file=sys.stderr)
    return 0 if "WINDOW SCRIPT DONE" in text else 1


@contextmanager
def _user_folder() -> Iterator[Path]:
    kept = os.environ.get("MOULDPLY_USER")
    if kept:
        yield Path(kept).resolve()
        return
    made = Path(tempfile.mkdtemp(prefix="mouldply-window-"))
    try:
        yield made
    finally:
        shutil.rmtree(made, ignore_errors=True)


@contextmanager
def _screen(size: str) -> Iterator[dict[str, str]]:
    """Give the environment of a screen: the one there is, or Xvfb with software drawing."""
    if platform.system() != "Linux" or os.environ.get("DISPLAY"):
        yield {}
        return
    if not shutil.which("Xvfb"):
        sys.exit("No screen: set DISPLAY, or install Xvfb.")
    for number in range(31, 99):
        command = ["Xvfb", f":{number}", "-screen", "0", f"{size}x24", "+extension", "GLX"]
        server = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        time.sleep(1.5)
        if server.poll() is None:
            break
    else:
        sys.exit("Xvfb does not start.")
    try:
        yield {
            "DISPLAY": f":{number}",
            "LIBGL_ALWAYS_SOFTWARE": "1",
            "WAYLAND_DISPLAY": "",
        } | ONE_PROCESSOR
    finally:
        server.terminate()
        server.wait()


if __name__ == "__main__":
    sys.exit(main())
