"""Printers and what their 100 mm square measures: kept as text, so that templates come out true."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, replace

from ..errors import InputError
from ..records import from_plain, to_plain
from .drawing import one_line
from .paper import PaperSettings, refuse_scale

FORMAT, VERSION = "mouldply printers", 1
MOST_PRINTERS = 1000


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibration:
    """What the test sheet's 100 mm square measures on one printer, across and along the paper."""

    printer: str
    x_mm: float
    y_mm: float

    def __post_init__(self) -> None:
        """Refuse a printer without a name, and lengths more than 2 % off."""
        if not one_line(self.printer):
            raise InputError("The printer has no name.", "Name it.")
        object.__setattr__(self, "printer", one_line(self.printer))
        refuse_scale("x", self.x_mm)
        refuse_scale("y", self.y_mm)


def calibrated(paper: PaperSettings, calibration: Calibration) -> PaperSettings:
    """Return the paper corrected for this printer."""
    return replace(paper, scale_x=calibration.x_mm / 100, scale_y=calibration.y_mm / 100)


def with_printer(
    printers: Mapping[str, Calibration], calibration: Calibration
) -> dict[str, Calibration]:
    """Return the store with one printer added or measured anew."""
    return {**printers, calibration.printer: calibration}


def printers_text(printers: Mapping[str, Calibration]) -> str:
    """Return the store as JSON text; the caller chooses where it is kept."""
    ordered = [to_plain(printers[name]) for name in sorted(printers)]
    data = {"format": FORMAT, "version": VERSION, "printers": ordered}
    return json.dumps(data, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def read_printers(text: str) -> dict[str, Calibration]:
    """Return the printers kept in a text written by `printers_text`.

    Raises
    ------
    InputError : not such a text, a newer version, a scale no printer has
    """
    try:
        data = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise InputError(
            f"The list of printers is damaged: {error}.", "Print the test sheet again."
        ) from error
    if not isinstance(data, dict) or data.get("format") != FORMAT:
        raise InputError("This is not a list of printers.", "Choose the file written before.")
    if data.get("version") != VERSION:
        raise InputError(
            f"The list of printers has version {data.get('version')}; this one reads {VERSION}.",
            "Update mouldply.",
        )
    rows = data.get("printers")
    if not isinstance(rows, list) or len(rows) > MOST_PRINTERS:
        raise InputError("The list of printers is damaged.", "Print the test sheet again.")
    read = [from_plain(Calibration, row, "printer") for row in rows]
    return {calibration.printer: calibration for calibration in read}
