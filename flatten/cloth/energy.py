"""Stretch and shear of cloth in every triangle: energy, gradient, matrix blocks.

In a triangle, with gx, gy the gradients of the flat coordinates and D = gx x gy > 0,

    q1 = log(|gy| / D)    log of the warp stretch      q2 = log(|gx| / D)   of the weft stretch
    gamma = atan2(-gx . gy, D)    shear, positive where warp and weft close up

gamma is the difference of the gradients' polar angles, and q1 = -log|gx| - log cos gamma; hence
short closed forms for first and second derivatives. Source of the strain measures: logarithmic
(Hencky) strain, Bonet & Wood, Nonlinear Continuum Mechanics, 2nd ed. 2008, ch. 4, along the
threads; derivation of the derivatives: ours.

Longer than most files: value, gradient and matrix are one derivation, read side by side.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from ..arrays import Floats, Ints
from ..surface.mesh import MouldMesh
from .law import Law

if TYPE_CHECKING:
    from .bending import Bending
    from .factor import SparseSystem


CHUNK = 16_000  # triangles taken at once: what is worked out of them stays in the cache


@dataclass(frozen=True, slots=True, eq=False)
class Panels:
    """The triangles of a mesh in their own planes: side 01 along the first axis.

    `corner` (3, m): the vertices. `inverse_base`, `shift`, `inverse_height` (m,): gradient of a
    function with differences d1, d2 to corner 0 is (d1 ib, d2 ih - d1 sh). `bow` (2, 2, m): of x
    and y, what of that gradient is there only because threads curve between the corners (bow.py);
    None: nothing.
    """

    corner: Ints
    areas: Floats
    inverse_base: Floats
    shift: Floats
    inverse_height: Floats
    bow: Floats | None = None

    @staticmethod
    def of(mesh: MouldMesh) -> Panels:
        """Return the panels of a mesh."""
        first, second = mesh.sides[0], -mesh.sides[2]
        base = np.sqrt(_dot(first, first))
        along = _dot(first, second) / base
        height = np.sqrt(np.maximum(_dot(second, second) - along * along, 1e-300))
        return Panels(
            corner=np.ascontiguousarray(mesh.faces.T),
            areas=0.5 * base * height,
            inverse_base=1 / base,
            shift=along / (base * height),
            inverse_height=1 / height,
        )

    def __len__(self) -> int:
        """Return the number of triangles."""
        return len(self.areas)

    def part(self, some: slice) -> Panels:
        """Return some of the panels, nothing copied."""
        return Panels(
            self.corner[:, some],
            self.areas[some],
            self.inverse_base[some],
            self.shift[some],
            self.inverse_height[some],
            None if self.bow is None else self.bow[:, :, some],
        )

    def chunks(self, size: int = CHUNK) -> list[slice]:
        """Return which panels to take at once."""
        return [slice(k, k + size) for k in range(0, len(self), size)]

    def gradients(self, values: Floats) -> tuple[Floats, Floats]:
        """Return both components (m,) of the gradient of a function given at the vertices."""
        start, first, second = (values.take(c) for c in self.corner)
        first -= start
        second -= start
        second *= self.inverse_height
        second -= np.multiply(first, self.shift, out=start)
        first *= self.inverse_base
        return first, second

    def mean_gradients(self, flat: Floats) -> tuple[Floats, Floats, Floats, Floats]:
        """Return the mean gradients (m,) of x and y in `flat` (2, n) mm; the bow taken off."""
        found = (*self.gradients(flat[0]), *self.gradients(flat[1]))
        self.take_bow_off(found)
        return found

    def take_bow_off(self, gradients: tuple[Floats, Floats, Floats, Floats]) -> None:
        """Make the gradients of a straight triangle mean ones, in place."""
        if self.bow is not None:
            for gradient, bow in zip(gradients, self.bow.reshape(4, -1), strict=True):
                gradient -= bow

    def upright_gradients(self, flat: Floats) -> tuple[Floats, Floats, Floats, Floats] | None:
        """Return the mean gradients, None where a triangle is turned over: with bow or without."""
        x1, x2, y1, y2 = found = (*self.gradients(flat[0]), *self.gradients(flat[1]))
        if not (x1 * y2 > x2 * y1).all():
            return None
        self.take_bow_off(found)
        return found if self.bow is None or (x1 * y2 > x2 * y1).all() else None

    def upright(self, flat: Floats) -> bool:
        """Tell whether every triangle is counter-clockwise, with the bow of threads and without."""
        return all(self.part(some).upright_gradients(flat) is not None for some in self.chunks())

    def differences(self, first: Floats, second: Floats) -> tuple[Floats, Floats]:
        """Return a covector of the gradient as one of (d1, d2)."""
        return (
            first * self.inverse_base - second * self.shift,
            second * self.inverse_height,
        )


@dataclass(frozen=True, slots=True, eq=False)
class Stretch:
    """The state of every triangle: gradients, logs of thread stretch, tangent of the shear."""

    x1: Floats
    x2: Floats
    y1: Floats
    y2: Floats
    det: Floats
    q1: Floats
    q2: Floats
    tangent: Floats


def stretch(panels: Panels, flat: Floats) -> Stretch:
    """Return the state of a flat layout (2, n)."""
    return _stretch_of(*panels.mean_gradients(flat))


def _stretch_of(x1: Floats, x2: Floats, y1: Floats, y2: Floats) -> Stretch:
    det = x1 * y2 - x2 * y1
    log_det = np.log(det)
    q1 = 0.5 * np.log(y1 * y1 + y2 * y2) - log_det
    q2 = 0.5 * np.log(x1 * x1 + x2 * x2) - log_det
    return Stretch(x1, x2, y1, y2, det, q1, q2, -(x1 * y1 + x2 * y2) / det)


@dataclass(frozen=True, slots=True, eq=False)
class ThreadEnergy:
    """The energy of cloth with two threads over the triangles of a mesh."""

    panels: Panels
    law: Law
    bending: Bending | None = None

    def bowed(self, bow: Floats) -> ThreadEnergy:
        """Return the same with this bow (2, 2, m) of the threads."""
        return replace(self, panels=replace(self.panels, bow=bow))

    def value(self, flat: Floats) -> float:
        """Return the energy (mm2) of a layout (2, n); infinite where a triangle is turned over."""
        total = 0.0
        for some in self.panels.chunks():
            panels = self.panels.part(some)
            found = panels.upright_gradients(flat)
            if found is None:
                return np.inf
            s = _stretch_of(*found)
            total += float(panels.areas @ self.law.density(s.q1, s.q2, s.tangent))
        if self.bending is not None:
            total += self.bending.energy(flat[0]) + self.bending.energy(flat[1])
        return total

    def gradient(self, flat: Floats) -> Floats | None:
        """Return the gradient (2, n) of the energy, None where a triangle is turned over."""
        gx, gy = np.empty((2, 2, len(self.panels)))
        for some in self.panels.chunks():
            panels = self.panels.part(some)
            found = panels.upright_gradients(flat)
            if found is None:
                return None
            gx[:, some], gy[:, some] = self._slopes(panels, _stretch_of(*found))
        return self._with_bending(to_vertices(self.panels, gx, gy, flat.shape[1]), flat)

    def _with_bending(self, gradient: Floats, flat: Floats) -> Floats:
        """Return the gradient with that of bending added, in place."""
        if self.bending is not None:
            for axis in (0, 1):
                gradient[axis] += self.bending.slope(flat[axis])
        return gradient

    def _slopes(
        self, panels: Panels, s: Stretch
    ) -> tuple[tuple[Floats, Floats], tuple[Floats, Floats]]:
        """Return the energy's slopes in the differences of x and of y to corner 0."""
        a = panels.areas
        f1, f2, f3 = self.law.slopes(s.q1, s.q2, s.tangent)
        turn = a * ((f1 + f2) * s.tangent + f3)
        nx, ny = 1 / (s.x1 * s.x1 + s.x2 * s.x2), 1 / (s.y1 * s.y1 + s.y2 * s.y2)
        af1, af2 = a * f1 * nx, a * f2 * ny
        tx, ty = turn * nx, turn * ny
        return (
            panels.differences(tx * s.x2 - af1 * s.x1, -af1 * s.x2 - tx * s.x1),
            panels.differences(-ty * s.y2 - af2 * s.y1, ty * s.y1 - af2 * s.y2),
        )

    def derivatives(
        self, system: SparseSystem, flat: Floats, newton: float
    ) -> tuple[float, Floats, Floats]:
        """Return energy, its gradient (2, n) and the values of the matrix.

        `newton`: share of the second derivatives of the strains; 0 is Gauss-Newton.
        """
        count = len(self.panels)
        blocks = np.empty((21, count))
        slopes = np.empty((2, 2, count))
        total = 0.0
        for some in self.panels.chunks():
            panels = self.panels.part(some)
            s = stretch(panels, flat)
            e = self._second(panels, s, newton, slopes[:, :, some], blocks[:, some])
            total += float(panels.areas @ e)
        values = system.assemble(blocks)
        gradient = to_vertices(self.panels, slopes[0], slopes[1], flat.shape[1])
        if self.bending is not None:
            for axis in (0, 1):
                total += self.bending.energy(flat[axis])
                self.bending.add_stiffness(values, flat[axis], axis, newton)
        return total, self._with_bending(gradient, flat), values

    def _second(
        self, panels: Panels, s: Stretch, newton: float, slopes: Floats, blocks: Floats
    ) -> Floats:
        """Fill in slopes (2, 2, k) and blocks (21, k); return the density."""
        a, t = panels.areas, s.tangent
        e, f1, f2, f3, s1, s2, s3, h3 = self.law.derivatives(s.q1, s.q2, t)
        sec2 = 1 + t * t
        nx, ny = 1 / (s.x1 * s.x1 + s.x2 * s.x2), 1 / (s.y1 * s.y1 + s.y2 * s.y2)
        u = panels.differences(s.x1 * nx, s.x2 * nx)
        up = panels.differences(-s.x2 * nx, s.x1 * nx)
        v = panels.differences(s.y1 * ny, s.y2 * ny)
        vp = panels.differences(-s.y2 * ny, s.y1 * ny)
        turn = a * ((f1 + f2) * t + f3)
        for i in (0, 1):
            slopes[0, i] = -(a * f1 * u[i] + turn * up[i])
            slopes[1, i] = turn * vp[i] - a * f2 * v[i]
        both = (s1 + s2) * t * t + s3 + newton * ((f1 + f2) * sec2 + h3 - s3)
        xup, yup = a * s1 * t + newton * turn, -(a * s2 * t + newton * turn)
        xx = _square(u, up, a * (s1 + newton * f1), xup, a * (both - newton * f1))
        yy = _square(v, vp, a * (s2 + newton * f2), yup, a * (both - newton * f2))
        left = [-a * (both * up[i] + s1 * t * u[i]) for i in (0, 1)]
        right = [a * s2 * t * up[i] for i in (0, 1)]
        xy = [[left[i] * vp[j] + right[i] * v[j] for j in (0, 1)] for i in (0, 1)]
        corner_blocks(xx, yy, xy, blocks)
        return e


