"""Cloth without threads (mat, felt, film): near-isometric, the same in every direction.

With J the gradient of the flat coordinates and D its determinant, the energy per mm2 is

    1/4 (|J|^2 / D - 2) + 1/4 (log D)^2

which for small strains is half the sum of the squared logs of the principal stretches (Hencky's
energy without transverse coupling): change of shape and change of area weigh alike, and both grow
without bound before a triangle turns over. Source: logarithmic strain, Bonet & Wood, Nonlinear
Continuum Mechanics, 2nd ed. 2008, ch. 6; the rational form of its distortion part: ours.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..arrays import Floats
from .energy import Panels, corner_blocks, to_vertices
from .factor import SparseSystem

SHAPE, AREA = 0.5, 0.5


@dataclass(frozen=True, slots=True, eq=False)
class SheetEnergy:
    """The energy of a threadless sheet over the triangles of a mesh."""

    panels: Panels

    def value(self, flat: Floats) -> float:
        """Return the energy (mm2) of a layout (2, n); infinite where a triangle is turned over."""
        x1, x2 = self.panels.gradients(flat[0])
        y1, y2 = self.panels.gradients(flat[1])
        det = x1 * y2 - x2 * y1
        if not (det > 0).all():
            return np.inf
        size = x1 * x1 + x2 * x2 + y1 * y1 + y2 * y2
        density = SHAPE * (size / det - 2) + AREA * np.log(det) ** 2
        return float(0.5 * self.panels.areas @ density)

    def gradient(self, flat: Floats) -> Floats | None:
        """Return the gradient (2, n) of the energy, None where a triangle is turned over."""
        panels, a = self.panels, self.panels.areas
        x1, x2 = panels.gradients(flat[0])
        y1, y2 = panels.gradients(flat[1])
        det = x1 * y2 - x2 * y1
        if not (det > 0).all():
            return None
        size = x1 * x1 + x2 * x2 + y1 * y1 + y2 * y2
        by_p = SHAPE * a / det
        by_d = a * (AREA * np.log(det) - 0.5 * SHAPE * size / det) / det
        gx = panels.differences(by_p * x1 + by_d * y2, by_p * x2 - by_d * y1)
        gy = panels.differences(by_p * y1 - by_d * x2, by_p * y2 + by_d * x1)
        return to_vertices(panels, list(gx), list(gy), flat.shape[1])

    def derivatives(
        self, system: SparseSystem, flat: Floats, newton: float
    ) -> tuple[float, Floats, Floats]:
        """Return energy, gradient (2, n) and the matrix values; see energy.ThreadEnergy."""
        panels, a = self.panels, self.panels.areas
        x1, x2 = panels.gradients(flat[0])
        y1, y2 = panels.gradients(flat[1])
        det = x1 * y2 - x2 * y1
        size = x1 * x1 + x2 * x2 + y1 * y1 + y2 * y2
        log = np.log(det)
        e = 0.5 * float(a @ (SHAPE * (size / det - 2) + AREA * log * log))
        px, py = (panels.differences(2 * g[0], 2 * g[1]) for g in ((x1, x2), (y1, y2)))
        dx, dy = panels.differences(y2, -y1), panels.differences(-x2, x1)
        by_p = 0.5 * SHAPE * a / det
        by_d = a * (AREA * log - 0.5 * SHAPE * size / det) / det
        gx = [by_p * px[i] + by_d * dx[i] for i in (0, 1)]
        gy = [by_p * py[i] + by_d * dy[i] for i in (0, 1)]
        gradient = to_vertices(panels, gx, gy, flat.shape[1])
        rest = size - 2 * det
        soft = 1 - newton
        hd = a / det * (newton * (AREA * log - 0.5 * SHAPE * size / det) - soft * SHAPE)
        pd = -a / det**2 * SHAPE * (newton * 0.5 + soft * 0.25)
        shape_dd = newton * size / det + soft * (1 + 0.25 * rest / det)
        dd = a / det**2 * (SHAPE * shape_dd + AREA * (1 - newton * log))
        xx = self._square(by_p, pd, dd, px, dx)
        yy = self._square(by_p, pd, dd, py, dy)
        area = hd * panels.inverse_base * panels.inverse_height
        xy = [
            [pd * (px[i] * dy[j] + dx[i] * py[j]) + dd * dx[i] * dy[j] for j in (0, 1)]
            for i in (0, 1)
        ]
        xy[0][1] = xy[0][1] + area
        xy[1][0] = xy[1][0] - area
        return e, gradient, system.assemble(corner_blocks(xx, yy, xy))

    def _square(
        self, hp: Floats, pd: Floats, dd: Floats, p: tuple[Floats, Floats], d: tuple[Floats, Floats]
    ) -> tuple[Floats, Floats, Floats]:
        b, s, h = self.panels.inverse_base, self.panels.shift, self.panels.inverse_height
        return (
            2 * hp * (b * b + s * s) + 2 * pd * p[0] * d[0] + dd * d[0] * d[0],
            -2 * hp * s * h + pd * (p[0] * d[1] + d[0] * p[1]) + dd * d[0] * d[1],
            2 * hp * h * h + 2 * pd * p[1] * d[1] + dd * d[1] * d[1],
        )
