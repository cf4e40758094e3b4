"""The lay-up sheet: one to three pages for the bench, readable with gloves on."""

from __future__ import annotations

from ..errors import InputError
from .canvas import Canvas
from .drawing import one_line
from .flow import Flow, Sizes
from .layup_facts import LayupSheet
from .paper import SHEETS_MM, PaperSettings
from .sheet_amounts import coats, code, estimate
from .sheet_mould import mould_check
from .sheet_parts import (
    batches,
    cautions,
    consumables,
    cutting,
    extras,
    findings,
    header,
    joints,
    key_facts,
    kits,
    mould,
    stack,
)
from .sheet_patterns import patterns
from .sheet_places import places

MARGIN_MM = 12.0
PARTS = (
    header,
    key_facts,
    mould,
    places,
    stack,
    code,
    batches,
    coats,
    cutting,
    consumables,
    cautions,
    patterns,
    joints,
    extras,
    mould_check,
    findings,
    estimate,
    kits,
)
# Tried from the largest pictures down; the first with the fewest pages is taken.
SIZES = tuple(
    Sizes(mould, pattern, row)
    for row in (12.5, 11.3)
    for mould in (100.0, 88.0, 76.0, 66.0, 56.0)
    for pattern in (74.0, 62.0, 54.0, 47.0)
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
    size = SHEETS_MM[name]
    counts = [_drawn(sheet, size, 0, sizes)[1] for sizes in SIZES]  # counts, draws nothing
    fewest = counts.index(min(counts))
    return _drawn(sheet, size, counts[fewest], SIZES[fewest])[0]


def _drawn(
    sheet: LayupSheet, size: tuple[float, float], pages: int, sizes: Sizes
) -> tuple[bytes, int]:
    canvas = Canvas(f"{sheet.part}: lay-up sheet")
    foot = ", ".join(filter(None, (one_line(sheet.part), "lay-up sheet", one_line(sheet.job))))
    flow = Flow(canvas, size, MARGIN_MM, foot, pages=pages, sizes=sizes)
    for part in PARTS:
        part(flow, sheet)
    count = flow.close()
    return canvas.bytes() if pages else b"", count
