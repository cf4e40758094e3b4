"""`mouldply printer`: measure a printer once, and every template comes out true."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from ..errors import InputError
from ..folder import write_whole
from .typed import MM_OR_UNIT, length_mm

if TYPE_CHECKING:
    from ..export.calibration import Calibration

STORE = "printers.json"
MOST_BYTES = 2**20
PRINTER_HELP = """\
Printers fit, shrink and stretch. Print the test sheet at 100 %, measure its square, tell it once:

  mouldply printer test --out test.pdf
  mouldply printer set workshop --x 99.4 --y 99.8
  mouldply run hatch.blend --printer workshop
"""


def add_parsers(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    printer = commands.add_parser(
        "printer",
        help="true-scale paper: test sheet and measured printers",
        description=PRINTER_HELP,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    steps = printer.add_subparsers(title="steps", metavar="STEP", required=True)
    test = steps.add_parser("test", help="write the test sheet")
    test.add_argument("--out", type=Path, required=True, metavar="FILE.pdf")
    test.add_argument("--sheet", default="A4", help="paper in the printer (default: A4)")
    test.set_defaults(command=test_command)
    keep = steps.add_parser("set", help="keep what the 100 mm square measures")
    keep.add_argument("name", help="the printer's name")
    for way, told in (("--x", "across the sheet"), ("--y", "along the sheet")):
        keep.add_argument(way, type=length_mm, required=True, metavar="MM", help=told + MM_OR_UNIT)
    keep.set_defaults(command=set_command)
    listed = steps.add_parser("list", help="list the printers kept")
    listed.set_defaults(command=list_command)


def test_command(given: argparse.Namespace) -> int:
    """Write the test sheet."""
    from ..export.paper import PaperSettings
    from ..export.templates import test_sheet_pdf

    content = test_sheet_pdf(PaperSettings(sheet=given.sheet))
    try:
        write_whole(given.out, content)
    except OSError as error:
        raise InputError(
            f"'{given.out}' cannot be written: {error.strerror}.", "Choose another place."
        ) from error
    print(f"{given.out}: print it at 100 %, measure the square both ways, then: printer set")
    return 0


def set_command(given: argparse.Namespace) -> int:
    """Keep a printer's measures."""
    from ..export.calibration import Calibration, printers_text, with_printer

    measured = Calibration(printer=given.name, x_mm=given.x, y_mm=given.y)
    text = printers_text(with_printer(kept_printers(), measured))
    file = store_file()
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        write_whole(file, text.encode())
    except OSError as error:
        raise InputError(
            f"'{file}' cannot be written: {error.strerror}.",
            "Choose another folder by the environment variable MOULDPLY_HOME.",
        ) from error
    print(f"Kept: {measured.printer}, {measured.x_mm:g} x {measured.y_mm:g} mm.")
    return 0


def list_command(given: argparse.Namespace) -> int:
    """Print the printers kept."""
    printers = kept_printers()
    for name in sorted(printers):
        print(f"{name}: 100 mm print as {printers[name].x_mm:g} x {printers[name].y_mm:g} mm")
    if not printers:
        print("No printers yet. Begin with: mouldply printer test --out test.pdf")
    return 0


def printer_named(name: str) -> Calibration:
    """Return a kept printer.

    Raises
    ------
    InputError : there is none of this name
    """
    printers = kept_printers()
    if name not in printers:
        known = ", ".join(sorted(printers)) or "none yet"
        raise InputError(
            f"There is no printer '{name}' (kept: {known}).",
            "Measure it: mouldply printer test, then printer set.",
        )
    return printers[name]


def kept_printers() -> Mapping[str, Calibration]:
    """Return the printers kept in the user's folder."""
    from ..export.calibration import read_printers

    file = store_file()
    if not file.is_file():
        return {}
    if file.stat().st_size > MOST_BYTES:
        raise InputError(f"'{file}' is too large to be ours.", "Move it away.")
    return read_printers(file.read_text(encoding="utf-8", errors="replace"))


def store_file() -> Path:
    """Return where printers are kept: MOULDPLY_HOME, else the system's usual folder."""
    if "MOULDPLY_HOME" in os.environ:
        return Path(os.environ["MOULDPLY_HOME"]) / STORE
    if os.name == "nt":
        home = Path(os.environ.get("APPDATA", Path.home()))
    elif sys.platform == "darwin":
        home = Path.home() / "Library" / "Application Support"
    else:
        home = Path(os.environ.get("XDG_CONFIG_HOME", Path.home() / ".config"))
    return home / "mouldply" / STORE
