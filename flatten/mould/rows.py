"""Points in a plane, row by row: which of them lie near which triangles."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from ..arrays import Floats, Ints
from .cells import ramp, slices

# A point this share of a triangle outside of it is on its edge: no gap between neighbours.
SLACK = 1e-9
PAD = 4 * SLACK  # as a share of everything's size: no point is missed by rounding
ROWS_EACH = 4  # rows a triangle crosses on average at most: each costs a look
SAMPLE = 2000  # triangles from which the work of all is estimated


class Rows:
    """Points (k, 2) in rows of equal number, sorted along each, and triangles (m, 3, 2) over them.

    The points are sorted and the triangles looked up, not the other way round: that is less work
    as long as there are not many more points than triangles. A long sliver meets only the points
    in its stretch of each row.
    """

    def __init__(self, points: Floats, triangles: Floats) -> None:
        self.some = np.zeros(0, np.int64)  # triangles with points at their height
        if not len(points) or not len(triangles):
            return
        x, y = points.T
        a, b, c = triangles[:, 0], triangles[:, 1], triangles[:, 2]
        low, high = np.minimum(np.minimum(a, b), c), np.maximum(np.maximum(a, b), c)
        self.left, self.width = float(x.min()), float(np.ptp(x)) or 1.0
        self.pad = PAD * (float(np.ptp(y)) + self.width + float((high - low).max()))
        by_height = np.argsort(y, kind="stable")
        self.height = y[by_height]
        first = np.searchsorted(self.height, low[:, 1] - self.pad)
        count = np.searchsorted(self.height, high[:, 1] + self.pad, side="right") - first
        beside = (high[:, 0] < self.left - self.pad) | (low[:, 0] > x.max() + self.pad)
        self.some = np.flatnonzero((count > 0) & ~beside)
        first, count = first[self.some], count[self.some]
        mean = count.sum() / max(ROWS_EACH * len(self.some), 1)
        each = int(max(np.sqrt(len(points)), mean))  # points in a row
        self.first, self.last = first // each, (first + count - 1) // each
        self.low, self.high, self.triangles = low[self.some], high[self.some], triangles
        starts = np.arange(0, len(points), each)
        self.bottom = self.height[starts] - self.pad
        self.top = self.height[np.append(starts[1:], len(points)) - 1] + self.pad
        key = 2.0 * (np.arange(len(points)) // each) + self._along(x[by_height])
        along = np.argsort(key)
        self.key, self.order = key[along], by_height[along]

    def looks(self) -> float:
        """Return about how many rows and points `pairs` looks at."""
        step = 1 + len(self.some) // SAMPLE
        some = np.arange(0, len(self.some), step)
        looks = sum(len(at) + (end - start).sum() for at, start, end in self._stretches(some))
        return float(looks) * step

    def pairs(self) -> Iterator[tuple[Ints, Ints]]:
        """Yield (triangle, point) index pairs in chunks, triangles in order within each.

        Every point in a triangle comes with it once, and some of those beside it.
        """
        for at, start, end in self._stretches(np.arange(len(self.some))):
            met = np.flatnonzero(end > start)
            of, start, count = self.some[at[met]], start[met], (end - start)[met]
            for part in slices(count):
                place = np.repeat(start[part], count[part]) + ramp(count[part])
                yield np.repeat(of[part], count[part]), self.order[place]

    def _stretches(self, some: Ints) -> Iterator[tuple[Ints, Ints, Ints]]:
        """Yield triangles, one for each row they cross, and where its points start and end."""
        rows = self.last[some] - self.first[some] + 1 if len(some) else some
        for part in slices(rows):
            at = np.repeat(some[part], rows[part])
            row = self.first[at] + ramp(rows[part])
            low, high = self.low[at, 0], self.high[at, 0]
            tall = np.flatnonzero(np.repeat(rows[part] > 1, rows[part]))
            low[tall], high[tall] = self._crossed(self.some[at[tall]], row[tall])
            start = np.searchsorted(self.key, 2.0 * row + self._along(low - self.pad))
            end = np.searchsorted(self.key, 2.0 * row + self._along(high + self.pad), "right")
            yield at, start, end

    def _crossed(self, triangle: Ints, row: Ints) -> tuple[Floats, Floats]:
        """(j,) the least and the greatest x of a triangle within a row."""
        bottom, top = self.bottom[row], self.top[row]
        corners = self.triangles[triangle]
        low, high = np.full(len(row), np.inf), np.full(len(row), -np.inf)
        for side in range(3):
            (x, y), (to_x, to_y) = corners[:, side].T, corners[:, (side + 1) % 3].T
            rise = to_y - y
            level = rise == 0
            ends = []
            for edge in (bottom, top):
                height = np.clip(edge, np.minimum(y, to_y), np.maximum(y, to_y))
                share = (height - y) / np.where(level, 1, rise)  # 0 to 1, however small the rise
                ends.append(x + share * (to_x - x))
            ends[1] = np.where(level, to_x, ends[1])
            met = (np.minimum(y, to_y) <= top) & (np.maximum(y, to_y) >= bottom)
            low = np.where(met, np.minimum(low, np.minimum(*ends)), low)
            high = np.where(met, np.maximum(high, np.maximum(*ends)), high)
        return low, high

    def _along(self, x: Floats) -> Floats:
        """(j,) where x lies along a row: 0 to 1, a half more at most on either side."""
        along: Floats = np.clip((x - self.left) / self.width, -0.5, 1.5) + 0.5
        return along / 2