def _dot(one: Floats, two: Floats) -> Floats:
    """Return (m,) the scalar products of vectors (3, m)."""
    # A sum over a short axis takes several times as long.
    return np.asarray(one[0] * two[0] + one[1] * two[1] + one[2] * two[2])


def _square(
    u: tuple[Floats, Floats], p: tuple[Floats, Floats], uu: Floats, up: Floats, pp: Floats
) -> tuple[Floats, Floats, Floats]:
    """Return entries 11, 12, 22 of uu u u' + up (u p' + p u') + pp p p'."""
    first = [uu * u[i] + up * p[i] for i in (0, 1)]
    second = [up * u[i] + pp * p[i] for i in (0, 1)]
    return (
        first[0] * u[0] + second[0] * p[0],
        first[0] * u[1] + second[0] * p[1],
        first[1] * u[1] + second[1] * p[1],
    )


def to_vertices(
    panels: Panels, gx: Floats | list[Floats], gy: Floats | list[Floats], count: int
) -> Floats:
    """Return the gradient (2, n) summed over the corners, from those in the differences."""
    index = panels.corner.ravel()
    return np.stack(
        [
            np.bincount(index, np.concatenate([-(g[0] + g[1]), g[0], g[1]]), minlength=count)
            for g in (gx, gy)
        ]
    )


