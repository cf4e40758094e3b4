"""Stretch and shear of draped cloth per triangle, and what they mean at the bench."""

from __future__ import annotations

import numpy as np

from ..arrays import Floats, frozen_floats
from ..errors import InputError
from ..surface.mesh import MouldMesh
from .energy import Panels


def fabric_strain(surface: MouldMesh, flat: Floats) -> Floats:
    """Measure warp stretch, weft stretch and shear in every triangle.

    Parameters
    ----------
    surface : the draped shape, n vertices and m faces, mm
    flat : (n, 2) the same vertices in the flat cloth, mm; x along the warp

    Returns
    -------
    (m, 3) warp and weft stretch, length on the mould / length in the flat cloth - 1, then the
    shear angle in radians, positive where warp and weft close up

    Raises
    ------
    InputError : a triangle has no area in the flat cloth, or is turned over there

    Source: Bonet & Wood, Nonlinear Continuum Mechanics for Finite Element Analysis, 2nd ed.
    2008, ch. 4: the deformation gradient of a linear triangle.
    """
    flat = frozen_floats("flat", flat, (len(surface.vertices), 2))
    panels = Panels.of(surface)
    x1, x2 = panels.gradients(flat[:, 0])
    y1, y2 = panels.gradients(flat[:, 1])
    det = x1 * y2 - x2 * y1
    bad = np.flatnonzero(~(det > 1e-12 * (x1 * x1 + x2 * x2 + y1 * y1 + y2 * y2)))
    if len(bad):
        raise InputError(
            f"{len(bad)} of {len(det)} triangles have no area in the flat cloth.",
            "Merge vertices by distance, then drape again.",
            faces=bad,
        )
    warp, weft = np.hypot(y1, y2) / det, np.hypot(x1, x2) / det
    return np.column_stack([warp - 1, weft - 1, np.arctan2(-(x1 * y1 + x2 * y2), det)])
