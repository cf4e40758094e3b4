"""A cut led straight on, from where it ends to the edge of the cloth."""

from __future__ import annotations

import numpy as np

from ..arrays import Floats, Ints
from .geodesic import SurfacePoint, Tracer
from .mesh import MouldMesh
from .path import SurfacePath

# The line sets out this share of the way into the face, so that it starts inside it.
NUDGE = 1e-6


def straight_on(mesh: MouldMesh, vertex: int, coming_from: int) -> SurfacePath | None:
    """Return the path from a vertex straight on to the mesh's rim.

    `coming_from` is a vertex joined to it by an edge: the line leaves it with equal angles on
    both sides. None where the vertex is on the rim itself, or the line never gets there.
    """
    heading = _ahead(mesh, vertex, coming_from)
    if heading is None:
        return None
    face, direction = heading
    corners = mesh.vertices[mesh.faces[face]]
    weights = (mesh.faces[face] == vertex) * (1 - 3 * NUDGE) + NUDGE
    start = SurfacePoint(face, weights, weights @ corners, 0.0)
    longest = 4 * mesh.size_mm
    trace = Tracer(mesh).trace(start, direction, longest_mm=longest)
    if trace.end != "boundary":
        return None
    return _as_path(mesh, vertex, trace.edges, trace.shares, trace.faces, trace.points)


def _as_path(
    mesh: MouldMesh, vertex: int, edges: Ints, shares: Floats, faces: Ints, points: Floats
) -> SurfacePath:
    pairs = mesh.edges.vertices[edges[1:]]
    return SurfacePath(
        points=np.vstack([mesh.vertices[vertex], points[1:]]),
        faces=faces,
        edges=np.vstack([[vertex, vertex], pairs]),
        shares=np.concatenate([[0.0], shares[1:]]),
    )


def _ahead(mesh: MouldMesh, vertex: int, coming_from: int) -> tuple[int, Floats] | None:
    """The face and direction that leave half of the angle round the vertex on either side."""
    around = np.flatnonzero((mesh.faces == vertex).any(axis=1))
    corner = (mesh.faces[around] == vertex).argmax(axis=1)
    first = dict(zip(mesh.faces[around, (corner + 1) % 3].tolist(), around.tolist(), strict=True))
    ring, start = [], coming_from
    while start in first:
        face = first.pop(start)
        row = mesh.faces[face].tolist()
        start, here = row[(row.index(vertex) + 2) % 3], start
        ring.append((face, here, start))
    if start != coming_from or first:
        return None  # on the rim, or where the sheet hangs together by this point
    place = mesh.vertices[vertex]
    angles = []
    for _, one, two in ring:
        u, v = mesh.vertices[one] - place, mesh.vertices[two] - place
        angles.append(float(np.arctan2(np.linalg.norm(np.cross(u, v)), u @ v)))
    left = sum(angles) / 2
    for (face, one, _), angle in zip(ring, angles, strict=True):
        if left <= angle:
            u = mesh.vertices[one] - place
            u = u / np.linalg.norm(u)
            return face, np.cos(left) * u + np.sin(left) * np.cross(mesh.normals[face], u)
        left -= angle
    return None
