"""Small jobs beside the worker: each in a process of its own, looked at by a timer.

Nothing here needs a mould. The PDF writer alone takes a third of a second to import: too long
for a window to stand still.
"""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from . import engine

LOOK_S = 0.1
CODE = {  # what the process runs; its arguments are sys.argv[1:]
    "test_sheet": (
        "import sys; from pathlib import Path;"
        "from flatten.export.paper import PaperSettings;"
        "from flatten.export.templates import test_sheet_pdf;"
        "wide = float(sys.argv[3]) or None;"
        "paper = PaperSettings(sheet=sys.argv[2], roll_width_mm=wide);"
        "Path(sys.argv[1]).write_bytes(test_sheet_pdf(paper))"
    )
}


def write_test_sheet(file: Path, sheet: str, roll_width_mm: float | None) -> None:
    """Write the test sheet here and now.

    Raises
    ------
    InputError : the file cannot be written
    """
    paper = engine.load("export.paper").PaperSettings(sheet=sheet, roll_width_mm=roll_width_mm)
    content = engine.load("export.templates").test_sheet_pdf(paper)
    try:
        file.write_bytes(content)
    except OSError as error:
        raise engine.load("errors").InputError(
            f"'{file}' cannot be written: {error.strerror}.", "Choose another place."
        ) from error


def start(name: str, arguments: Sequence[Any], ended: Callable[[int], None]) -> None:
    """Start a job; `ended` hears its exit code once it is done."""
    import bpy

    from .worker import environment

    process = subprocess.Popen(
        [sys.executable, "-s", "-c", CODE[name], *map(str, arguments)],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        env=environment(),
        creationflags=getattr(subprocess, "CREATE_NO_WINDOW", 0),
        cwd=os.path.expanduser("~"),
    )

    def look() -> float | None:
        code = process.poll()
        if code is None:
            return LOOK_S
        ended(code)
        return None

    bpy.app.timers.register(look, first_interval=LOOK_S)
