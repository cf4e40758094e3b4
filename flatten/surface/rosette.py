"""Rosette: where 0 degrees points, and which side the angles are counted from."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import Floats, frozen_floats, unit_vector
from ..errors import InputError


@dataclass(frozen=True, eq=False, init=False)
class Rosette:
    """The 0-degree direction of a laminate, carried to any face by projection.

    `origin` (3,) mm; `zero` (3,) unit, the 0-degree direction; `normal` (3,) unit, at right
    angles to it, towards the person who lays up. Angles are positive counter-clockwise seen
    against `normal`, that is looking down on the mould face (ASTM D6507, as cited in US Army
    TM 1-1500-204-23-11, para. 5-7).
    """

    origin: Floats
    zero: Floats
    normal: Floats

    def __init__(self, origin: ArrayLike, zero: ArrayLike, normal: ArrayLike) -> None:
        up = unit_vector("rosette normal", normal)
        zero = unit_vector("rosette 0-degree direction", zero)
        along = zero - up * (up @ zero)
        if np.linalg.norm(along) < 1e-6:
            raise InputError(
                "The rosette's 0-degree direction runs along its normal.",
                "Turn the rosette so that its arrow lies in the mould face.",
            )
        object.__setattr__(self, "origin", frozen_floats("rosette origin", origin, (3,)))
        object.__setattr__(self, "zero", unit_vector("rosette 0-degree direction", along))
        object.__setattr__(self, "normal", up)

    def direction(self, angle_deg: float, face_normal: ArrayLike) -> Floats:
        """Return the unit direction (3,) of `angle_deg` in the plane with this face normal.

        The direction is turned in the rosette's own plane, then projected along the rosette's
        normal on to the face; where the face stands upright it is projected at right angles.

        Raises
        ------
        InputError : the direction runs along the face's normal there
        """
        n = unit_vector("face normal", face_normal)
        angle = np.radians(angle_deg)
        flat = np.cos(angle) * self.zero + np.sin(angle) * np.cross(self.normal, self.zero)
        steep = float(n @ self.normal)
        along = (
            flat - self.normal * (float(flat @ n) / steep)
            if abs(steep) > 0.1
            else flat - n * (flat @ n)
        )
        if np.linalg.norm(along) < 1e-6:
            raise InputError(
                f"The {angle_deg:g} degree direction points straight out of the mould face.",
                "Turn the rosette, or place the tack point elsewhere.",
            )
        return unit_vector("fibre direction", along)
