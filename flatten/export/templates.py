"""Paper templates: true-size sheets to trim and tape, a map of them first."""

from __future__ import annotations

from collections.abc import Sequence

from ..errors import InputError
from ..pattern.pattern import Pattern
from ..progress import Progress, silent
from .canvas import INK, SOFT, Canvas
from .drawing import one_line
from .paper import SHEETS_MM, PaperSettings
from .template_map import draw_maps
from .template_sheet import SheetDrawing
from .tiles import TilePlan, plan_tiles


def templates_pdf(
    patterns: Sequence[Pattern],
    paper: PaperSettings,
    *,
    plan: TilePlan | None = None,
    progress: Progress = silent,
) -> bytes:
    """Return the templates as a PDF: first the map of the sheets, then the sheets.

    Every sheet shows its place, marks that meet when trimmed and taped, the strip under its
    neighbour and a 100 mm square, or two scales where no square is free. Sheets that would be
    empty are left out; small patterns share one. `plan`: that of `plan_tiles`, where it is known
    already.

    Raises
    ------
    InputError : no pattern, or more sheets than the paper settings allow
    """
    plan = plan or plan_tiles(patterns, paper)
    canvas = Canvas(f"{patterns[0].part}: templates")
    maps = draw_maps(canvas, plan, patterns, paper)
    done = 0
    for group in plan.groups:
        drawing = SheetDrawing(plan, group, paper)
        for tile in group.tiles:
            done += 1
            progress((done - 1) / plan.sheets, f"templates, sheet {done} of {plan.sheets}")
            drawing.draw(canvas, tile, number=done, maps=maps)
    progress(1.0, "templates")
    return canvas.bytes()


def test_sheet_pdf(paper: PaperSettings, *, printer: str = "") -> bytes:  # noqa: PT028
    """Return one page with a 100 mm square, to be measured after printing.

    It is drawn without correction, so that the measured lengths are the printer's own.
    """
    if not isinstance(paper, PaperSettings):
        raise InputError("The test sheet needs paper settings.", "Pass PaperSettings.")
    width, height = (paper.roll_width_mm, 297.0) if paper.roll_width_mm else SHEETS_MM[paper.sheet]
    canvas = Canvas("Printer test sheet")
    with canvas.page(width, height):
        _test_sheet(canvas, width, height, one_line(printer))
    return canvas.bytes()


test_sheet_pdf.__test__ = False  # type: ignore[attr-defined]  # no test, though named like one


def _test_sheet(canvas: Canvas, width: float, height: float, printer: str) -> None:
    left, top = 18.0, height - 22.0
    canvas.text(left, top, "Printer test sheet", 6.5, bold=True)
    canvas.text(left, top - 9, printer or "printer:  ______________________________", 3.2, SOFT)
    x, y = (width - 100) / 2, height / 2 - 42
    canvas.box(x, y, 100, 100, line=0.2)
    for tick in range(1, 100):
        length = 5.0 if tick % 10 == 0 else 3.0 if tick % 5 == 0 else 1.5
        canvas.line([(x + tick, y), (x + tick, y + length)], width=0.12)
        canvas.line([(x, y + tick), (x + length, y + tick)], width=0.12)
    for corner_x, corner_y in ((x, y), (x + 100, y), (x, y + 100), (x + 100, y + 100)):
        out_x, out_y = (1 if corner_x > x else -1), (1 if corner_y > y else -1)
        canvas.line([(corner_x, corner_y), (corner_x + 7 * out_x, corner_y)], width=0.2)
        canvas.line([(corner_x, corner_y), (corner_x, corner_y + 7 * out_y)], width=0.2)
    canvas.text(x + 50, y - 12, "x  =  __________ mm", 4, anchor="middle")
    canvas.text(x - 12, y + 50, "y  =  __________ mm", 4, anchor="middle", turn_deg=90)
    canvas.text(x + 50, y + 52, "100 mm", 5, anchor="middle", bold=True)
    canvas.text(x + 50, y + 44, "each way", 3.2, SOFT, anchor="middle")
    steps = (
        "Print at 100 % (actual size); no fitting, no shrinking to the page.",
        "Let the paper lie for a minute, then measure both sides of the square to 0.1 mm.",
        "Enter both lengths for this printer: every later template is corrected.",
        "More than 2 mm off: the printer is fitting to the page. Switch that off, print again.",
    )
    for i, step in enumerate(steps):
        row = y - 30 - 7.5 * i
        canvas.text(left, row, f"{i + 1}", 3.0, INK, bold=True)
        canvas.text(left + 7, row, step, 2.7, INK, most=width - 2 * left - 7)
