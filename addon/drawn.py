"""The lines of a ply on the mould, as segments with colours: threads, rim, spines.

What a pattern holds is copied at once; the rest is worked out without Blender, in a thread where
there is much of it.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from . import bridge, engine, mesh_data
from .patterns import MOULD_POINT

if TYPE_CHECKING:
    import numpy as np

AT_ONCE = 10_000  # triangles whose lines are worked out in some 15 ms
LIFT = 0.002  # of the mould's size: lines float above the faces by this
DARK, LIGHT = (0.05, 0.06, 0.09), (0.97, 0.97, 0.95)
WARP, WEFT = (0.99, 0.86, 0.55, 0.9), (0.62, 0.75, 0.95, 0.9)
QUIET = (*DARK, 0.35)  # threads over a map
EDGE, SPINE = (*LIGHT, 1.0), (1.0, 0.62, 0.2, 1.0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PieceTaken:
    """A pattern's arrays: `points` (n, 3) on the mould in its own space, `flat` (n, 2) mm in the
    cloth, `triangles` (m, 3), `inside` (m,), `spines` (k, 3) each; and what is wanted of them.
    """

    points: np.ndarray
    flat: np.ndarray
    triangles: np.ndarray
    inside: np.ndarray
    spines: list[np.ndarray]
    own: bool  # of the ply itself; of an extra piece only the line it goes along is drawn
    threads: bool
    outlines: bool
    over_map: bool
    spacing_mm: float


def take_piece(thing: Any, view: Any, mould: Any, context: Any) -> PieceTaken:
    """Copy what is drawn out of a pattern."""
    import numpy as np

    mesh, piece = thing.data, thing.mouldply.piece
    flat = mesh_data.vertex_points(mesh, "position")[:, :2] * bridge.mm_per_unit(context.scene)
    return PieceTaken(
        points=mesh_data.vertex_points(mesh, MOULD_POINT),
        flat=flat,
        triangles=mesh_data.corner_vertices(mesh).reshape(-1, 3),
        inside=mesh_data.face_values(mesh, "inside"),
        spines=[
            bridge.points_from_mm(mould, context.scene, np.array(spine))
            for spine in json.loads(piece.spines or "[]")
            if len(spine) > 1
        ],
        own=piece.role == "ply",
        threads=view.threads,
        outlines=view.outlines,
        over_map=view.map != "NONE",
        spacing_mm=view.spacing_mm,
    )


def styles_of(pieces: Sequence[PieceTaken]) -> list[Any]:
    """Return (colour, width in pixels, (k, 3) ends) of all lines; needs no Blender."""
    return [style for piece in pieces for style in _styles(piece)]


def _styles(piece: PieceTaken) -> list[Any]:
    """Return threads, rim and spines of one pattern where it lies on the mould."""
    import numpy as np

    spines = [(SPINE, 2.0, np.repeat(ends, 2, axis=0)[1:-1]) for ends in piece.spines]
    if not piece.own:
        return spines if piece.outlines else []
    triangles = piece.triangles.astype(np.int64)
    points = piece.points.astype(np.float64)
    points = points + lift(points, triangles)
    styles = []
    warp_look, weft_look = (QUIET, QUIET) if piece.over_map else (WARP, WEFT)
    if piece.threads:
        thread_lines = engine.load("cloth.threads").thread_lines
        warp, weft = thread_lines(points, piece.flat, triangles[piece.inside], piece.spacing_mm)
        styles += [(warp_look, 1.0, warp.reshape(-1, 3)), (weft_look, 1.0, weft.reshape(-1, 3))]
    if piece.outlines:
        styles.append((EDGE, 2.5, points[rim(triangles[piece.inside])].reshape(-1, 3)))
        styles += spines
    return styles


def rim(triangles: Any) -> Any:
    """Return (k, 2) vertices of the edges that belong to one triangle only."""
    import numpy as np

    sides = np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]])
    base = int(triangles.max()) + 1 if len(triangles) else 1
    keys = np.sort(sides, axis=1) @ [base, 1]
    _, first, count = np.unique(keys, return_index=True, return_counts=True)
    return sides[first[count == 1]]


def lift(points: Any, triangles: Any) -> Any:
    """Return (n, 3) how far each vertex is drawn off the surface."""
    import numpy as np

    normals = np.zeros_like(points)
    corners = points[triangles]
    across = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    for corner in range(3):
        np.add.at(normals, triangles[:, corner], across)
    normals /= np.maximum(np.linalg.norm(normals, axis=1), 1e-30)[:, None]
    return normals * LIFT * float(np.linalg.norm(np.ptp(points, axis=0)))
