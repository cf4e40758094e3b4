"""Parts too large for triangles as small as usual: said, not left to be found out."""

from __future__ import annotations

import numpy as np

from ..finding import Finding
from ..surface.mesh import MouldMesh
from ..surface.refine import EDGE_MM, LONG_ENOUGH, MOST_TRIANGLES

FEW = MOST_TRIANGLES // 4  # with fewer triangles it was not their number that made them long


def check_fineness(fine: MouldMesh) -> list[Finding]:
    """Report that the mesh a drape was solved on has longer edges than usual; code drape_coarse."""
    corners = fine.corners
    longest = float(np.sqrt(((np.roll(corners, -1, axis=1) - corners) ** 2).sum(axis=2).max()))
    if longest <= LONG_ENOUGH * EDGE_MM or len(fine.faces) < FEW:
        return []
    return [
        Finding(
            code="drape_coarse",
            severity="note",
            message=f"The ply is so large that it was laid with triangles up to {longest:.0f} mm "
            f"long; {EDGE_MM:g} mm is usual. Double curvature tighter than that is smoothed over.",
            hint="Splice it into plies of a size people can handle, or ask for a shorter edge.",
        )
    ]
