"""`mouldply report`: what is needed to look into a fault, in one zip, nothing private in it."""

from __future__ import annotations

import argparse
import getpass
import io
import json
import platform
import re
import sys
import tempfile
import zipfile
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

from .. import __version__
from ..errors import InputError
from ..folder import write_whole

HELP = """\
Pack a job, the versions in use and the logs into one zip, to go with a bug report. Names of
users, machines and folders are taken out; look into the zip before you send it. The mould itself
is in it: if that must not be seen, make the fault happen on another mould.

  mouldply report my_job/
  mouldply report hatch.blend --out fault.zip
"""
LIBRARIES = (
    "numpy", "cvxopt", "shapely", "spyrrow", "ezdxf", "reportlab", "fast-simplification", "rich",
    "bpy",
)  # fmt: skip
LOGS = ("error.json", "progress.jsonl", "result.json")
LARGEST_LOG = 16 * 2**20  # bytes; the end of a longer one is kept
STAMP = (2020, 1, 1, 0, 0, 0)  # of every file in the zip: same job, same bytes
# A folder of a person or a machine, on any system: cut down to the last name in it.
PATHS = re.compile(r"(?<![\w.])(?:[A-Za-z]:[\\/]+|\\\\+|~?/)(?:[^\n'\"<>|:*?\\/]+[\\/]+)+")
# The same for a file's folders as they were typed, which begin anywhere: between quotes.
QUOTED = re.compile(r"(?<=')(?:[^'\n\\/]+[\\/]+)+(?=[^'\n\\/]+\.\w+')")


def add_parsers(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    report = commands.add_parser(
        "report",
        help="pack a job, versions and logs for a bug report",
        description=HELP,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    report.add_argument("mould", type=Path, help="a .blend file or a job folder")
    report.add_argument("--out", type=Path, metavar="FILE", help="the zip")
    report.set_defaults(command=report_command)


def report_command(given: argparse.Namespace) -> int:
    """Gather, clean, pack."""
    file = given.out or Path(f"{given.mould.resolve().stem} report.zip")  # `.` has no name
    parts = {"versions.json": json.dumps(versions(), indent=1).encode()}
    parts |= _job_files(given.mould)
    parts |= _logs(given.mould)
    try:
        packed = io.BytesIO()
        with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as made:
            for name, content in sorted(parts.items()):
                made.writestr(zipfile.ZipInfo(name, STAMP), content, zipfile.ZIP_DEFLATED)
        write_whole(file, packed.getvalue())
    except OSError as error:
        raise InputError(
            f"'{file}' cannot be written: {error.strerror}.", "Choose another file with --out."
        ) from error
    print(f"{file}: {', '.join(sorted(parts))}. Look into it before you send it.")
    return 0


def versions() -> dict[str, str]:
    """Return the versions in use and the kind of system; no names of machine or user."""
    found = {
        "mouldply": __version__,
        "python": platform.python_version(),
        "system": f"{platform.system()} {platform.machine()}",
    }
    for name in LIBRARIES:
        try:
            found[name] = version(name)
        except PackageNotFoundError:
            found[name] = "not installed"
    return found


def without_private(text: str) -> str:
    """Return the text without folders, the user's name and the machine's, in any case.

    A name is found between letters and figures of other words: `anna` in `anna_boat`, not in
    `annals`.
    """
    text = QUOTED.sub("", PATHS.sub("", text))
    node = platform.node()
    for word in {getpass.getuser(), Path.home().name, node, node.split(".")[0]}:
        if len(word) > 2:
            alone = rf"(?<![^\W_]){re.escape(word)}(?![^\W_])"
            text = re.sub(alone, "(removed)", text, flags=re.IGNORECASE)
    return text


def _job_files(mould: Path) -> dict[str, bytes]:
    """Return the job folder's files; of a mould that cannot be read the error instead."""
    from ..job import ARRAY_FILE, JOB_FILE, save_job
    from .run import read_mould

    if mould.is_dir() and not (mould / JOB_FILE).is_file():
        raise InputError(f"'{mould}' is no job folder.", "Choose a .blend file or a job folder.")
    try:
        job = read_mould(mould)
        with tempfile.TemporaryDirectory(prefix="mouldply-") as folder:
            save_job(job, Path(folder))
            text = (Path(folder) / JOB_FILE).read_text(encoding="utf-8")
            arrays = (Path(folder) / ARRAY_FILE).read_bytes()
    except InputError as error:
        if not mould.exists():
            raise
        told = f"{type(error).__name__}: {error}\nPython {sys.version_info[:3]}\n"
        return {"unreadable.txt": without_private(told).encode()}
    clean = json.dumps(_values_clean(json.loads(text)), indent=1, ensure_ascii=False)
    return {f"job/{JOB_FILE}": clean.encode(), f"job/{ARRAY_FILE}": arrays}


def _values_clean(value: Any) -> Any:
    """Return a JSON value with its texts cleaned; its keys are ours: a user may be called max."""
    if isinstance(value, str):
        return without_private(value)
    if isinstance(value, list):
        return [_values_clean(one) for one in value]
    if isinstance(value, dict):
        return {key: _values_clean(one) for key, one in value.items()}
    return value


def _logs(mould: Path) -> dict[str, bytes]:
    """Return the logs beside the job and in the folder its results went to."""
    homes = (mould, mould / "cut") if mould.is_dir() else (mould.with_name(f"{mould.stem} cut"),)
    found = {}
    for home in homes:
        for name in LOGS:
            file = home / name
            if file.is_file():
                raw = file.read_bytes()[-LARGEST_LOG:]
                text = without_private(raw.decode("utf-8", errors="replace"))
                found[f"log/{name}"] = text.encode()
    return found
