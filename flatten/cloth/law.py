"""How each kind of cloth resists: an energy of thread stretch and shear, per mm2.

weave, biaxial   both threads keep their length; shear costs little up to 90 degrees
unidirectional   the fibres keep their length; across them the cloth spreads softly up to a
                 limit; shear costs more than in a weave
mat, film        no threads: see isotropic.py

There is no spring at the locking angle. Such a spring gives deep trays several lay-downs that
differ with the mesh; locking is measured and reported instead, and cured by a dart. Only where
threads come to lie on each other does shear grow stiffer, softly: a net alone has no answer there.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ..arrays import Floats
from .fabric import Fabric

Derivatives = tuple[Floats, Floats, Floats, Floats, Floats, Floats, Floats, Floats]


# Shear beyond which threads crowd each other, in cloth that lies down and in cloth that is jammed:
# more than a 75-degree cap asks of it, draped from far off its middle (66 degrees).
CROWDS_DEG = (67.0, 60.0)
CROWDED = 3e-3  # the stiffness of that: threads then keep below 80 degrees
# Jammed cloth shears less freely all over, or the outline of a tray depends on its triangles; not
# much less, or its fibres stretch instead.
JAMMED_SHEAR = 3e-3


def thread_law(fabric: Fabric, jammed: float = 0.0) -> Law:
    """Return the law of a cloth with threads; `jammed` 0 .. 1 (jam.py), all between continuous."""
    law = _free_law(fabric)
    shear = law.shear * (max(JAMMED_SHEAR, law.shear) / law.shear) ** jammed
    crowds_deg = CROWDS_DEG[0] + jammed * (CROWDS_DEG[1] - CROWDS_DEG[0])
    return replace(law, shear=shear, crowds=float(np.tan(np.radians(crowds_deg))))


def _free_law(fabric: Fabric) -> Law:
    if fabric.kind == "unidirectional":
        spread = fabric.stretch_limit_across
        return Law(
            weft=fabric.stiffness_across,
            shear=fabric.stiffness_shear,
            limit=float(np.log1p(spread)) if spread > 0 else None,
        )
    return Law(weft=fabric.stiffness_across, shear=fabric.stiffness_shear)


@dataclass(frozen=True, slots=True, kw_only=True)
class Law:
    """Energy 1/2 (warp q1^2 + weft q2^2 + shear tan^2 gamma), stiffer beyond `limit` in q2.

    And where tan gamma exceeds `crowds`, 1/2 `crowded` times the square of the excess.
    """

    warp: float = 1.0
    weft: float = 1.0
    shear: float = 1e-5
    crowds: float = np.inf
    crowded: float = CROWDED
    limit: float | None = None  # log of the spread across the fibres where it stops being soft

    def density(self, q1: Floats, q2: Floats, tangent: Floats) -> Floats:
        """Return the energy per mm2, (m,) as logs of stretch and tangent of the shear are."""
        e: Floats = self.warp * q1 * q1
        e += self.weft * q2 * q2
        e += self.shear * tangent * tangent
        over = _beyond(tangent, self.crowds)
        if over is not None:
            e += self.crowded * over * over
        over = _beyond(q2, self.limit)
        if over is not None:
            e += (self.warp - self.weft) * over * over
        e *= 0.5
        return e

    def slopes(self, q1: Floats, q2: Floats, tangent: Floats) -> tuple[Floats, Floats, Floats]:
        """Return the slopes of the energy in q1, q2 and gamma, (m,) each."""
        return self.warp * q1, self._across(q2), self._shear(tangent) * (1 + tangent * tangent)

    def derivatives(self, q1: Floats, q2: Floats, tangent: Floats) -> Derivatives:
        """Return energy, slopes in q1, q2, gamma, curvatures, (m,) each; the last two in gamma.

        Of the two curvatures in gamma the first is the Gauss-Newton one, never negative.
        """
        sec2 = 1 + tangent * tangent
        s2, curvature = np.full_like(q2, self.weft), np.full_like(q2, self.shear)
        over = _beyond(q2, self.limit)
        if over is not None:
            s2 += (self.warp - self.weft) * (over != 0)
        over = _beyond(tangent, self.crowds)
        if over is not None:
            curvature += self.crowded * (over != 0)
        slope = self._shear(tangent)
        return (
            self.density(q1, q2, tangent),
            self.warp * q1,
            self._across(q2),
            slope * sec2,
            np.full_like(q1, self.warp),
            s2,
            curvature * sec2 * sec2,
            sec2 * (curvature * sec2 + 2 * slope * tangent),
        )

    def _across(self, q2: Floats) -> Floats:
        """Return (m,) the slope in q2."""
        over = _beyond(q2, self.limit)
        slope = self.weft * q2
        return slope if over is None else slope + (self.warp - self.weft) * over

    def _shear(self, tangent: Floats) -> Floats:
        """Return (m,) the slope in the tangent of the shear."""
        over = _beyond(tangent, self.crowds)
        slope = self.shear * tangent
        return slope if over is None else slope + self.crowded * over


def _beyond(values: Floats, limit: float | None) -> Floats | None:
    """Return (m,) by how much values are beyond +-limit, signed; None where none is."""
    if limit is None or not len(values) or max(values.max(), -values.min()) <= limit:
        return None
    return np.asarray(np.copysign(np.maximum(np.abs(values) - limit, 0), values))
