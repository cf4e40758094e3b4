"""The triangles around each one unfolded into its plane: where their far corners come to lie.

Second derivatives are read there. A crease that unfolds is none; nothing lies across the edge of
the surface. Ours; the patch of Zienkiewicz & Zhu, The superconvergent patch recovery, Int. J.
Numer. Meth. Engng 33 (1992) 1331, unfolded.
"""

from __future__ import annotations

import numpy as np

from ..arrays import Bools, Floats, Ints
from ..surface.edges import Edges
from .energy import Panels

ACROSS, FAR = 3, 9  # far corners: opposite the three sides, and beyond the six of those triangles
NEAREST = 0.1  # of what it says: a far corner all but on a side says nothing, however near it is


class Unfolded:
    """Far corners of triangles around each of m: `vertices`, `there`, `places` (3 or 9, m).

    A place is a complex number in the plane of the panel: side 01 along the real axis, corner 0
    at nothing.
    """

    def __init__(self, panels: Panels, edges: Edges, rows: int) -> None:
        self.panels, count = panels, len(panels)
        base, high = 1 / panels.inverse_base, 1 / panels.inverse_height
        z = np.zeros((3, count), complex)  # the corners, in the triangle's own plane
        z[1] = base
        z[2] = panels.shift * base * high + 1j * high
        end = z[[1, 2, 0]]
        along = end - z
        along /= np.abs(along)
        beside, there = _beside(edges, count)
        self.vertices: Ints = np.empty((rows, count), np.int64)
        self.there: Bools = np.empty((rows, count), bool)
        self.places = np.empty((rows, count), complex)

        def look_across(to: slice, place: Floats, vertex: Ints, is_there: Bools) -> None:
            """Take from the triangle across each side what it has at `place` (3, m) by its sides.

            As seen from there a side runs the other way, from its end to its start.
            """
            seen = ((place - z) * along.conj()).take(beside)
            seen *= along
            self.there[to] = there & is_there.take(beside)
            self.places[to] = np.where(self.there[to], end - seen, 0)
            self.vertices[to] = np.where(self.there[to], vertex.take(beside), panels.corner[0])

        opposite = [2, 0, 1]
        look_across(slice(0, 3), z[opposite], panels.corner[opposite], np.ones_like(there))
        for k in (1, 2) if rows == FAR else ():
            side = [k, (k + 1) % 3, (k + 2) % 3]
            look_across(
                slice(2 + k, FAR, 2), self.places[side], self.vertices[side], self.there[side]
            )


def _beside(edges: Edges, count: int) -> tuple[Ints, Bools]:
    """Return (3, m) for side s of face f where t m + g stands for it, side t of face g, or 0.

    And whether there is one.
    """
    twin = np.full(3 * count, -1)
    one, two = edges.sides[edges.sides[:, 1] >= 0].T
    twin[one], twin[two] = two, one
    twin = np.ascontiguousarray(twin.reshape(count, 3).T)
    there = twin >= 0
    face = twin // 3
    return np.where(there, (twin - 3 * face) * count + face, 0), there


def damped_inverse(m: dict[tuple[int, int], Floats], damped: float) -> list[list[Floats]]:
    """Return the inverses of symmetric 3 x 3 matrices, damped by so much."""
    a, d, f = (m[i, i] + damped for i in range(3))
    b, c, e = m[0, 1], m[0, 2], m[1, 2]
    one, two, three = d * f - e * e, c * e - b * f, b * e - c * d
    by = 1 / (a * one + b * two + c * three)
    four, five, six = (a * f - c * c) * by, (b * c - a * e) * by, (a * d - b * b) * by
    one, two, three = one * by, two * by, three * by
    return [[one, two, three], [two, four, five], [three, five, six]]
