"""First pages of the templates: all sheets at small scale, and how to put them together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from ..pattern.pattern import Pattern
from .canvas import ACCENT, INK, PALE, SOFT, WASH, WHITE, Canvas, wrapped
from .fonts import width_mm
from .layers import ARROW, CUT, NET, NOTCH, TACK
from .paper import SHEETS_MM, PaperSettings
from .pattern_drawing import CHECK_MM
from .tiles import Group, TilePlan

GAP_MM = 6.0  # between two maps
MAP_MM = 50.0  # height of one map with its title
STEPS = (
    "Print all sheets at 100 % (actual size), never fitted to the page.",
    "Measure the square on the left: 100 mm in both directions. If not, stop: calibrate the "
    "printer with the test sheet.",
    "Trim the edges marked on each sheet.",
    "Lay sheet on sheet up to the dashed line: the diamonds must meet. Tape.",
    "Cut the paper along the thick line and lay it on the cloth, arrow along the warp.",
)


def draw_maps(
    canvas: Canvas, plan: TilePlan, patterns: Sequence[Pattern], paper: PaperSettings
) -> int:
    """Draw the map pages and return how many; the first carries the instructions."""
    width, height = _page(paper)
    margin = paper.margin_mm
    across, along = 1 / paper.scale_x, 1 / paper.scale_y
    room_x = (width - 2 * margin) * min(1.0, paper.scale_x)
    room_y = (height - 2 * margin) * min(1.0, paper.scale_y)
    pages = _pages(plan, room_x, room_y)
    first, count = {}, 1
    for group in plan.groups:
        first[group.number] = count
        count += len(group.tiles)
    for number, groups in enumerate(pages):
        with canvas.page(width, height), canvas.placed(margin, margin, across, along):
            top = _heading(canvas, plan, patterns, paper, room_x, room_y, number, len(pages))
            bottom = _instructions(canvas, room_x) if number == 0 else 0.0
            _draw_groups(canvas, groups, first, room_x, bottom, top)
    return len(pages)


def _page(paper: PaperSettings) -> tuple[float, float]:
    if paper.roll_width_mm is not None:
        return min(paper.roll_width_mm, 297.0), 297.0  # no more paper than it needs
    return SHEETS_MM[paper.sheet]


def _pages(plan: TilePlan, room_x: float, room_y: float) -> list[list[Group]]:
    """Return the groups of each map page: the first has less room."""
    columns = _columns(room_x)
    first = max(int((room_y - 30 - CHECK_MM - 16 + GAP_MM) / (MAP_MM + GAP_MM)), 1) * columns
    later = max(int((room_y - 30 + GAP_MM) / (MAP_MM + GAP_MM)), 1) * columns
    groups = list(plan.groups)
    pages = [groups[:first]]
    rest = groups[first:]
    while rest:
        pages.append(rest[:later])
        rest = rest[later:]
    return pages


def _columns(room_x: float) -> int:
    return max(int((room_x + GAP_MM) / (88.0 + GAP_MM)), 1)


def _heading(
    canvas: Canvas,
    plan: TilePlan,
    patterns: Sequence[Pattern],
    paper: PaperSettings,
    width: float,
    top: float,
    number: int,
    pages: int,
) -> float:
    """Write the title and what it is printed on; return where the maps may start."""
    canvas.text(0, top - 7, patterns[0].part, 5.6, INK, bold=True, most=width - 45)
    canvas.text(width, top - 7, "paper templates", 3.2, ACCENT, bold=True, anchor="right")
    size = f"roll {paper.roll_width_mm:g} mm" if paper.roll_width_mm else paper.sheet
    sheets = f"{plan.sheets} sheets" if plan.sheets > 1 else "1 sheet"
    many = "1 pattern" if len(patterns) == 1 else f"{len(patterns)} patterns"
    kinds = f"{many} on {sheets}, {size}"
    if paper.roll_width_mm is None:
        kinds += ", landscape" if plan.page.width_mm > plan.page.height_mm else ", portrait"
    if pages > 1:
        kinds += f" (map {number + 1} of {pages})"
    canvas.text(0, top - 14, kinds, 2.7, SOFT)
    if (paper.scale_x, paper.scale_y) != (1.0, 1.0):
        words = f"corrected for a printer that prints 100 mm as {100 * paper.scale_x:.2f} x "
        canvas.text(
            width, top - 14, f"{words}{100 * paper.scale_y:.2f} mm", 2.7, SOFT, anchor="right"
        )
    canvas.line([(0, top - 18.5), (width, top - 18.5)], INK, 0.35)
    return top - 25.0


def _instructions(canvas: Canvas, width: float) -> float:
    """Draw the check square, the steps and the key to the lines; return their upper edge."""
    size = CHECK_MM
    canvas.box(0.1, 0.1, size, size, colour=INK, line=0.2)
    for tick in range(5, 100, 5):
        length = 4.0 if tick == 50 else 2.5 if tick % 10 == 0 else 1.2
        canvas.line([(tick + 0.1, 0.1), (tick + 0.1, length)], INK, 0.15)
        canvas.line([(0.1, tick + 0.1), (length, tick + 0.1)], INK, 0.15)
    canvas.text(size / 2, size / 2 + 2, "100 mm", 5.0, INK, bold=True, anchor="middle")
    canvas.text(size / 2, size / 2 - 6, "measure both sides", 2.7, SOFT, anchor="middle")
    x, y = size + 8.0, size - 3.0
    for i, step in enumerate(STEPS):
        canvas.text(x, y, str(i + 1), 2.7, ACCENT, bold=True)
        for words in wrapped(step, 2.3, width - x - 6):
            canvas.text(x + 6, y, words, 2.3, INK)
            y -= 4.4
        y -= 1.6
    key = ((CUT, "cut here"), (NET, "edge of the part"), (NOTCH, "notch: a mark, never a snip"),
           (ARROW, "along the warp"), (TACK, "tack point: lay this down first"))  # fmt: skip
    y = 3.0 + 5.2 * (len(key) - 1)
    for layer, words in key:
        ends = [(x, y + 1.0), (x + 12, y + 1.0)]
        canvas.line(ends, layer.rgb, layer.width_mm, dash=layer.dash_mm)
        canvas.text(x + 15, y, words, 2.2, INK, most=width - x - 15)
        y -= 5.2
    return size + 10.0


def _draw_groups(
    canvas: Canvas,
    groups: Sequence[Group],
    first: Mapping[int, int],
    width: float,
    bottom: float,
    top: float,
) -> None:
    columns = min(_columns(width), max(len(groups), 1))
    rows = -(-len(groups) // columns)
    cell_x = (width - GAP_MM * (columns - 1)) / columns
    cell_y = min((top - bottom - GAP_MM * (rows - 1)) / max(rows, 1), 0.9 * cell_x)
    for i, group in enumerate(groups):
        x = (i % columns) * (cell_x + GAP_MM)
        y = top - (i // columns + 1) * cell_y - (i // columns) * GAP_MM
        _draw_group(canvas, group, first[group.number], (x, y), (cell_x, cell_y))


def _draw_group(
    canvas: Canvas, group: Group, first: int, at: tuple[float, float], size: tuple[float, float]
) -> None:
    """Draw one group: title, its sheets (numbered from `first`), the outlines over them."""
    (x, y), (width, height) = at, size
    canvas.box(x, y, width, height, colour=PALE, line=0.15, fill=WASH)
    titles = ", ".join(placed.pattern.title for placed in group.placed)
    count = len(group.tiles)
    sheets = f"sheets {first} to {first + count - 1}" if count > 1 else f"sheet {first}"
    wide = canvas.text(x + width - 4, y + height - 7, sheets, 2.4, SOFT, anchor="right")
    canvas.text(x + 4, y + height - 7, titles, 2.6, INK, bold=True, most=width - 13 - wide)
    whole_x = max(tile.x_mm for tile in group.tiles) + group.tile_mm[0]
    tops = [placed.area.bounds[3] for placed in group.placed]
    tile_y = group.tile_mm[1] if group.tile_mm[1] < 1000 else min(max(tops), group.tile_mm[1])
    whole_y = max(tile.y_mm for tile in group.tiles) + tile_y
    scale = min((width - 10) / whole_x, (height - 16) / whole_y)
    left = x + (width - whole_x * scale) / 2
    low = y + 4 + (height - 16 - whole_y * scale) / 2
    with canvas.placed(left, low, scale, scale):
        for tile in group.tiles:
            canvas.box(
                tile.x_mm, tile.y_mm, group.tile_mm[0], tile_y,
                colour=SOFT, line=0.12 / scale, fill=WHITE,
            )  # fmt: skip
        for placed in group.placed:
            for ring in (placed.area.exterior, *placed.area.interiors):
                canvas.line(np.array(ring.coords)[:-1], INK, 0.3 / scale, closed=True)
        for tile in group.tiles if count > 1 else ():
            centre = (tile.x_mm + group.tile_mm[0] / 2, tile.y_mm + tile_y / 2)
            capital = min(2.8 / scale, group.tile_mm[0] * 0.2)
            name = group.name_of(tile)
            half = (width_mm(name, capital, bold=True) / 2 + 0.3 * capital, 0.9 * capital)
            corner = (centre[0] - half[0], centre[1] - half[1])
            canvas.box(*corner, 2 * half[0], 2 * half[1], line=0, fill=WHITE)
            canvas.text(*centre, name, capital, ACCENT, bold=True, anchor="centre")
