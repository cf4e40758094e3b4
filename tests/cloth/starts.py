"""The same drape from another start: is the answer one?"""

import numpy as np

from flatten.cloth.drape import Drape
from flatten.cloth.fabric import Fabric
from flatten.cloth.lay import Laid, lay
from flatten.cloth.laying import Task
from flatten.progress import silent

# The flat shape drawn out by a quarter, squeezed and leant over by 14 degrees: far from at rest.
PULLED = np.array([[1.25, 0.25], [0.0, 0.85]])


def laid_again(drape: Drape, fabric: Fabric, warp) -> tuple[Laid, float]:
    """Lay the drape's own mesh from its layout pulled out of shape; and how far apart they end.

    The distance is the largest of any vertex, mm, the tack point on the tack point.
    """
    mesh = drape.fine.surface
    task = Task(
        fabric=fabric,
        tack_mm=drape.tack_mm,
        warp=np.array(warp, float),
        turn=0.0,
        method=drape.method,
    )
    laid = lay(mesh, task, silent, start=PULLED @ drape.fine.flat.T)
    flat = laid.layout.flat.T
    point = laid.tack.point
    flat = flat - point.barycentric @ flat[mesh.faces[point.face]]
    return laid, float(np.abs(flat - drape.fine.flat).max())
