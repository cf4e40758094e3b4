"""A triangulation at work: edges are split and flipped many at a time, the source remembered."""

from __future__ import annotations

import numpy as np

from ..arrays import Bools, Floats, Ints
from .edges import Edges

# New triangles may lean this far from the old pair's mean normal; beyond, a crease would be cut.
LEAN_COSINE = 0.8
# Cotangents of opposite angles sum to less than this before a flip: stops rounding from cycling.
FLIP_GAIN = -1e-6
FLIP_ROUNDS = 60
# Lengths nearer than this share, and cotangents alike to so many digits, are equal: rounding must
# not choose between them, or a part refines otherwise once it has been turned.
EQUAL, ALIKE_DIGITS = 1e-9, 7
STEPS = 24  # from face to face are walked one by one before they are taken in leaps
WORST = -1e6  # cotangents of triangles thinner than that are all alike


class Triangulation:
    """Triangles that can be split and flipped in whole batches.

    A half-edge 3 f + j runs from corner j to corner j + 1 of face f; `twin` is the one that runs
    back in the neighbouring face, -1 at a boundary. `source` is the face each triangle came from,
    `group` a number no flip may mix. `rank` (n,) decides between edges of equal right; without
    it the numbers of their vertices do.
    """

    def __init__(
        self, vertices: Floats, faces: Ints, group: Ints, rank: Floats | None = None
    ) -> None:
        self.vertices = np.array(vertices)
        self._numbered = rank is None
        self.rank = np.arange(len(vertices), dtype=float) if rank is None else np.array(rank)
        self.faces = np.array(faces)
        self.source = np.arange(len(faces))
        self.group = np.array(group)
        edges = Edges(faces)
        order = np.argsort(edges.of_face.ravel(), kind="stable")
        first = np.concatenate([[0], np.cumsum(edges.count)])[:-1][edges.count == 2]
        self.twin = np.full(faces.size, -1)
        self._number = np.arange(faces.size)  # of every half-edge its own, between two moves
        self.twin[order[first]], self.twin[order[first + 1]] = order[first + 1], order[first]

    def side_lengths(self, members: Ints) -> Floats:
        """Return (k, 3) mm: the sides of these faces, from corner j to j + 1."""
        corners = self.vertices[self.faces[members]]
        lengths: Floats = np.sqrt(((np.roll(corners, -1, axis=1) - corners) ** 2).sum(axis=2))
        return lengths

    def split(self, half: Ints) -> Ints:
        """Put a point in the middle of edges (k,), no two in one face; return the faces touched.

        `half` names each edge by one of its half-edges. The new points are numbered on, in order.
        """
        start, end = self._start(half), self._start(_next(half))
        new = len(self.vertices) + np.arange(len(half))
        self.vertices = np.concatenate(
            [self.vertices, 0.5 * (self.vertices[start] + self.vertices[end])]
        )
        of_new = new.astype(float) if self._numbered else self._ranks(half)
        self.rank = np.concatenate([self.rank, of_new])
        paired = self.twin[half] >= 0
        both = np.concatenate([half, self.twin[half[paired]]])
        middle = np.concatenate([new, new[paired]])
        face, child = both // 3, len(self.faces) + np.arange(len(both))
        after, apex = _next(both), _next(_next(both))
        rows = np.column_stack([middle, self._start(after), self._start(apex)])
        outer_twin = self.twin[after]
        self.faces = np.concatenate([self.faces, rows])
        self.source = np.concatenate([self.source, self.source[face]])
        self.group = np.concatenate([self.group, self.group[face]])
        self.twin = np.concatenate([self.twin, np.full(3 * len(both), -1)])
        self.faces.ravel()[after] = middle
        self._move(after, 3 * child + 1, outer_twin)
        self._pair(3 * child + 2, after)
        one, two = np.flatnonzero(paired), len(half) + np.arange(int(paired.sum()))
        self._pair(half[paired], 3 * child[two])
        self._pair(3 * child[one], both[two])
        return np.concatenate([face, child])

    def flip(self, half: Ints) -> Ints:
        """Turn inner edges (k,) over in their quads, no two in one face; return faces touched."""
        back = self.twin[half]
        h1, h2, g1, g2 = _next(half), _next(_next(half)), _next(back), _next(_next(back))
        a, b = self._start(half), self._start(h1)
        c, d = self._start(h2), self._start(g2)
        rim = np.concatenate([h2, g1, g2, h1])
        twins = self.twin[rim]
        self._lend_sources(half // 3, back // 3, self._more_over(a, b, c, d))
        flat = self.faces.ravel()
        flat[half], flat[h1], flat[h2] = d, c, a
        flat[back], flat[g1], flat[g2] = c, d, b
        self._move(rim, np.concatenate([h1, h2, g1, g2]), twins)
        return np.concatenate([half // 3, back // 3])

    def flips_wanted(self, half: Ints, lift_mm: float) -> Ints:
        """Return those edges, no two in one face, whose flip makes the triangles better shaped.

        That is: not Delaunay (the opposite angles sum to more than 180 degrees), both faces of one
        group, and the new edge passes the old one within `lift_mm`, without folding anything.
        """
        half = half[self.twin[half] >= 0]
        half = np.unique(np.minimum(half, self.twin[half]))
        back = self.twin[half]
        half = half[self.group[half // 3] == self.group[back // 3]]
        back = self.twin[half]
        a, b = self._start(half), self._start(back)
        c, d = self._start(_next(_next(half))), self._start(_next(_next(back)))
        gain = self._cotangent(c, a, b) + self._cotangent(d, b, a)
        keep = np.flatnonzero(gain < FLIP_GAIN)
        keep = keep[~self._joined_already(half[keep], back[keep])]
        keep = keep[self._may_flip(a[keep], b[keep], c[keep], d[keep], lift_mm)]
        # the worst last: it wins its faces
        worth = np.round(np.maximum(gain[keep], WORST), ALIKE_DIGITS)
        order = keep[np.lexsort([self._ranks(half[keep]), -worth])]
        half, back = half[order], back[order]
        winner = np.empty(len(self.faces), np.int64)  # read only where it is written
        both = np.column_stack([half // 3, back // 3]).ravel()
        winner[both] = np.repeat(half, 2)
        chosen: Ints = half[(winner[half // 3] == half) & (winner[back // 3] == half)]
        return chosen[self._first_of_each_new_edge(chosen)]

    def _first_of_each_new_edge(self, half: Ints) -> Ints:
        """Return which flips to take: no two may make one edge, it would have four faces."""
        c, d = self._start(_next(_next(half))), self._start(_next(_next(self.twin[half])))
        first: Ints = np.unique(
            np.minimum(c, d) * len(self.vertices) + np.maximum(c, d), return_index=True
        )[1]
        return np.sort(first)

    def flip_all(self, faces: Ints, lift_mm: float) -> Ints:
        """Flip round faces (k,) until nothing wants to any more; return the faces touched."""
        touched = [np.zeros(0, np.int64)]
        for _ in range(FLIP_ROUNDS):
            half = (3 * np.unique(faces)[:, None] + np.arange(3)).ravel()
            wanted = self.flips_wanted(half, lift_mm)
            if not len(wanted):
                break
            faces = self.flip(wanted)
            touched.append(faces)
        return np.concatenate(touched)

    def longest_sides(self, members: Ints, sides: Floats) -> Ints:
        """Return (k,) the half-edge of each face's longest side, given its `sides` (k, 3).

        Of equal sides that of the highest rank, so that both faces of an edge agree.
        """
        rank = self.rank[self.faces[members]]
        key = rank + np.roll(rank, -1, axis=1)
        equal = sides >= sides.max(axis=1, keepdims=True) * (1 - EQUAL)
        longest: Ints = 3 * members + np.where(equal, key, -np.inf).argmax(axis=1)
        return longest

    def terminal_edges(self, members: Ints, longest: Ints) -> Ints:
        """Return the edges reached by walking from these faces over ever longer edges.

        `longest` (m,) is the half-edge of each face's longest side. An edge returned is the
        longest of both its faces, so no two share a face. Source: Rivara, New longest-edge
        algorithms for the refinement and/or improvement of unstructured triangulations, 1997.
        """
        found = []
        here = np.unique(members)
        for _ in range(STEPS):
            half = longest[here]
            other, ends_here = self._over(half, longest)
            found.append(half[ends_here])
            here = np.unique(other[~ends_here])
            if not len(here):
                break
        else:
            found.append(self._far_terminals(here, longest))
        half = np.concatenate(found)
        back = self.twin[half]
        once: Ints = np.unique(np.where(back >= 0, np.minimum(half, back), half))
        return once

    def _over(self, half: Ints, longest: Ints) -> tuple[Ints, Bools]:
        """Return the face over each edge, and whether the walk of `terminal_edges` ends here."""
        back = self.twin[half]
        other = np.where(back >= 0, back // 3, half // 3)
        return other, (back < 0) | (longest[other] == back)

    def _far_terminals(self, here: Ints, longest: Ints) -> Ints:
        """Return where walks end that are long: a fan of needles has thousands of faces in a row.

        Every face's goal is put twice as far off each time. Walks in a ring (edges equal but for
        rounding) end nowhere.
        """
        goal, ends = self._over(longest, longest)
        goal = np.where(ends, np.arange(len(goal)), goal)
        for _ in range(len(goal).bit_length()):
            further = goal[goal]
            if np.array_equal(further, goal):
                break
            goal = further
        reached = np.unique(goal[here])
        return np.asarray(longest[reached[ends[reached]]], np.int64)

    def _start(self, half: Ints) -> Ints:
        start: Ints = self.faces.ravel()[half]
        return start

    def _ranks(self, half: Ints) -> Floats:
        mean: Floats = 0.5 * (self.rank[self._start(half)] + self.rank[self._start(_next(half))])
        return mean

    def _pair(self, one: Ints, two: Ints) -> None:
        self.twin[one], self.twin[two] = two, one

    def _move(self, old: Ints, new: Ints, twins: Ints) -> None:
        """Half-edges change their number together; `twins` are the old numbers of their twins."""
        number = self._number
        if len(number) < len(self.twin):
            number = self._number = np.arange(2 * len(self.twin))
        number[old] = new
        moved = np.where(twins >= 0, number[twins], -1)
        number[old] = old
        self.twin[new] = moved
        self.twin[moved[moved >= 0]] = new[moved >= 0]

    def _cotangent(self, apex: Ints, one: Ints, two: Ints) -> Floats:
        u = self.vertices[one] - self.vertices[apex]
        v = self.vertices[two] - self.vertices[apex]
        sine = np.linalg.norm(np.cross(u, v), axis=1)
        cotangent: Floats = (u * v).sum(axis=1) / np.maximum(sine, 1e-300)
        return cotangent

    def _joined_already(self, half: Ints, back: Ints) -> Bools:
        """Whether the far corners of the two faces have an edge already: three faces at an end."""
        after, before = _next(half), _next(_next(half))
        on, off = _next(back), _next(_next(back))
        joined = np.zeros(len(half), bool)
        for one, two in ((before, on), (after, off)):
            left, right = self.twin[one], self.twin[two]
            joined |= (left >= 0) & (right >= 0) & (left // 3 == right // 3)
        return joined

    def _may_flip(self, a: Ints, b: Ints, c: Ints, d: Ints, lift_mm: float) -> Bools:
        pa, pb, pc, pd = (self.vertices[corner] for corner in (a, b, c, d))
        old = np.cross(pb - pa, pc - pa) + np.cross(pd - pa, pb - pa)
        one, two = np.cross(pd - pa, pc - pa), np.cross(pb - pd, pc - pd)
        across = np.cross(pb - pa, pd - pc)
        width = np.linalg.norm(across, axis=1)
        lift = np.abs(((pc - pa) * across).sum(axis=1)) / np.maximum(width, 1e-300)
        size = np.linalg.norm(old, axis=1)
        fine: Bools = (lift <= lift_mm) & (width > 0)
        for new in (one, two):
            share = (new * old).sum(axis=1)
            length = np.linalg.norm(new, axis=1)
            fine &= (share > LEAN_COSINE * length * size) & (length > 1e-9 * size)
        return fine

    def _more_over(self, a: Ints, b: Ints, c: Ints, d: Ints) -> Bools:
        """Return True where the quad a, d, b, c has more of its area on c's side of a-b."""
        pa, pb = self.vertices[a], self.vertices[b]
        over = np.linalg.norm(np.cross(pb - pa, self.vertices[c] - pa), axis=1)
        under = np.linalg.norm(np.cross(pb - pa, self.vertices[d] - pa), axis=1)
        larger: Bools = over >= under
        return larger

    def _lend_sources(self, face: Ints, other: Ints, first: Bools) -> None:
        """After a flip both triangles lie across the old edge: the larger old face names them."""
        name = np.where(first, self.source[face], self.source[other])
        self.source[face], self.source[other] = name, name


def _next(half: Ints) -> Ints:
    following: Ints = half - half % 3 + (half % 3 + 1) % 3
    return following
