"""Where the net is determined: only there can anyone say how the cloth lies.

A net is fixed by its two spines at a point (u, v) when the whole rectangle of cloth between the
spines and that point lies on the surface (the Goursat problem's domain of dependence; Courant &
Hilbert, Methods of Mathematical Physics II, 1962, ch. V). Elsewhere the least energy decides.
"""

from __future__ import annotations

import numpy as np

from ..arrays import Bools, Floats
from ..surface.mesh import MouldMesh
from .cover import cover

MARGIN = 1.5  # cells at the rim that do not count: the outline is drawn in cells


def settled_faces(surface: MouldMesh, flat: Floats) -> Bools:
    """Return (m,) whether the net is determined by the spines x = 0 and y = 0 there."""
    drawn = cover(surface, flat)
    shape = np.array(drawn.layers.shape)
    outside = np.zeros(shape + 1, np.int64)  # cells without cloth left of and below each corner
    outside[1:, 1:] = (drawn.layers < 1).cumsum(axis=0).cumsum(axis=1)
    centre = flat[surface.faces].mean(axis=1)
    start = (np.minimum(centre, 0) - drawn.origin) / drawn.cell
    end = (np.maximum(centre, 0) - drawn.origin) / drawn.cell
    first = np.ceil(start + np.where(centre < 0, MARGIN, 0)).astype(int)
    last = np.floor(end - np.where(centre > 0, MARGIN, 0)).astype(int)
    first = np.clip(first, 0, shape)
    last = np.clip(np.maximum(last, first), 0, shape)
    missing = (
        outside[last[:, 0], last[:, 1]]
        - outside[first[:, 0], last[:, 1]]
        - outside[last[:, 0], first[:, 1]]
        + outside[first[:, 0], first[:, 1]]
    )
    return np.asarray(missing == 0, bool)
