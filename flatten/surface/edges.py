"""The edges of triangles: who shares them, and the loops of those nobody shares."""

from __future__ import annotations

import numpy as np

from ..arrays import Bools, Ints
from ..errors import InputError


class Edges:
    """Undirected edges of (m, 3) faces and who shares them.

    `vertices` (k, 2) low index first; `of_face` (m, 3) the edge from corner j to corner j + 1;
    `faces` (k, 2) the two faces that share it, -1 where there is none (the first two if more);
    `sides` (k, 2) which of their sides it is, side j of face f being 3 f + j;
    `count` (k,) faces on it; `flipped` (k,) both faces run along it in the same direction;
    `crowded` (k,) in three faces or more; `boundary` (k,) in one face only.
    """

    def __init__(self, faces: Ints) -> None:
        m = len(faces)
        start, end = faces.ravel(), np.roll(faces, -1, axis=1).ravel()  # edge 3 f + j
        low, high = np.minimum(start, end), np.maximum(start, end)
        base = int(faces.max()) + 1 if m else 1
        every = low * base + high
        every, order = in_order(every, base * base)
        new = np.ones(len(every), bool)
        new[1:] = every[1:] != every[:-1]
        offset = np.flatnonzero(new)
        keys, first = every[offset], order[offset]
        count = np.diff(np.append(offset, len(every)))
        inverse = np.empty(len(every), np.int64)
        inverse[order] = np.cumsum(new) - 1
        self.vertices: Ints = np.column_stack([keys // base, keys % base])
        self.of_face: Ints = inverse.reshape(m, 3)
        self.count: Ints = count
        two = np.flatnonzero(count > 1)
        second = order[offset[two] + 1]
        self.sides: Ints = np.full((len(keys), 2), -1)
        self.sides[:, 0], self.sides[two, 1] = first, second
        self.faces: Ints = self.sides // 3  # of -1 it is -1
        self.flipped: Bools = np.zeros(len(keys), bool)
        self.flipped[two] = (start[first[two]] == start[second]) & (count[two] == 2)
        self.crowded: Bools = count > 2
        self.boundary: Bools = count == 1

    def boundary_loops(self, faces: Ints) -> list[Ints]:
        """Return the closed boundary loops as vertex indices, the surface on their left.

        Raises
        ------
        InputError : two loops touch in one vertex (the surface hangs together by a point there)
        """
        face, corner = np.nonzero(self.boundary[self.of_face])
        start, end = faces[face, corner], faces[face, (corner + 1) % 3]
        following = dict(zip(start.tolist(), end.tolist(), strict=True))
        if len(following) != len(start):
            vertex, times = np.unique(start, return_counts=True)
            pinched = vertex[times > 1]
            raise InputError(
                f"The surface hangs together by a single point (vertex {pinched[0]}).",
                "Add or remove a face there.",
                faces=np.flatnonzero(np.isin(faces, pinched).any(axis=1)),
            )
        loops = []
        while following:
            first, vertex = following.popitem()
            loop = [first]
            while vertex != first:
                loop.append(vertex)
                vertex = following.pop(vertex)
            loops.append(np.array(loop))
        return sorted(loops, key=lambda loop: int(loop.min()))


def in_order(keys: Ints, limit: int) -> tuple[Ints, Ints]:
    """Return (k,) keys in 0 .. limit - 1 sorted, and their order, of equal ones the first first."""
    count = max(len(keys), 1)
    if limit * count >= 2**63:
        order = np.argsort(keys, kind="stable")
        return keys[order], order
    both = keys * count + np.arange(len(keys))  # numbers sort several times as fast as indices
    both.sort()
    keys = both // count
    return keys, both - keys * count
