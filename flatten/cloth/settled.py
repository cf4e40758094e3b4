"""Where the net is determined: only there can anyone say how the cloth lies.

A net is fixed by its two spines at a point (u, v) when the whole rectangle of cloth between the
spines and that point lies on the surface (the Goursat problem's domain of dependence; Courant &
Hilbert, Methods of Mathematical Physics II, 1962, ch. V). Elsewhere the least energy decides.
"""

from __future__ import annotations

import numpy as np

from ..arrays import Bools, Floats, Ints
from ..surface.mesh import MouldMesh

CELLS = 360  # along the longer side of the cloth
MARGIN = 1.5  # cells at the rim that do not count: the outline is drawn in cells


def settled_faces(surface: MouldMesh, flat: Floats) -> Bools:
    """Return (m,) whether the net is determined by the spines x = 0 and y = 0 there."""
    low, size = flat.min(axis=0), np.ptp(flat, axis=0)
    cell = float(size.max()) / CELLS
    shape = np.ceil(size / cell).astype(int) + 2
    origin = low - cell
    outside = ~_covered(surface, (flat - origin) / cell, shape)
    total = np.zeros(shape + 1, np.int64)
    total[1:, 1:] = outside.cumsum(axis=0).cumsum(axis=1)
    centre = flat[surface.faces].mean(axis=1)
    start = np.minimum(centre, 0) - origin
    end = np.maximum(centre, 0) - origin
    first = np.ceil(start / cell + np.where(centre < 0, MARGIN, 0)).astype(int)
    last = np.floor(end / cell - np.where(centre > 0, MARGIN, 0)).astype(int)
    first = np.clip(first, 0, shape)
    last = np.clip(np.maximum(last, first), 0, shape)
    missing = (
        total[last[:, 0], last[:, 1]]
        - total[first[:, 0], last[:, 1]]
        - total[last[:, 0], first[:, 1]]
        + total[first[:, 0], first[:, 1]]
    )
    inside: Bools = missing == 0
    return inside


def _covered(surface: MouldMesh, points: Floats, shape: Ints) -> Bools:
    """Return (columns, rows) which cells' centres the cloth covers, by winding of its rim."""
    faces, edges = surface.faces, surface.edges
    face, corner = np.nonzero(edges.boundary[edges.of_face])
    a, b = points[faces[face, corner]], points[faces[face, (corner + 1) % 3]]
    turns = np.zeros((shape[0] + 1, shape[1]), np.int64)
    low = np.ceil(np.minimum(a[:, 1], b[:, 1]) - 0.5).astype(int)
    high = np.ceil(np.maximum(a[:, 1], b[:, 1]) - 0.5).astype(int)
    count = high - low
    edge = np.repeat(np.arange(len(a)), count)
    row = low[edge] + np.arange(len(edge)) - np.repeat(np.cumsum(count) - count, count)
    share = (row + 0.5 - a[edge, 1]) / (b[edge, 1] - a[edge, 1])
    crossing = a[edge, 0] + share * (b[edge, 0] - a[edge, 0])
    column = np.clip(np.ceil(crossing - 0.5).astype(int), 0, shape[0])
    np.add.at(turns, (column, row), np.where(b[edge, 1] > a[edge, 1], -1, 1))
    covered: Bools = turns.cumsum(axis=0)[:-1] > 0
    return covered
