"""Boxes sorted into grids of cells, one grid for each size: which of them overlap here."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import product

import numpy as np

from ..arrays import Bools, Floats, Ints

# Pairs handled at a time: 2**19 pairs of 3-D boxes take about 100 MB on the way through.
CHUNK = 1 << 19
# Boxes looked at: in all (about 2 s), or for each question (a clean mesh needs 10 to 30). Only a
# tangle of long triangles needs more; then fewer questions are asked.
MOST_LOOKS, LOOKS_EACH = 2e7, 60
FINEST = 18  # 2**18 cells along the longest side; three axes then fit one 64-bit key
# Whole numbers below 2**20 for the axes side by side in one 64-bit integer, a bit to spare above
# each: sums and comparisons of all axes in one go.
AXIS_BITS = 20
SPARE = sum(1 << (AXIS_BITS + 21 * axis) for axis in range(3))
# Triangles this many times as long as they are high are cut, into boxes half as slim at most: a box
# of a stouter one overlaps few that the triangle does not come near, and more boxes cost time.
SLIM, CUT_SLIM = 16, 8
# More boxes than triangles when slivers are cut: so many, and so many for each.
PIECES, PIECES_EACH = 40_000, 3
FEW = 64  # a grid for fewer boxes costs more than looking at them in the next coarser one


def tight_boxes(corners: Floats) -> tuple[Ints, Floats, Floats]:
    """Box triangles (m, 3, k); long ones are cut across into pieces first.

    CAD files are full of slivers as long as the mould, whose own boxes would overlap everything.

    Returns
    -------
    (b,) the triangle of each box, (b, k) low and (b, k) high corners
    """
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    length = np.sqrt([np.einsum("ij,ij->i", v, v) for v in (b - a, c - b, a - c)])
    longest = length.argmax(axis=0)
    most = np.maximum(np.maximum(length[0], length[1]), length[2])
    # Twice the area from two sides (Lagrange's identity holds in 2-D and 3-D).
    dot = np.einsum("ij,ij->i", b - a, c - a)
    area = np.sqrt(np.clip((length[0] * length[2]) ** 2 - dot * dot, 0, None))
    slim = most**2 / np.maximum(area, most**2 / PIECES + 1e-300)  # length over height
    spare = PIECES + PIECES_EACH * len(corners)
    long = np.where(slim > SLIM, most, 0)
    share = long * spare / max(float(long.sum()), 1e-300)
    pieces = 1 + np.floor(np.minimum(share, slim / CUT_SLIM)).astype(np.int64)
    whole = np.flatnonzero(pieces == 1)
    cut = np.flatnonzero(pieces > 1)
    a, b, c = (corners[cut, (longest[cut] + turn) % 3] for turn in range(3))
    base = b - a
    foot = ((c - a) * base).sum(axis=1) / np.maximum(most[cut] ** 2, 1e-300)
    foot = foot.clip(1e-9, 1 - 1e-9)[:, None]  # where the third corner stands over the base
    rising, falling = (c - a) / foot, (c - b) / (1 - foot)
    row = np.repeat(np.arange(len(cut)), pieces[cut])
    start = (ramp(pieces[cut]) / pieces[cut][row])[:, None]
    end = start + 1 / pieces[cut][row][:, None]
    a, b, c, base, foot, rising, falling = (v[row] for v in (a, b, c, base, foot, rising, falling))

    def sides(share: Floats) -> list[Floats]:
        over = np.where(share <= foot, a + rising * share, b + falling * (1 - share))
        return [a + base * share, over]

    top = np.where((start <= foot) & (foot <= end), c, a + base * start)
    outline = [*sides(start), *sides(end), top]
    low, high = box_of(corners[whole])
    return (
        np.concatenate([whole, cut[row]]),
        np.concatenate([low, np.minimum.reduce(outline)]),
        np.concatenate([high, np.maximum.reduce(outline)]),
    )


def box_of(corners: Floats) -> tuple[Floats, Floats]:
    """Return the low and high corners of the boxes of triangles (m, 3, k)."""
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    return np.minimum(np.minimum(a, b), c), np.maximum(np.maximum(a, b), c)


class Cells:
    """Grid over axis-parallel boxes (n, k), k = 2 or 3, that finds overlapping ones.

    A box lies in the grid whose cells are just larger than it, so in 2**k cells at most,
    however mixed the sizes are. Boxes must be finite. `smallest` bounds the cell size from below.
    """

    def __init__(self, low: Floats, high: Floats, *, smallest: float = 0.0) -> None:
        self.low, self.high = low, high
        self.origin = low.min(axis=0) if len(low) else np.zeros(low.shape[1])
        span = float((high.max(axis=0) - self.origin).max()) if len(low) else 0.0
        self.span = span * (1 + 1e-9) or 1.0
        self.steps_low, self.steps_high = self._steps(low), self._steps(high)
        self.level = self._levels(smallest)
        self.grids = [self._grid(level) for level in np.unique(self.level)]

    def pairs(self, low: Floats, high: Floats) -> Iterator[tuple[Ints, Ints]]:
        """Yield (query, box) index pairs of overlapping boxes, each pair once, in chunks."""
        for grid in self.grids:
            yield from self._in_grid(grid, low, high)

    def self_pairs(self, stride: int = 1) -> Iterator[tuple[Ints, Ints]]:
        """Yield index pairs of boxes of this grid that overlap each other, each pair once.

        With a `stride` only every so manieth box is compared with the others.
        """
        for grid in self.grids:
            query = np.flatnonzero(self.level >= grid.level)[::stride]
            alike = self.level[query] == grid.level
            after = np.where(alike & (stride == 1), query, -1)
            for local, box in self._in_grid(grid, self.low[query], self.high[query], after):
                other = query[local] != box
                yield query[local][other], box[other]

    def stride(self, low: Floats, high: Floats) -> int:
        """Return 1, or every which query, boxes from `low` to `high` (k, 3), ends in good time."""
        looks = sum(self._looks(grid, low, high) for grid in self.grids)
        return 1 + int(looks / max(MOST_LOOKS, LOOKS_EACH * len(low)))

    def self_stride(self) -> int:
        """Return the same for `self_pairs`."""
        looks = 0.0
        for grid in self.grids:
            query = self.level >= grid.level
            looks += self._looks(grid, self.low[query], self.high[query])
        return 1 + int(looks / max(MOST_LOOKS, LOOKS_EACH * len(self.low)))

    def _looks(self, grid: _Grid, low: Floats, high: Floats) -> float:
        """About how many boxes these queries look at, from a thousand of them."""
        step = 1 + len(low) // 1000
        first, last = self._cell(low[::step], grid), self._cell(high[::step], grid)
        cells = np.multiply.reduce((last - first + 1).T)
        which = np.repeat(np.arange(len(first)), cells)
        key = _key(_unravel(first[which], last[which], cells))
        at = np.searchsorted(grid.keys, key).clip(max=len(grid.keys) - 1)
        return float(grid.count[at][grid.keys[at] == key].sum()) * step

    def _steps(self, points: Floats) -> Ints:
        """(n,) corners in steps of a millionth of the span. Rounding down keeps their order."""
        scale = ((1 << AXIS_BITS) - 1) / self.span
        steps = np.floor((points - self.origin) * scale).clip(0, (1 << AXIS_BITS) - 1)
        return _key(steps.astype(np.int64))

    def _levels(self, smallest: float) -> Ints:
        sides = (self.high - self.low).T
        size = np.maximum(np.maximum.reduce(sides), self.span * 2.0**-FINEST)
        finest = FINEST if smallest <= 0 else np.log2(max(self.span / smallest, 1))
        level = np.floor(np.log2(self.span / size)).clip(0, np.floor(finest)).astype(np.int64)
        count = np.bincount(level, minlength=FINEST + 1)
        for fine in range(FINEST, 0, -1):  # few boxes: look for them one grid up
            if 0 < count[fine] < FEW:
                level[level == fine] = fine - 1
                count[fine - 1] += count[fine]
        number: Ints = level
        return number

    def _grid(self, level: int) -> _Grid:
        member = np.flatnonzero(self.level == level)
        grid = _Grid(int(level), self.span * 2.0 ** -int(level))
        first = self._cell(self.low[member], grid)
        last = self._cell(self.high[member], grid)
        grid.first = np.zeros(len(self.level), np.int64)
        grid.first[member] = _key(first)
        keys, boxes = [], []
        for corner in product((0, 1), repeat=first.shape[1]):
            new = np.ones(len(member), bool)
            for axis in np.flatnonzero(corner):
                new &= first[:, axis] < last[:, axis]
            keys.append(_key(first[new] + corner))
            boxes.append(member[new])
        key = np.concatenate(keys)
        order = np.argsort(key, kind="stable")
        grid.boxes = np.concatenate(boxes)[order]
        grid.keys, grid.start, grid.count = np.unique(
            key[order], return_index=True, return_counts=True
        )
        return grid

    def _cell(self, points: Floats, grid: _Grid) -> Ints:
        top = (1 << (grid.level + 1)) - 1
        cell: Ints = np.floor((points - self.origin) / grid.size).clip(0, top).astype(np.int64)
        return cell

    def _in_grid(
        self, grid: _Grid, low: Floats, high: Floats, after: Ints | None = None
    ) -> Iterator[tuple[Ints, Ints]]:
        """Pairs in one grid; with `after` (q,) only boxes with a higher number than that."""
        seen = np.ones(len(low), bool)
        for axis, origin in enumerate(self.origin):
            seen &= (high[:, axis] >= origin) & (low[:, axis] <= origin + self.span)
        inside = np.flatnonzero(seen)
        first, last = self._cell(low[inside], grid), self._cell(high[inside], grid)
        begin = _key(first)
        first_new = None if after is None else after[inside]
        steps_low, steps_high = self._steps(low[inside]), self._steps(high[inside])
        cells = np.multiply.reduce((last - first + 1).T)
        for some in slices(cells):
            which = np.repeat(np.arange(some.start, some.stop), cells[some])
            key = _key(_unravel(first[which], last[which], cells[some]))
            at = np.searchsorted(grid.keys, key).clip(max=len(grid.keys) - 1)
            hit = np.flatnonzero(grid.keys[at] == key)
            which, key, at = which[hit], key[hit], at[hit]
            for part in slices(grid.count[at]):
                count = grid.count[at[part]]
                row = np.repeat(which[part], count)
                box = grid.boxes[np.repeat(grid.start[at[part]], count) + ramp(count)]
                begins = np.repeat(key[part], count)
                if first_new is not None:
                    new = np.flatnonzero(box > first_new[row])
                    row, box, begins = row[new], box[new], begins[new]
                near = _none_below(steps_high[row], self.steps_low[box])
                near &= _none_below(self.steps_high[box], steps_low[row])
                # A pair meets in several cells; count it where its overlap begins.
                near &= _greater(begin[row], grid.first[box]) == begins
                kept = np.flatnonzero(near)
                query, box = inside[row[kept]], box[kept]
                for axis in range(low.shape[1]):
                    keep = low[query, axis] <= self.high[box, axis]
                    keep &= high[query, axis] >= self.low[box, axis]
                    query, box = query[keep], box[keep]
                yield query, box


class _Grid:
    """Cells of one size: sorted keys, and the boxes in each."""

    __slots__ = ("boxes", "count", "first", "keys", "level", "size", "start")
    boxes: Ints
    count: Ints
    first: Ints  # (n,) key of the cell its lower corner is in
    keys: Ints
    start: Ints

    def __init__(self, level: int, size: float) -> None:
        self.level, self.size = level, size


def _key(cell: Ints) -> Ints:
    key = cell[:, 0].copy()
    for axis in range(1, cell.shape[1]):
        key = (key << (AXIS_BITS + 1)) | cell[:, axis]
    return key


def _none_below(one: Ints, two: Ints) -> Bools:
    """(k,) True where on no axis `one` is less than `two`."""
    none: Bools = (((one | SPARE) - two) & SPARE) == SPARE
    return none


def _greater(one: Ints, two: Ints) -> Ints:
    """(k,) the greater of both on each axis."""
    above = ((one | SPARE) - two) & SPARE
    above -= above >> AXIS_BITS
    greater: Ints = (one & above) | (two & ~above)
    return greater


def slices(count: Ints) -> Iterator[slice]:
    """Stretches of `count` (k,) that add up to about CHUNK each."""
    if not len(count):
        return
    total = np.cumsum(count)
    start = 0
    while start < len(count):
        before = total[start - 1] if start else 0
        end = max(int(np.searchsorted(total, before + CHUNK, side="right")), start + 1)
        yield slice(start, end)
        start = end


def ramp(count: Ints) -> Ints:
    """0, 1 .. count[0] - 1, 0, 1 .. count[1] - 1 and so on, for counts (k,)."""
    ends = np.cumsum(count)
    total = int(ends[-1]) if len(ends) else 0
    ramp: Ints = np.arange(total) - np.repeat(ends - count, count)
    return ramp


def _unravel(first: Ints, last: Ints, cells: Ints) -> Ints:
    """The cells of each box from `first` to `last`, one after the other."""
    rest = ramp(cells)
    cell = np.empty_like(first)
    for axis in range(first.shape[1]):
        width = last[:, axis] - first[:, axis] + 1
        cell[:, axis] = first[:, axis] + rest % width
        rest = rest // width
    return cell
