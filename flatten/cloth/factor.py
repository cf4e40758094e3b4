"""The sparse system of a drape: its pattern once, a factor for each step.

The only file that meets cvxopt; its CHOLMOD (Davis, Direct Methods for Sparse Linear Systems,
2006) factorises what we assemble.
"""

from __future__ import annotations

import numpy as np
from cvxopt import amd, cholmod, matrix, spmatrix

from ..arrays import Bools, Floats, Ints
from ..surface.edges import Edges
from .order import dissection

# Above so many vertices nested dissection beats the order of least degree by more than it costs.
DISSECT_ABOVE = 35_000
# Corner pairs of a triangle, in the order of the 21 entries of its 6 x 6 matrix: three corners
# (xx, yx, yy), then three sides (xx, y of the first with x of the second, x with y, yy).
SIDES = ((0, 1), (1, 2), (2, 0))


class SparseSystem:
    """Symmetric systems over (x, y) of every vertex, unknown 2 v and 2 v + 1.

    Two vertices are coupled where an edge joins them; `extra` (k, 2) names more such pairs.
    `edge_pair` and `extra_pair` number the pair of each edge and each extra one. `points` (n, 3)
    are where the vertices lie: large systems are ordered by them.
    """

    def __init__(
        self,
        faces: Ints,
        edges: Edges,
        count: int,
        extra: Ints | None = None,
        *,
        points: Floats | None = None,
    ) -> None:
        self.count = count
        self._points = points
        self._faces, self._of_face = faces, edges.of_face
        keys = edges.vertices[:, 0] * count + edges.vertices[:, 1]  # sorted already
        self.edge_pair: Ints = np.arange(len(keys))
        self.extra_pair: Ints = np.zeros(0, np.int64)
        if extra is not None:
            more = extra.min(axis=1) * count + extra.max(axis=1)
            every = np.union1d(keys, more)
            self.edge_pair, self.extra_pair = every.searchsorted(keys), every.searchsorted(more)
            keys = every
        low, high = keys // count, keys % count
        self._low, self._high = low, high
        degree = np.bincount(low, minlength=count)
        first = np.concatenate([[0], np.cumsum(degree)])[:-1]
        base = np.concatenate([[0], np.cumsum(3 + 4 * degree)])
        self.entries = int(base[-1])
        rank = np.arange(len(low)) - first[low]
        self._diagonal = np.stack([base[:-1], base[:-1] + 1, base[:-1] + 2 + 2 * degree])
        left = base[low] + 2 + 2 * rank  # (x high, x low), next to it (y high, x low)
        right = base[low] + 3 + 2 * degree[low] + 2 * rank  # (x high, y low), then (y, y)
        self._beside = np.stack([left, left + 1, right, right + 1])
        self._rows, self._columns = self._indices(high, degree)
        self._slots = self._face_slots(faces, edges)
        self._matrix: spmatrix | None = None
        self._factor: object | None = None

    def _indices(self, high: Ints, degree: Ints) -> tuple[Ints, Ints]:
        """Return the rows and columns of the entries, column by column."""
        rows = np.empty(self.entries, np.int64)
        x = 2 * np.arange(self.count)
        for slot, row in zip(self._diagonal, (x, x + 1, x + 1), strict=True):
            rows[slot] = row
        for slot, axis in zip(self._beside, (0, 1, 0, 1), strict=True):
            rows[slot] = 2 * high + axis
        in_column = np.column_stack([2 + 2 * degree, 1 + 2 * degree]).ravel()
        return rows, np.repeat(np.arange(2 * self.count), in_column)

    def _face_slots(self, faces: Ints, edges: Edges) -> Ints:
        corner = np.ascontiguousarray(faces.T)
        slots = np.empty((21, len(faces)), np.int64)
        for k in range(3):
            for part in range(3):
                slots[3 * k + part] = self._diagonal[part].take(corner[k])
        for side, (i, j) in enumerate(SIDES):
            pair = self.edge_pair.take(edges.of_face[:, side])
            at = slots[9 + 4 * side : 13 + 4 * side]
            for k, beside in enumerate(self._beside):
                at[k] = beside.take(pair)
            turned = np.flatnonzero(corner[i] < corner[j])
            at[1:3, turned] = at[2:0:-1, turned]
        return slots.ravel()

    def pair_of(self, one: Ints, two: Ints) -> Ints:
        """Return the numbers (k,) of the pairs of vertices `one` and `two` (k,)."""
        wanted = np.minimum(one, two) * self.count + np.maximum(one, two)
        return np.asarray((self._low * self.count + self._high).searchsorted(wanted))

    def diagonal(self, axis: int) -> Ints:
        """Return (n,) where in the values (x, x) or (y, y) of each vertex stands."""
        return np.asarray(self._diagonal[0 if axis == 0 else 2])

    def beside(self, axis: int) -> Ints:
        """Return (k,) where in the values (x, x) or (y, y) of each pair stands."""
        return np.asarray(self._beside[0 if axis == 0 else 3])

    def assemble(self, blocks: Floats) -> Floats:
        """Return the (entries,) values of the matrix from (21, m) entries per face."""
        summed = np.bincount(self._slots, blocks.ravel(), minlength=self.entries)
        return np.asarray(summed, np.float64)

    def add_springs(
        self, values: Floats, faces: Ints, weights: Floats, stiffness: Floats, axis: int
    ) -> None:
        """Add stiffness * (x or y at a point)^2 / 2; points on faces (k,) by weights (k, 3)."""
        for corner in range(3):
            at = self.diagonal(axis)[self._faces[faces, corner]]
            np.add.at(values, at, stiffness * weights[:, corner] ** 2)
        for side, (i, j) in enumerate(SIDES):
            at = self.beside(axis)[self.edge_pair[self._of_face[faces, side]]]
            np.add.at(values, at, stiffness * weights[:, i] * weights[:, j])

    def pin(self, values: Floats, rhs: Floats, pinned: Ints, at: Floats) -> None:
        """Replace the equations of the unknowns `pinned` (k,) by unknown = `at`, symmetrically."""
        held = np.zeros(2 * self.count, bool)
        held[pinned] = True
        known = np.zeros(2 * self.count)
        known[pinned] = at
        touched: Bools = held[self._rows] | held[self._columns]
        where = np.flatnonzero(touched)
        rows, columns, value = self._rows[where], self._columns[where], values[where]
        off = rows != columns
        np.subtract.at(rhs, rows, value * known[columns])
        np.subtract.at(rhs, columns[off], (value * known[rows])[off])
        values[where] = np.where(rows == columns, 1.0, 0.0)
        rhs[pinned] = at

    def factorise(self, values: Floats) -> bool:
        """Factorise the matrix of these (entries,); False where it is not positive definite."""
        cholmod.options["supernodal"] = 2
        if self._matrix is None:
            self._matrix = spmatrix(matrix(values), matrix(self._rows), matrix(self._columns))
            self._factor = self._analyse(self._matrix)
        else:
            self._matrix.V = matrix(values)
        try:
            cholmod.numeric(self._matrix, self._factor)
        except ArithmeticError:
            return False
        return True

    def _analyse(self, stored: spmatrix) -> object:
        """Return the pattern of the factor: x and y of a vertex follow each other in it.

        So the order is looked for among vertices, half as many and a quarter of the pairs.
        """
        pairs = np.column_stack([self._high, self._low])
        if self._points is None or self.count < DISSECT_ABOVE:
            order = self._least_degree(pairs)
        else:
            order = dissection(self._points, pairs, self._least_degree)
        unknowns = np.column_stack([2 * order, 2 * order + 1]).ravel()
        cholmod.options["nmethods"] = 1  # ours alone
        return cholmod.symbolic(stored, p=matrix(unknowns))

    def _least_degree(self, pairs: Ints) -> Ints:
        """Return (n,) the vertices by least degree, coupled by `pairs` (k, 2), the higher first."""
        high, low = (matrix(np.ascontiguousarray(end)) for end in pairs.T)
        return np.array(amd.order(spmatrix(1.0, high, low, (self.count, self.count)))).ravel()

    def solve(self, rhs: Floats) -> Floats:
        """Return the solution (2 n,) of the last factor for a right side (2 n,)."""
        b = matrix(rhs)
        cholmod.solve(self._factor, b)
        return np.array(b).ravel()