def corner_blocks(
    xx: tuple[Floats, Floats, Floats],
    yy: tuple[Floats, Floats, Floats],
    xy: list[list[Floats]],
    blocks: Floats | None = None,
) -> Floats:
    """Return the (21, m) entries over corners from those over differences to corner 0.

    `blocks` (21, m): where to put them.
    """
    x, y = _with_corner_zero(*xx, xx[1]), _with_corner_zero(*yy, yy[1])
    c = _with_corner_zero(xy[0][0], xy[0][1], xy[1][1], xy[1][0])
    blocks = np.empty((21, len(xx[0]))) if blocks is None else blocks
    for corner in range(3):
        blocks[3 * corner] = x[corner][corner]
        blocks[3 * corner + 1] = c[corner][corner]
        blocks[3 * corner + 2] = y[corner][corner]
    for side, (i, j) in enumerate(((0, 1), (1, 2), (2, 0))):
        at = 9 + 4 * side
        blocks[at], blocks[at + 1] = x[i][j], c[j][i]
        blocks[at + 2], blocks[at + 3] = c[i][j], y[i][j]
    return blocks


def _with_corner_zero(e11: Floats, e12: Floats, e22: Floats, e21: Floats) -> list[list[Floats]]:
    """Return the 3 x 3 table with row and column sums zero whose lower right part is given."""
    r1, r2 = -(e11 + e12), -(e21 + e22)
    c1, c2 = -(e11 + e21), -(e12 + e22)
    return [[-(r1 + r2), c1, c2], [r1, e11, e12], [r2, e21, e22]]
