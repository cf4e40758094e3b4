"""How far a layout is jammed: threads lying nearly on each other, where a net alone has no answer.

Inextensible threads that may shear freely have one lay-down up to there, and beyond it several,
with kinks as narrow as triangles. So the law of cloth changes (law.py, bending.py), by degrees:
a part that all but jams is laid as one that just does.
"""

from __future__ import annotations

import numpy as np

from ..arrays import Floats
from .energy import Panels

# The shear that this share of the surface exceeds decides: up to the first angle the cloth is not
# jammed, from the second on it is wholly so. No cloth we know shears beyond 65.
SHARE = 5e-4
FROM_DEG, TO_DEG = 66.0, 69.0
# Beyond this it is jammed whatever the last steps change.
SURELY_DEG = 70.5


def most_shear_deg(panels: Panels, flat: Floats) -> float:
    """Return the shear (degrees) that `SHARE` of the surface exceeds, in a layout (2, n)."""
    x1, x2 = panels.gradients(flat[0])
    y1, y2 = panels.gradients(flat[1])
    tangent = np.abs(x1 * y1 + x2 * y2) / (x1 * y2 - x2 * y1)
    wanted = SHARE * float(panels.areas.sum())
    high = np.flatnonzero(tangent > np.tan(np.radians(FROM_DEG - 6)))
    area = panels.areas[high]
    if area.sum() <= wanted:
        return 0.0
    order = high[np.argsort(-tangent[high], kind="stable")]
    area = panels.areas[order]
    middle = np.cumsum(area) - 0.5 * area
    return float(np.degrees(np.arctan(np.interp(wanted, middle, tangent[order]))))


def jammed(shear_deg: float) -> float:
    """Return how far cloth is jammed, 0 .. 1, that shears so much; smooth in it."""
    share = float(np.clip((shear_deg - FROM_DEG) / (TO_DEG - FROM_DEG), 0, 1))
    return share * share * (3 - 2 * share)
