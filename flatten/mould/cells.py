"""Boxes sorted into grids of cells, one grid for each size: which of them overlap here."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import product

import numpy as np

from ..arrays import Floats, Ints

# Pairs handled at a time: 2**19 pairs of 3-D boxes take about 100 MB on the way through.
CHUNK = 1 << 19
FINEST = 18  # 2**18 cells along the longest side; three axes then fit one 64-bit key
PIECES = 40_000  # more boxes than triangles, when long ones are cut
FEW = 64  # a grid for fewer boxes costs more than looking at them in the next coarser one


def tight_boxes(corners: Floats) -> tuple[Ints, Floats, Floats]:
    """Box triangles (m, 3, k); long ones are cut across into pieces first.

    CAD files are full of slivers as long as the mould, whose own boxes would overlap everything.

    Returns
    -------
    (b,) the triangle of each box, (b, k) low and (b, k) high corners
    """
    edges = np.roll(corners, -1, axis=1) - corners
    length = np.sqrt((edges**2).sum(axis=2))
    longest = length.argmax(axis=1)
    most = length.max(axis=1)
    pieces = 1 + np.floor(most * PIECES / max(most.sum(), 1e-300)).astype(np.int64)
    whole = np.flatnonzero(pieces == 1)
    cut = np.flatnonzero(pieces > 1)
    row = np.arange(len(cut))
    a, b, c = (corners[cut, (longest[cut] + turn) % 3] for turn in range(3))
    base = b - a
    foot = ((c - a) * base).sum(axis=1) / np.maximum(most[cut] ** 2, 1e-300)
    foot = foot.clip(1e-9, 1 - 1e-9)[:, None]  # where the third corner stands over the base
    row = np.repeat(row, pieces[cut])
    start = (_ramp(pieces[cut]) / pieces[cut][row])[:, None]
    end = start + 1 / pieces[cut][row][:, None]

    def sides(share: Floats) -> list[Floats]:
        rising = a[row] + (c - a)[row] * (share / foot[row])
        falling = b[row] + (c - b)[row] * ((1 - share) / (1 - foot[row]))
        return [a[row] + base[row] * share, np.where(share <= foot[row], rising, falling)]

    top = np.where((start <= foot[row]) & (foot[row] <= end), c[row], a[row] + base[row] * start)
    outline = np.stack([*sides(start), *sides(end), top], axis=1)
    own = corners[whole]
    return (
        np.concatenate([whole, cut[row]]),
        np.concatenate([own.min(axis=1), outline.min(axis=1)]),
        np.concatenate([own.max(axis=1), outline.max(axis=1)]),
    )


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
        self.level = self._levels(smallest)
        self.grids = [self._grid(level) for level in np.unique(self.level)]

    def pairs(self, low: Floats, high: Floats) -> Iterator[tuple[Ints, Ints]]:
        """Yield (query, box) index pairs of overlapping boxes, each pair once, in chunks."""
        for grid in self.grids:
            yield from self._in_grid(grid, low, high)

    def self_pairs(self) -> Iterator[tuple[Ints, Ints]]:
        """Yield index pairs of boxes of this grid that overlap each other, each pair once."""
        for grid in self.grids:
            query = np.flatnonzero(self.level >= grid.level)
            for local, box in self._in_grid(grid, self.low[query], self.high[query]):
                first = query[local]
                once = (self.level[first] > grid.level) | (first < box)
                yield first[once], box[once]

    def _levels(self, smallest: float) -> Ints:
        size = np.maximum((self.high - self.low).max(axis=1), self.span * 2.0**-FINEST)
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
        grid.first = np.zeros((first.shape[1], len(self.level)), np.int64)
        grid.first[:, member] = first.T
        keys, boxes = [], []
        for corner in product((0, 1), repeat=first.shape[1]):
            new = ((first + corner <= last) | (np.array(corner) == 0)).all(axis=1)
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

    def _in_grid(self, grid: _Grid, low: Floats, high: Floats) -> Iterator[tuple[Ints, Ints]]:
        inside = np.flatnonzero(
            ((high >= self.origin) & (low <= self.origin + self.span)).all(axis=1)
        )
        first, last = self._cell(low[inside], grid), self._cell(high[inside], grid)
        cells = (last - first + 1).prod(axis=1)
        for some in _slices(cells):
            which = np.repeat(np.arange(some.start, some.stop), cells[some])
            key = _key(_unravel(first[which], last[which], cells[some]))
            at = np.searchsorted(grid.keys, key).clip(max=len(grid.keys) - 1)
            hit = np.flatnonzero(grid.keys[at] == key)
            which, key, at = which[hit], key[hit], at[hit]
            for part in _slices(grid.count[at]):
                count = grid.count[at[part]]
                row = np.repeat(which[part], count)
                box = grid.boxes[np.repeat(grid.start[at[part]], count) + _ramp(count)]
                query = inside[row]
                # A pair meets in several cells; count it where its overlap begins.
                begins = np.repeat(key[part], count)
                for axis in range(first.shape[1] - 1, -1, -1):
                    begin = np.maximum(first[row, axis], grid.first[axis][box])
                    keep = (begins & 0xFFFFF) == begin
                    keep &= low[query, axis] <= self.high[box, axis]
                    keep &= high[query, axis] >= self.low[box, axis]
                    row, box, query, begins = (
                        row[keep],
                        box[keep],
                        query[keep],
                        begins[keep] >> 20,
                    )
                yield query, box


class _Grid:
    """Cells of one size: sorted keys, and the boxes in each."""

    __slots__ = ("boxes", "count", "first", "keys", "level", "size", "start")
    boxes: Ints
    count: Ints
    first: Ints  # (k, n) the cell its lower corner is in
    keys: Ints
    start: Ints

    def __init__(self, level: int, size: float) -> None:
        self.level, self.size = level, size


def _key(cell: Ints) -> Ints:
    key = cell[:, 0].copy()
    for axis in range(1, cell.shape[1]):
        key = (key << 20) | cell[:, axis]
    return key


def _slices(count: Ints) -> Iterator[slice]:
    """Stretches of `count` that add up to about CHUNK each."""
    if not len(count):
        return
    total = np.cumsum(count)
    start = 0
    while start < len(count):
        before = total[start - 1] if start else 0
        end = max(int(np.searchsorted(total, before + CHUNK, side="right")), start + 1)
        yield slice(start, end)
        start = end


def _ramp(count: Ints) -> Ints:
    """0, 1 .. count[0] - 1, 0, 1 .. count[1] - 1 and so on."""
    ends = np.cumsum(count)
    total = int(ends[-1]) if len(ends) else 0
    ramp: Ints = np.arange(total) - np.repeat(ends - count, count)
    return ramp


def _unravel(first: Ints, last: Ints, cells: Ints) -> Ints:
    """The cells of each box from `first` to `last`, one after the other."""
    rest = _ramp(cells)
    cell = np.empty_like(first)
    for axis in range(first.shape[1]):
        width = last[:, axis] - first[:, axis] + 1
        cell[:, axis] = first[:, axis] + rest % width
        rest = rest // width
    return cell
