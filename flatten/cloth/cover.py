"""The flat cloth drawn in square cells: where it is, and where it lies double."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..arrays import Floats, Ints
from ..surface.mesh import MouldMesh

CELLS = 240  # along the longer side of the cloth


@dataclass(frozen=True, slots=True, eq=False)
class Cover:
    """How many layers of the flat cloth cover each cell's centre.

    `layers` (columns, rows); `origin` (2,) mm of the lower left corner, outside the cloth;
    `cell` mm. All triangles run counter-clockwise, so the rim winds once round for each layer.
    """

    layers: Ints
    origin: Floats
    cell: float

    def cells_of(self, points: Floats) -> Ints:
        """Return (k, 2) column and row of points (k, 2) mm."""
        index = np.floor((points - self.origin) / self.cell).astype(np.int64)
        return np.asarray(np.clip(index, 0, np.array(self.layers.shape) - 1), np.int64)

    def layers_at(self, points: Floats) -> Ints:
        """Return (k,) the layers of cloth at points (k, 2) mm."""
        column, row = self.cells_of(points).T
        return np.asarray(self.layers[column, row], np.int64)


def cover(surface: MouldMesh, flat: Floats) -> Cover:
    """Draw the flat cloth (n, 2) mm in cells."""
    low, size = flat.min(axis=0), np.ptp(flat, axis=0)
    cell = float(size.max()) / CELLS
    shape = np.ceil(size / cell).astype(int) + 2
    origin = low - cell
    points = (flat - origin) / cell
    faces, edges = surface.faces, surface.edges
    face, corner = np.nonzero(edges.boundary[edges.of_face])
    a, b = points[faces[face, corner]], points[faces[face, (corner + 1) % 3]]
    turns = np.zeros((shape[0] + 1, shape[1]), np.int64)
    low_row = np.ceil(np.minimum(a[:, 1], b[:, 1]) - 0.5).astype(int)
    count = np.ceil(np.maximum(a[:, 1], b[:, 1]) - 0.5).astype(int) - low_row
    edge = np.repeat(np.arange(len(a)), count)
    row = low_row[edge] + np.arange(len(edge)) - np.repeat(np.cumsum(count) - count, count)
    share = (row + 0.5 - a[edge, 1]) / (b[edge, 1] - a[edge, 1])
    crossing = a[edge, 0] + share * (b[edge, 0] - a[edge, 0])
    column = np.clip(np.ceil(crossing - 0.5).astype(int), 0, shape[0])
    np.add.at(turns, (column, row), np.where(b[edge, 1] > a[edge, 1], -1, 1))
    return Cover(turns.cumsum(axis=0)[:-1], origin, cell)
