"""How each kind of cloth resists: an energy of thread stretch and shear, per mm2.

weave, biaxial   both threads keep their length; shear costs little up to 90 degrees
unidirectional   the fibres keep their length; across them the cloth spreads softly up to a
                 limit; shear costs more than in a weave
mat, film        no threads: see isotropic.py

There is no spring at the locking angle. Such a spring gives deep trays several lay-downs that
differ with the mesh; locking is measured and reported instead, and cured by a dart.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..arrays import Floats
from .fabric import Fabric

Derivatives = tuple[Floats, Floats, Floats, Floats, Floats, Floats, Floats, Floats]


def thread_law(fabric: Fabric) -> Law:
    """Return the law of a cloth with threads."""
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
    """Energy 1/2 (warp q1^2 + weft q2^2 + shear tan^2 gamma), stiffer beyond `limit` in q2."""

    warp: float = 1.0
    weft: float = 1.0
    shear: float = 1e-5
    limit: float | None = None  # log of the spread across the fibres where it stops being soft

    def density(self, q1: Floats, q2: Floats, tangent: Floats) -> Floats:
        """Return the energy per mm2."""
        e: Floats = 0.5 * (
            self.warp * q1 * q1 + self.weft * q2 * q2 + self.shear * tangent * tangent
        )
        if self.limit is not None:
            over = np.maximum(np.abs(q2) - self.limit, 0)
            e = e + 0.5 * (self.warp - self.weft) * over * over
        return e

    def derivatives(self, q1: Floats, q2: Floats, tangent: Floats) -> Derivatives:
        """Return energy, slopes in q1, q2, gamma, curvatures; the last two of them in gamma.

        Of the two curvatures in gamma the first is the Gauss-Newton one, never negative.
        """
        sec2 = 1 + tangent * tangent
        f2, s2 = self.weft * q2, np.full_like(q2, self.weft)
        if self.limit is not None:
            over = np.maximum(np.abs(q2) - self.limit, 0)
            extra = self.warp - self.weft
            f2 = f2 + extra * np.copysign(over, q2)
            s2 = s2 + extra * (over > 0)
        return (
            self.density(q1, q2, tangent),
            self.warp * q1,
            f2,
            self.shear * tangent * sec2,
            np.full_like(q1, self.warp),
            s2,
            self.shear * sec2 * sec2,
            self.shear * sec2 * (sec2 + 2 * tangent * tangent),
        )
