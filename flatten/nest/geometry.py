"""Moves of outlines in the plane."""

from __future__ import annotations

import math


def laid(x_mm: float, y_mm: float, angle_deg: float, *, mirrored: bool = False) -> list[float]:
    """Return the move mirror-turn-shift as shapely's [a, b, d, e, x, y].

    Quarter turns are exact: a rectangle turned by 90 degrees keeps straight sides.
    """
    cosine, sine = cos_sin(angle_deg)
    flip = -1.0 if mirrored else 1.0
    return [cosine, -sine * flip, sine, cosine * flip, x_mm, y_mm]


def cos_sin(angle_deg: float) -> tuple[float, float]:
    """Return cosine and sine of an angle in degrees, exact at quarter turns."""
    quarter, rest = divmod(angle_deg % 360, 90)
    if rest in (0.0, 90.0):
        exact = ((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0))
        return exact[round((angle_deg % 360) / 90) % 4]
    del quarter
    return math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
