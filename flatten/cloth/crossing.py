"""A ply's surface that runs through itself: it drapes, but no cloth can lie there."""

from __future__ import annotations

import numpy as np

from ..finding import Finding
from ..mould.crossings import crossing_faces
from ..surface.mesh import MouldMesh


def check_self_crossing(surface: MouldMesh) -> list[Finding]:
    """Report faces of a draped surface that run through others of it, or are folded back on them.

    Code: drape_self_crossing. A warning: the rest of the pattern holds, and CAD tessellations
    cross themselves by a hair at tight fillets.
    """
    faces = np.unique(crossing_faces(surface))
    if not len(faces):
        return []
    return [
        Finding(
            code="drape_self_crossing",
            severity="warning",
            message=f"The ply's surface runs through itself at {len(faces)} "
            f"{'face' if len(faces) == 1 else 'faces'}: cloth cannot be pressed down there, and "
            "the pattern has cloth for both sheets.",
            hint="Leave one of the two sheets out of the ply, or join the bodies of the mould "
            "(boolean union) and select its faces again.",
            faces=tuple(faces.tolist()),
        )
    ]
