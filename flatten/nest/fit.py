"""Where a part fits in what is free: holes, odd offcuts, around flaws; and without the library.

Cells, on the safe side: a cell counts as free only where all of it is, and a part takes every
cell it touches. What fits on cells fits on cloth; the part then slides left and down by true
distances, so that little of the cells' coarseness is left.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from copy import copy

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon, box
from shapely.affinity import affine_transform, translate

from ..arrays import Bools, Floats
from .geometry import laid
from .part import Part, Spot
from .turns import flush_turns

MOST_CELLS = 30_000  # keeps one look at a region at a few milliseconds
CELL_MM = (2.0, 15.0)  # finest and coarsest
SLIDE_TO_MM = 0.05  # a part stops sliding when less than this is left
SAFE_MM = 1e-3  # kept beyond the gap while sliding, against rounding


Spectrum = NDArray[np.complex128]
Stencil = tuple[Polygon, Bools, Floats, Spectrum | None]


class FreeCloth:
    """A region with what is already laid in it. Offers the leftmost place for a part."""

    def __init__(
        self,
        region: Polygon,
        gap: float,
        laid_already: Sequence[Polygon] = (),
        *,
        cell: float | None = None,
    ) -> None:
        """Take a valid region, mm; shapes laid already keep their gap. `cell`: its size, mm."""
        self._region = region
        self._gap = gap
        self._inside = region.buffer(SAFE_MM / 10, join_style="mitre")
        shapely.prepare(self._inside)
        x0, y0, x1, y1 = region.bounds
        fine = float(np.clip(np.sqrt((x1 - x0) * (y1 - y0) / MOST_CELLS), *CELL_MM))
        self._cell = cell or fine
        self._corner = np.array([x0, y0])
        self.blocked: Bools = ~_cells_inside(region, self._cell)  # (rows, columns)
        self._padded = tuple(_fast_length(n) for n in self.blocked.shape)
        self._spectrum: Spectrum | None = None  # of what is blocked, until that changes
        self._stencils: dict[tuple[int, float], Stencil] = {}
        self._laid: list[Polygon] = []
        for shape in laid_already:
            self._block(shape)
        self._bare = self.blocked.copy(), list(self._laid)

    @property
    def room(self) -> float:
        """Area without what is laid, mm2."""
        return float(self._region.area - sum(shape.area for shape in self._laid))

    def again(self) -> FreeCloth:
        """Return it as it was at first; what was worked out about the parts' cells is shared."""
        bare = copy(self)
        bare.blocked, bare._laid = self._bare[0].copy(), list(self._bare[1])
        bare._spectrum = None
        return bare

    def take(self, parts: Sequence[Part], number: int) -> Spot | None:
        """Lay one copy of a part where it ends farthest left, None where it fits nowhere."""
        part, best = parts[number], None
        for turn in _turns(part):
            shape, mask, corner, spectrum = self._stencil(part, turn)
            if spectrum is None:
                continue
            found = self._leftmost(shape, mask, corner, spectrum)
            if found is not None and (best is None or found[0] < best[0]):
                best = (*found, turn, shape)
        if best is None:
            return None
        _, x, y, turn, shape = best
        shape = translate(shape, x, y)
        moved_x, moved_y = self._slide(shape)
        self._block(translate(shape, moved_x, moved_y))
        return Spot(number, x + moved_x, y + moved_y, turn)

    def _stencil(self, part: Part, turn: float) -> Stencil:
        """Return the turned shape, its cells, their corner, and their spectrum if they fit."""
        key = (id(part), turn)
        if key not in self._stencils:
            shape = affine_transform(part.outline, laid(0, 0, turn))
            mask, corner = _cells_touched(shape, self._cell)
            spectrum = None
            if all(small <= big for small, big in zip(mask.shape, self.blocked.shape, strict=True)):
                spectrum = np.conj(np.fft.rfft2(mask.astype(float), self._padded))
            self._stencils[key] = (shape, mask, corner, spectrum)
        return self._stencils[key]

    def _leftmost(
        self, shape: Polygon, mask: Bools, corner: Floats, spectrum: Spectrum
    ) -> tuple[float, float, float] | None:
        """Return (right end, x, y): the shift that brings the shape to its leftmost place."""
        if self._spectrum is None:
            self._spectrum = np.fft.rfft2(self.blocked.astype(float), self._padded)
        # A correlation: how many blocked cells the mask meets at each place it can have.
        hits = np.fft.irfft2(self._spectrum * spectrum, self._padded)
        rows, columns = (
            big - small + 1 for big, small in zip(self.blocked.shape, mask.shape, strict=True)
        )
        by_column = (hits[:rows, :columns] < 0.5).T
        first = int(by_column.argmax())
        column, row = divmod(first, rows)
        if not by_column[column, row]:
            return None
        shift = self._corner + np.array([column, row]) * self._cell - corner
        return float(shift[0] + shape.bounds[2]), float(shift[0]), float(shift[1])

    def _slide(self, shape: Polygon) -> tuple[float, float]:
        """Return how far the shape slides left, then down: at most two cells each."""
        reach = 3 * self._cell + self._gap
        near = [other for other in self._laid if other.distance(shape) < 2 * reach]
        total = np.zeros(2)
        for axis in (0, 1, 0, 1):
            step = 2 * self._cell
            while step > SLIDE_TO_MM:
                move = total - step * np.eye(2)[axis]
                if move.min() >= -2 * self._cell and self._is_free(translate(shape, *move), near):
                    total = move
                else:
                    step /= 2
        return float(total[0]), float(total[1])

    def _is_free(self, shape: Polygon, near: Sequence[Polygon]) -> bool:
        gap = self._gap + SAFE_MM
        return bool(self._inside.covers(shape)) and all(
            other.distance(shape) >= gap for other in near
        )

    def _block(self, shape: Polygon) -> None:
        self._laid.append(shape)
        self._spectrum = None
        grown = shape.buffer(self._gap) if self._gap > SAFE_MM else shape
        mask, corner = _cells_touched(grown, self._cell, origin=self._corner)
        column, row = np.rint((corner - self._corner) / self._cell).astype(int)
        low_r, low_c = max(row, 0), max(column, 0)
        high_r = min(row + mask.shape[0], self.blocked.shape[0])
        high_c = min(column + mask.shape[1], self.blocked.shape[1])
        if low_r < high_r and low_c < high_c:
            self.blocked[low_r:high_r, low_c:high_c] |= mask[
                low_r - row : high_r - row, low_c - column : high_c - column
            ]


