"""How far threads stretch as they curve: what straight and curved threads both tell.

Over a straight triangle a thread that curves seems to stretch, by a term of the first order in
the triangle's size: a cap of 75 degrees tells over 1 % where nothing stretches at all. With the
bow of the threads (bow.py) taken off the error is of the second order; but at the rim, and where
cloth was laid as if threads were straight, the bow is read less surely. What does stretch is told
both ways: so the lesser of the two is told, and nothing where they differ in sign. Of a true
stretch that may leave out what the triangles leave open, the less the smaller they are.

Source of taking the lesser: the minmod limiter, Roe, Characteristic-based schemes for the Euler
equations, Annu. Rev. Fluid Mech. 18 (1986) 337; from memory.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..arrays import Floats
from ..surface.mesh import MouldMesh
from .bow import Bow
from .energy import Panels
from .fabric import Fabric


def thread_stretch(
    surface: MouldMesh, flat: Floats, straight: Floats, *, bent: bool = False
) -> Floats:
    """Return (m, 2) the stretch of warp and weft, new / old - 1, of threads as they curve.

    `flat` (n, 2) mm, x along the warp, every triangle counter-clockwise; `straight` (m, 2) what
    is told of straight triangles. `bent`: threads resist being bent, as jammed cloth's do.
    """
    panels, places = Panels.of(surface), np.ascontiguousarray(flat.T)
    bow = Bow(panels, surface.edges).read(places, bent=bent)
    x1, x2, y1, y2 = replace(panels, bow=bow).mean_gradients(places)
    det = x1 * y2 - x2 * y1
    upright = np.where(det > 0, det, np.nan)  # but for rounding it is; if not, the straight one
    curved = np.column_stack([np.hypot(y1, y2), np.hypot(x1, x2)]) / upright[:, None] - 1
    lesser = np.where(np.abs(curved) < np.abs(straight), curved, straight)
    return np.where(curved * straight < 0, 0.0, lesser)


def along_fibres(stretch: Floats, fabric: Fabric) -> Floats:
    """Return (m,) the larger stretch along a fibre, its size; across the fibres it is none."""
    return np.asarray(np.abs(stretch[:, : fibres(fabric)]).max(axis=1))


def fibres(fabric: Fabric) -> int:
    """Return along how many of warp and weft, from the first on, fibres run."""
    return 1 if fabric.kind == "unidirectional" else 2
