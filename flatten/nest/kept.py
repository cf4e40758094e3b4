"""What is left over and big enough to go back on the shelf: free rectangles, largest first."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from shapely import Polygon, STRtree, box

from ..arrays import Bools
from .fit import FreeCloth
from .settings import NestSettings

Box = tuple[float, float, float, float]
CELL_MM = 10.0  # how finely free cloth is looked at; edges are then moved out to whole mm
MOST_OFFCUTS = 12  # of one sheet; nobody keeps track of more
ROUNDING_MM = 1e-6


def free_rectangles(usable: Polygon, laid: Sequence[Polygon], settings: NestSettings) -> list[Box]:
    """Return (x0, y0, x1, y1) of rectangles along the warp that are free and worth keeping.

    Pieces keep their gap. Greedy: the largest first, then the largest of the rest.
    """
    wide, long = settings.keep_offcut_mm
    left = usable.area - sum(shape.area for shape in laid)
    if left < wide * long:
        return []
    cloth = FreeCloth(usable, settings.gap_mm, laid, cell=CELL_MM)
    free = ~cloth.blocked
    room = _Room(usable, laid, settings.gap_mm)
    x0, y0 = usable.bounds[:2]
    while len(room.found) < MOST_OFFCUTS:
        best = _largest(free, max(1, int(wide / CELL_MM) - 1), max(1, int(long / CELL_MM) - 1))
        if best is None:
            break
        rough = [x0, y0, x0, y0] + CELL_MM * np.array(best)
        rectangle = room.moved_out(rough.tolist())
        inner = (np.array(rectangle) - [x0, y0, x0, y0]) / CELL_MM
        low_c, low_r = np.floor(inner[:2] + ROUNDING_MM).astype(int)
        high_c, high_r = np.ceil(inner[2:] - ROUNDING_MM).astype(int)
        free[low_r:high_r, low_c:high_c] = False
        if rectangle[2] - rectangle[0] >= long and rectangle[3] - rectangle[1] >= wide:
            room.found.append(rectangle)
    return room.found


class _Room:
    """Tells whether a rectangle is free of pieces, their gap, and rectangles found before."""

    def __init__(self, usable: Polygon, laid: Sequence[Polygon], gap: float) -> None:
        self._usable = usable.buffer(ROUNDING_MM, join_style="mitre")
        self._tree = STRtree(list(laid))
        self._gap = gap
        self.found: list[Box] = []

    def has(self, sides: Sequence[float]) -> bool:
        shape = box(*sides)
        if not self._usable.covers(shape):
            return False
        if len(self._tree.query(shape, predicate="dwithin", distance=self._gap)):
            return False
        return not any(
            sides[0] < other[2]
            and other[0] < sides[2]
            and sides[1] < other[3]
            and other[1] < sides[3]
            for other in self.found
        )

    def moved_out(self, rough: Sequence[float]) -> Box:
        """Return the rectangle with each side moved out, in whole mm, as far as cloth is free."""
        sides = [float(np.ceil(rough[0])), float(np.ceil(rough[1]))]
        sides += [float(np.floor(rough[2])), float(np.floor(rough[3]))]
        for side, way in ((0, -1.0), (1, -1.0), (2, 1.0), (3, 1.0)):
            for _ in range(int(CELL_MM) + 1):
                sides[side] += way
                if not self.has(sides):
                    sides[side] -= way
                    break
        return sides[0], sides[1], sides[2], sides[3]


def _largest(free: Bools, wide: int, long: int) -> tuple[int, int, int, int] | None:
    """Return the largest all-free rectangle of at least this size, as x0, y0, x1, y1 in cells.

    Source: the histogram method for the maximal rectangle, textbook.
    """
    best, best_area = None, 0
    depth = np.zeros(free.shape[1], int)
    for row in range(free.shape[0]):
        depth = np.where(free[row], depth + 1, 0)
        deep_enough = np.where(depth >= wide, depth, 0)
        if np.count_nonzero(deep_enough) < long:
            continue
        # Runs of equal depth stand for their columns: most cloth is not free, so they are few.
        starts = np.concatenate([[0], np.flatnonzero(np.diff(deep_enough)) + 1])
        runs = [*zip(starts.tolist(), deep_enough[starts].tolist(), strict=True)]
        stack: list[tuple[int, int]] = []  # (first column, depth), depths rising
        for column, here in [*runs, (len(depth), 0)]:
            start = column
            while stack and stack[-1][1] >= here:
                start, deep = stack.pop()
                area = deep * (column - start)
                if area > best_area and column - start >= long:
                    best, best_area = (start, row + 1 - deep, column, row + 1), area
            if here:
                stack.append((start, here))
    return best