def always() -> bool:
    """Let the filling go on."""
    return True


def fill(
    parts: Sequence[Part],
    left: Sequence[int],
    region: Polygon,
    gap: float,
    laid_already: Sequence[Polygon] = (),
    *,
    order: Sequence[int] | None = None,
    go_on: Callable[[], bool] = always,
) -> tuple[list[Spot], list[int]]:
    """Lay what fits into a region, largest first or in the order given.

    Returns the spots and the copies left of each part. `go_on` is asked before each copy; once
    it says False the rest is left.
    """
    return fill_in(FreeCloth(region, gap, laid_already), parts, left, order, go_on)


def fill_in(
    cloth: FreeCloth,
    parts: Sequence[Part],
    left: Sequence[int],
    order: Sequence[int] | None = None,
    go_on: Callable[[], bool] = always,
) -> tuple[list[Spot], list[int]]:
    """Do the same on cloth that is looked at already."""
    left, spots, room = list(left), [], cloth.room
    for number in order or by_area(parts):
        while left[number] and parts[number].outline.area <= room and go_on():
            spot = cloth.take(parts, number)
            if spot is None:
                break
            spots.append(spot)
            left[number] -= 1
            room -= parts[number].outline.area
    return spots, left


def by_area(parts: Sequence[Part]) -> list[int]:
    """Return the numbers of the parts, largest first, equal ones by name."""
    return sorted(
        range(len(parts)),
        key=lambda i: (-round(parts[i].outline.area, 3), parts[i].members[0].piece, i),
    )


def _turns(part: Part) -> tuple[float, ...]:
    return part.turns.to_try() or (*flush_turns(part.outline, most=3), 0.0, 90.0, 180.0, 270.0)


def _cells_inside(region: Polygon, cell: float) -> Bools:
    """Return (rows, columns): cells from the region's low corner that lie wholly inside it."""
    x0, y0, x1, y1 = region.bounds
    columns = max(1, int(np.floor((x1 - x0) / cell + 1e-9)))
    rows = max(1, int(np.floor((y1 - y0) / cell + 1e-9)))
    if region.equals(box(x0, y0, x1, y1)):
        return np.ones((rows, columns), bool)
    safe = region.buffer(-cell * 0.7072)  # half a cell's diagonal
    return _centres_in(safe, np.array([x0, y0]), rows, columns, cell)


def _cells_touched(
    shape: Polygon, cell: float, origin: Floats | None = None
) -> tuple[Bools, Floats]:
    """Return the cells the shape touches, and the low corner of the first one.

    Cells start at the shape's own low corner, or on the grid through `origin`.
    """
    x0, y0, x1, y1 = shape.bounds
    corner = np.array([x0, y0])
    if origin is not None:
        corner = origin + np.floor((corner - origin) / cell) * cell
    columns = max(1, int(np.ceil((x1 - corner[0]) / cell - 1e-9)))
    rows = max(1, int(np.ceil((y1 - corner[1]) / cell - 1e-9)))
    return _centres_in(shape.buffer(cell * 0.7072), corner, rows, columns, cell), corner


def _centres_in(shape: Polygon, corner: Floats, rows: int, columns: int, cell: float) -> Bools:
    x = corner[0] + (np.arange(columns) + 0.5) * cell
    y = corner[1] + (np.arange(rows) + 0.5) * cell
    shapely.prepare(shape)
    grid_x, grid_y = np.meshgrid(x, y)
    inside: Bools = shapely.contains_xy(shape, grid_x, grid_y)
    return inside


def _fast_length(least: int) -> int:
    """Return the next length made of factors 2, 3 and 5, which transforms quickly."""
    length = least
    while True:
        rest = length
        for factor in (2, 3, 5):
            while rest % factor == 0:
                rest //= factor
        if rest == 1:
            return length
        length += 1
