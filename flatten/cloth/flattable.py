"""Can this surface be laid flat in one piece at all?"""

from __future__ import annotations

import numpy as np

from ..arrays import Floats
from ..errors import InputError
from ..surface.junctions import refuse_t_junctions
from ..surface.mesh import SurfaceMesh, components
from ..surface.topology import handle_faces, opening_faces


def check_opens_flat(mesh: SurfaceMesh) -> None:
    """Refuse what no single piece of cloth covers.

    Raises
    ------
    InputError : T-junctions, two pieces, pieces that touch in a point, a closed surface or a
        handle (with the faces along a cut that would open it)
    """
    refuse_t_junctions(mesh)
    piece = components(mesh.faces, mesh.edges)
    if piece.max() > 0:
        raise InputError(
            f"The surface is in {piece.max() + 1} pieces.",
            "Make each piece a ply of its own, or join them by the faces between.",
            faces=np.flatnonzero(piece > 0),
        )
    loops = mesh.edges.boundary_loops(mesh.faces)
    if not loops:
        faces, start, end = opening_faces(mesh)
        raise InputError(
            "The surface is closed: cloth cannot be laid round it in one flat piece.",
            f"Leave some faces out, or mark a cut from {_point(start)} to {_point(end)} mm.",
            faces=faces,
        )
    used = np.count_nonzero(np.bincount(mesh.faces.ravel()))
    euler = used - len(mesh.edges.vertices) + len(mesh.faces)
    handles = (2 - len(loops) - euler) // 2
    if handles > 0:
        raise InputError(
            f"The surface has {handles} handle{'s' if handles > 1 else ''}, like a cup: it does "
            "not open flat.",
            "Mark a cut along the selected faces, or leave the handle out.",
            faces=handle_faces(mesh),
        )


def _point(place: Floats) -> str:
    return "(" + ", ".join(f"{value:.1f}" for value in place) + ")"
