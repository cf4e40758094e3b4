"""What is left over and big enough to go back on the shelf: free rectangles, largest first."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from shapely import Polygon, box
from shapely.ops import unary_union

from ..arrays import Bools
from .settings import NestSettings

Box = tuple[float, float, float, float]
CELL_MM = 10.0  # how finely free cloth is looked at; edges are then moved out to whole mm
MOST_CELLS = 120_000
MOST_OFFCUTS = 12  # of one sheet; nobody keeps track of more


def free_rectangles(usable: Polygon, laid: Sequence[Polygon], settings: NestSettings) -> list[Box]:
    """Return (x0, y0, x1, y1) of rectangles along the warp that are free and worth keeping.

    Pieces keep their gap. Greedy: the largest first, then the largest of the rest.
    """
    wide, long = settings.keep_offcut_mm
    free = usable.difference(unary_union([shape.buffer(settings.gap_mm) for shape in laid]))
    found: list[Box] = []
    if free.area < wide * long:
        return found
    x0, y0, x1, y1 = usable.bounds
    cell = max(CELL_MM, float(np.sqrt((x1 - x0) * (y1 - y0) / MOST_CELLS)))
    cells = _free_cells(free, cell)
    while len(found) < MOST_OFFCUTS:
        best = _largest(cells, max(1, int(wide // cell) - 1), max(1, int(long // cell) - 1))
        if best is None:
            break
        low_row, low_column, high_row, high_column = best
        cells[low_row:high_row, low_column:high_column] = False
        fx, fy = free.bounds[:2]
        rough = (
            fx + low_column * cell,
            fy + low_row * cell,
            fx + high_column * cell,
            fy + high_row * cell,
        )
        rectangle = _moved_out(rough, free, cell)
        if rectangle[2] - rectangle[0] >= long and rectangle[3] - rectangle[1] >= wide:
            found.append(rectangle)
            free = free.difference(box(*rectangle))
    return found


def _free_cells(free: Polygon, cell: float) -> Bools:
    """Return (rows, columns): cells that are free all over."""
    x0, y0, x1, y1 = free.bounds
    columns, rows = int((x1 - x0) / cell), int((y1 - y0) / cell)
    x, y = np.meshgrid(x0 + np.arange(columns) * cell, y0 + np.arange(rows) * cell)
    shapely.prepare(free)
    inside: Bools = shapely.covers(free, shapely.box(x, y, x + cell, y + cell))
    return inside


def _largest(cells: Bools, wide: int, long: int) -> tuple[int, int, int, int] | None:
    """Return the largest all-true rectangle of at least this size, as row and column ranges.

    Source: the histogram method for the maximal rectangle, textbook.
    """
    best, best_area = None, 0
    depth = np.zeros(cells.shape[1], int)
    for row in range(cells.shape[0]):
        depth = np.where(cells[row], depth + 1, 0)
        if depth.max(initial=0) < wide:
            continue
        stack: list[tuple[int, int]] = []  # (first column, depth), depths rising
        for column, here in enumerate([*depth.tolist(), 0]):
            start = column
            while stack and stack[-1][1] >= here:
                start, deep = stack.pop()
                area = deep * (column - start)
                if area > best_area and deep >= wide and column - start >= long:
                    best, best_area = (row + 1 - deep, start, row + 1, column), area
            stack.append((start, here))
    return best


def _moved_out(rough: Box, free: Polygon, cell: float) -> Box:
    """Return the rectangle with each side moved out, in whole mm, as far as cloth is free."""
    sides = [np.ceil(rough[0]), np.ceil(rough[1]), np.floor(rough[2]), np.floor(rough[3])]
    for side, way in ((0, -1), (1, -1), (2, 1), (3, 1)):
        for _ in range(int(cell) + 1):
            sides[side] += way
            if not free.covers(box(*sides)):
                sides[side] -= way
                break
    x0, y0, x1, y1 = map(float, sides)
    return x0, y0, x1, y1
