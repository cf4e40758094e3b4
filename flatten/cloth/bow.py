"""The bow of threads across a triangle: what straight triangles leave out of curved threads.

Over a linear triangle both families of threads are straight. Where they curve in the plane of the
cloth the gradient of the triangle is off by a term of the first order in its size, and energy
spent on that moves the outline. So the second derivatives are read from the triangles around,
unfolded into the plane of each, and the gradient is corrected before the strain is taken. With
D_ij = d_ij . H d_ij along the side from corner i to corner j, k the corner opposite, and w_k the
shares of the corners, a function u of second degree has

    u = linear(u) - 1/2 sum w_i w_j D_ij
    mean gradient of u = gradient of linear(u) + 1/6 sum D_ij grad w_k

The first gives the three D from the values at the far corners of the nine nearest triangles, by
least squares. Nothing is read across the edge of the surface, and a crease that unfolds is none.

Source: deferred correction, Stetter, The defect correction principle and discretization methods,
Numer. Math. 29 (1978) 425; second derivatives from a patch, Zienkiewicz & Zhu, The superconvergent
patch recovery, Int. J. Numer. Meth. Engng 33 (1992) 1331; the unfolded patch: ours.
"""

from __future__ import annotations

import numpy as np

from ..arrays import Floats
from ..surface.edges import Edges
from .energy import Panels
from .unfolded import FAR, NEAREST, Unfolded, damped_inverse

# Least squares are damped by this: what the far corners all but leave open is taken as straight.
DAMPED = 0.03
# Threads that kink have no bow to be read off triangles: it counts in full only while it is small
# beside this share of the gradient's least stretch, and the less the larger it is beyond. Threads
# that resist being bent do not kink.
MOST, MOST_BENT = 0.2, 2.0
AT_ONCE = 4_000  # triangles: nine corners of each stay in the cache


class Bow:
    """Reads the bow of both threads, for all triangles, from a layout; linear in it while small."""

    def __init__(self, panels: Panels, edges: Edges) -> None:
        self.panels = panels
        around = Unfolded(panels, edges, FAR)
        self.far = around.vertices  # (9, m)
        self.of_far = np.empty((2, FAR, len(panels)))
        self.of_own = np.empty((2, 2, len(panels)))
        for some in panels.chunks(AT_ONCE):
            self.of_far[:, :, some], self.of_own[:, :, some] = _weights(around, some)

    def read(self, flat: Floats, *, bent: bool = False) -> Floats:
        """Return (2, 2, m): of x and y, how much of either component of the gradient is bow.

        `bent`: of threads that resist being bent.
        """
        most = MOST_BENT if bent else MOST
        bow = np.empty((2, 2, len(self.panels)))
        for some in self.panels.chunks():
            faces = self.panels.corner[:, some]
            for x in (0, 1):
                start = flat[x][faces[0]]
                first, second = flat[x][faces[1]] - start, flat[x][faces[2]] - start
                for way in (0, 1):
                    own = self.of_own[way, :, some]
                    bow[x, way, some] = own[0] * first + own[1] * second
                for k in range(FAR):
                    away = flat[x][self.far[k, some]] - start
                    for way in (0, 1):
                        bow[x, way, some] += self.of_far[way, k, some] * away
            bow[:, :, some] *= _share(self.panels.part(some), flat, bow[:, :, some], most)
        return bow

    def across_mm(self, bow: Floats) -> float:
        """Return how far threads of a reading bow across a triangle: root of the mean square."""
        areas = self.panels.areas
        square = (bow * bow).sum(axis=(0, 1)) * areas  # times the square of a triangle's size
        return float(np.sqrt((areas @ square) / areas.sum()))


def _share(panels: Panels, flat: Floats, bow: Floats, most: float) -> Floats:
    """Return (m,) the share of the bow to go by, 1 where it is small."""
    x1, x2 = panels.gradients(flat[0])
    y1, y2 = panels.gradients(flat[1])
    # The least singular value of the gradient is no less than this; of no area, there is no bow.
    least = np.maximum(x1 * y2 - x2 * y1, 0) / np.sqrt(x1 * x1 + x2 * x2 + y1 * y1 + y2 * y2)
    square = (bow * bow).sum(axis=(0, 1))
    limit = (most * least) ** 2
    return np.asarray(limit / np.maximum(limit + square, 1e-300))


def _weights(around: Unfolded, some: slice) -> tuple[Floats, Floats]:
    """Return what (2, 9, k) the far corners and (2, 2, k) the own ones add to the bow.

    All as differences to corner 0.
    """
    panels = around.panels.part(some)
    b, s, h = panels.inverse_base, panels.shift, panels.inverse_height
    place = around.places[:, some]
    across = np.ascontiguousarray(place.imag)
    w1 = place.real * b - across * s
    w2 = across * h
    w0 = 1 - w1 - w2
    half0, half1 = -0.5 * w0, -0.5 * w1
    rows = [half0 * w1, half1 * w2, half0 * w2]  # of D01, D12, D20
    size = np.sqrt(rows[0] * rows[0] + rows[1] * rows[1] + rows[2] * rows[2])
    # The misfit grows with the square of the distance, as the rows do.
    weight = around.there[:, some] / np.maximum(size, NEAREST)
    heavy = [weight * row for row in rows]
    normal = {(i, j): _dot(heavy[i], rows[j]) for i in range(3) for j in range(i, 3)}
    inverse = damped_inverse(normal, DAMPED)
    # Minus a sixth of sum D_ij grad w_k, for D01, D12, D20: what the straight one has too much.
    grad = ((np.zeros_like(h), b, -b), (-h, h - s, s))
    far = np.empty((2, FAR, len(b)))
    for way in (0, 1):
        mix = [sum(grad[way][i] * inverse[i][j] for i in range(3)) / 6 for j in range(3)]
        np.multiply(mix[0], heavy[0], out=far[way])
        for j in (1, 2):
            far[way] += mix[j] * heavy[j]
    own = np.array([[-_dot(part, w) for w in (w1, w2)] for part in far])
    return far, own


def _dot(one: Floats, two: Floats) -> Floats:
    """Return (k,) the sums over the rows of products (9, k)."""
    return np.asarray(np.einsum("ik,ik->k", one, two))
