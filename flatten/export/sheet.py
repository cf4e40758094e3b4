"""The lay-up sheet: one to three pages for the bench, readable with gloves on."""

from __future__ import annotations

from ..errors import InputError
from .canvas import Canvas
from .drawing import one_line
from .flow import Flow
from .layup_facts import LayupSheet
from .paper import SHEETS_MM, PaperSettings
from .sheet_parts import (
    batches,
    cautions,
    consumables,
    cutting,
    findings,
    header,
    joints,
    key_facts,
    kits,
    mould,
    patterns,
    places,
    stack,
)

MARGIN_MM = 12.0
PARTS = (
    header,
    key_facts,
    mould,
    places,
    stack,
    batches,
    patterns,
    joints,
    cutting,
    findings,
    consumables,
    kits,
    cautions,
)


def layup_pdf(sheet: LayupSheet, paper: PaperSettings) -> bytes:
    """Return the lay-up sheet as a PDF on A4 or Letter (the paper's own size, if it is a sheet).

    Text is 11 point and more. A roll plotter gets A4 pages. Same facts, same bytes.

    Raises
    ------
    InputError : the sheet has no plies
    """
    if not sheet.stack:
        raise InputError(f"The lay-up sheet of '{sheet.part}' has no plies.", "Add a ply.")
    name = "Letter" if paper.sheet in ("Letter", "Tabloid") else "A4"
    pages = _drawn(sheet, SHEETS_MM[name], 0)[1]  # a first time to count the pages
    return _drawn(sheet, SHEETS_MM[name], pages)[0]


def _drawn(sheet: LayupSheet, size: tuple[float, float], pages: int) -> tuple[bytes, int]:
    canvas = Canvas(f"{sheet.part}: lay-up sheet")
    foot = ", ".join(filter(None, (one_line(sheet.part), "lay-up sheet", one_line(sheet.job))))
    flow = Flow(canvas, size, MARGIN_MM, foot, pages)
    for part in PARTS:
        part(flow, sheet)
    count = flow.close()
    return canvas.bytes(), count
