"""Where the net is determined: only there can anyone say how the cloth lies.

A net is fixed by its two spines at a point (u, v) when the whole rectangle of cloth between the
spines and that point lies on the surface (the Goursat problem's domain of dependence; Courant &
Hilbert, Methods of Mathematical Physics II, 1962, ch. V). Elsewhere the least energy decides.
"""

from __future__ import annotations

import numpy as np

from ..arrays import Bools, Floats, Ints
from ..surface.mesh import MouldMesh
from .cover import Cover, cover

MARGIN = 1.5  # cells at the rim that do not count: the outline is drawn in cells
# Cloth gives a little, so a zone that is not determined pulls at its neighbourhood this far, as a
# share of the size: measured on caps with the tack point far off the middle.
PULL = 0.04


def settled_faces(surface: MouldMesh, flat: Floats) -> Bools:
    """Return (m,) whether the net is determined by the spines x = 0 and y = 0 there."""
    drawn = cover(surface, flat)
    reach = int(np.ceil(PULL * max(drawn.layers.shape)))
    spans = [_from_spine(drawn, axis) for axis in (0, 1)]
    loose = (drawn.layers > 0) & (_count(drawn.layers < 1, spans) > 0)
    around = [
        (np.maximum(np.arange(n) - reach, 0), np.minimum(np.arange(n) + reach + 1, n))
        for n in drawn.layers.shape
    ]
    near = _count(loose, around) > 0
    column, row = drawn.cells_of(sum(flat[corner] for corner in surface.faces.T) / 3).T
    return np.asarray(~near[column, row], bool)


def _from_spine(drawn: Cover, axis: int) -> tuple[Ints, Ints]:
    """Return for each column (or row) the first and last between it and the spine."""
    count = drawn.layers.shape[axis]
    spine = -drawn.origin[axis] / drawn.cell
    middle = np.arange(count) + 0.5
    left = middle < spine
    first = np.ceil(np.where(left, middle + MARGIN, spine)).astype(np.int64)
    last = np.floor(np.where(left, spine, middle - MARGIN)).astype(np.int64)
    first = np.clip(first, 0, count)
    return first, np.clip(np.maximum(last, first), 0, count)


def _count(cells: Bools, spans: list[tuple[Ints, Ints]]) -> Ints:
    """Return (columns, rows) how many true cells lie in the rectangle each cell stands for."""
    total = np.zeros((cells.shape[0] + 1, cells.shape[1] + 1), np.int32)
    np.cumsum(cells, axis=0, out=total[1:, 1:], dtype=np.int32)
    np.cumsum(total[1:, 1:], axis=1, out=total[1:, 1:])
    (low_x, high_x), (low_y, high_y) = spans
    wide = total[high_x] - total[low_x]
    return np.asarray(wide[:, high_y] - wide[:, low_y], np.int64)
