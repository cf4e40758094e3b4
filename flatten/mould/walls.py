"""Walls thinner than asked, measured straight into the material. Code: thin_wall."""

from __future__ import annotations

import numpy as np

from ..arrays import Floats, Ints
from ..finding import Finding
from ..surface.mesh import MouldMesh
from .cells import Cells, tight_boxes
from .rays import spread_points

MOST_POINTS = 60_000  # more say nothing new: one for each 3 x 3 mm of a half-metre mould
OPPOSITE = -0.8  # the far side faces away within 37 degrees; else it is an edge, not a wall
PIECES = 4  # a look into the material is cut into this many boxes, so that they stay slim


def check_walls(thickness: Floats, wall_min_mm: float) -> list[Finding]:
    """Report faces of a block behind which the material is thinner than `wall_min_mm`."""
    faces = np.flatnonzero(thickness < wall_min_mm)
    if not len(faces):
        return []
    return [
        Finding(
            code="thin_wall",
            severity="warning",
            message=f"The wall is down to {np.nanmin(thickness):.2g} mm at {len(faces)} faces; "
            f"{wall_min_mm:g} mm is asked for.",
            hint="Thicken the mould there, or set a smaller wall.",
            faces=tuple(faces.tolist()),
        )
    ]


def wall_thickness(mesh: MouldMesh, limit_mm: float) -> Floats:
    """Return (m,) mm: the thinnest wall met behind each face, NaN where it is over `limit_mm`.

    Looks from points spread over the faces, into the material, for a face that looks the
    other way. Very fine meshes are looked at in 60 000 places. Both faces of a wall are marked.
    """
    thickness = np.full(len(mesh.faces), np.nan)
    faces = np.flatnonzero(mesh.areas > 0)
    if not len(faces) or not limit_mm > 0:
        return thickness
    some = faces[:: 1 + len(faces) // MOST_POINTS]
    face, points = spread_points(mesh, some, MOST_POINTS // 3)
    owner, low, high = tight_boxes(mesh.corners[faces])
    cells = Cells(low, high, smallest=limit_mm / PIECES)
    owner = faces[owner]
    best = np.full(len(mesh.faces), np.inf)
    end = points - mesh.normals[face] * (limit_mm / PIECES)
    step = cells.stride(np.minimum(points, end), np.maximum(points, end))
    face, points = face[::step], points[::step]
    inwards = -mesh.normals[face]
    for piece in range(PIECES):
        start = points + inwards * (limit_mm * piece / PIECES)
        end = points + inwards * (limit_mm * (piece + 1) / PIECES)
        for query, box in cells.pairs(np.minimum(start, end), np.maximum(start, end)):
            depth = _depth(mesh, points[query], inwards[query], owner[box])
            hit = (depth > limit_mm * 1e-4) & (depth < limit_mm)
            np.minimum.at(best, face[query[hit]], depth[hit])
            np.minimum.at(best, owner[box[hit]], depth[hit])
    _spread_to_skipped(mesh, best, np.setdiff1d(faces, some, assume_unique=True))
    found = np.isfinite(best)
    thickness[found] = best[found]
    return thickness


def _spread_to_skipped(mesh: MouldMesh, best: Floats, skipped: Ints) -> None:
    """Give faces that were not looked from what their neighbours saw."""
    take = np.zeros(len(best), bool)
    take[skipped] = True
    pairs = mesh.edges.faces[mesh.edges.faces[:, 1] >= 0]
    for _ in range(2 if len(skipped) else 0):
        seen = best.copy()
        for mine, other in (pairs.T, pairs.T[::-1]):
            open_ = take[mine] & ~np.isfinite(seen[mine])
            np.minimum.at(best, mine[open_], seen[other[open_]])


def _depth(mesh: MouldMesh, points: Floats, inwards: Floats, target: Ints) -> Floats:
    """(k,) how deep the ray meets the target's back, infinite where it does not.

    Moller & Trumbore, Fast, minimum storage ray/triangle intersection, 1997.
    """
    depth = np.full(len(points), np.inf)
    far = np.flatnonzero(np.einsum("ij,ij->i", -inwards, mesh.normals[target]) < OPPOSITE)
    ray, corners = inwards[far], mesh.corners[target[far]]
    one, two = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    across = np.cross(ray, two)
    scale = np.einsum("ij,ij->i", one, across)
    scale[scale == 0] = np.inf
    offset = points[far] - corners[:, 0]
    u = np.einsum("ij,ij->i", offset, across) / scale
    turned = np.cross(offset, one)
    v = np.einsum("ij,ij->i", ray, turned) / scale
    reach = np.einsum("ij,ij->i", two, turned) / scale
    inside = (u >= -1e-9) & (v >= -1e-9) & (u + v <= 1 + 1e-9)
    depth[far[inside]] = reach[inside]
    return depth
