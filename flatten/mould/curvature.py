"""How tightly the lay-up surface turns inwards: sharp edges, and radii on faceted fillets."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..arrays import Bools, Floats, Ints
from ..surface.joined import groups
from ..surface.mesh import MouldMesh
from .health import usable

# Neighbours turned by less lie in one plane: one facet of the file, cut into triangles.
# float32 files tilt slim triangles by up to 0.03 degrees.
IN_PLANE = np.radians(0.05)
SHARP = np.radians(30.0)  # one edge turning more is a corner by itself, not part of a fillet
FLAT_PER_MM = 1e-9  # a hollow of a kilometre's radius is flat


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Turning:
    """Turning of a surface towards its lay-up side.

    `edge` (k,) numbers of the mould's edges inside the surface, `turn` (k,) radians, positive where
    the surface is hollow; `sharp` (k,); `radius_mm` (m,) smallest hollow radius at each
    face, infinite where it is flat or bulges, 0 beside sharp hollow edges.
    """

    edge: Ints
    turn: Floats
    sharp: Bools
    radius_mm: Floats


def measure_turning(mesh: MouldMesh, faces: Ints) -> Turning:
    """Measure hollow edges and radii on `faces` (k,) of the mould.

    Triangles of one plane are taken together as a facet. Its curvature tensor is the sum over
    its edges of 2 sin(turn / 2) |e| / 2 across the edge, over its area: the normal cycle of
    Cohen-Steiner & Morvan, Restricted Delaunay triangulations and normal cycle, 2003 (from
    memory), with the sine in place of the angle, which makes it exact for fillets with
    corners on the arc: R = L / (2 sin(turn / 2)). The last facet on either side counts half a turn
    and reads a third too large; triangles that do not follow the fillet read up to a third too
    large as well.
    """
    inside = np.zeros(len(mesh.faces), bool)
    inside[faces] = True
    inside &= usable(mesh)
    edges = mesh.edges
    both = (edges.count == 2) & ~edges.flipped
    both[both] = inside[edges.faces[both]].all(axis=1)
    edge = np.flatnonzero(both)
    turn = _turns(mesh, edge)
    sharp = turn >= SHARP
    pairs = edges.faces[edge]
    facet = groups(len(mesh.faces), pairs[np.abs(turn) < IN_PLANE])
    curvature = _facet_curvature(mesh, facet, edge, np.where(np.abs(turn) >= SHARP, 0, turn))
    radius = np.full(len(mesh.faces), np.inf)
    hollow = inside & (curvature[facet] > FLAT_PER_MM)
    radius[hollow] = 1 / curvature[facet[hollow]]
    radius[np.unique(pairs[sharp])] = 0
    return Turning(edge=edge, turn=turn, sharp=sharp, radius_mm=radius)


def _turns(mesh: MouldMesh, edge: Ints) -> Floats:
    """(k,) signed angle between the normals over each edge."""
    one, two = mesh.edges.faces[edge].T
    ends = mesh.edges.vertices[edge]
    along = mesh.vertices[ends[:, 1]] - mesh.vertices[ends[:, 0]]
    side = mesh.edges.of_face[one] == edge[:, None]
    start = mesh.faces[one, side.argmax(axis=1)]
    along *= np.where(start == ends[:, 0], 1, -1)[:, None]  # as face one runs along it
    along /= np.maximum(np.linalg.norm(along, axis=1), 1e-300)[:, None]
    rise = np.einsum("ij,ij->i", np.cross(mesh.normals[one], mesh.normals[two]), along)
    cosine = np.einsum("ij,ij->i", mesh.normals[one], mesh.normals[two])
    turn: Floats = -np.arctan2(rise, cosine)
    return turn


def _facet_curvature(mesh: MouldMesh, facet: Ints, edge: Ints, turn: Floats) -> Floats:
    """(f,) 1 / mm: the larger principal curvature of each facet, positive where hollow."""
    count = int(facet.max(initial=-1)) + 1
    ends = mesh.vertices[mesh.edges.vertices[edge]]
    along = ends[:, 1] - ends[:, 0]
    length = np.linalg.norm(along, axis=1)
    weight = np.sin(turn / 2) * length  # 2 sin(turn / 2) |e| / 2
    area = np.maximum(np.bincount(facet, mesh.areas, minlength=count), 1e-300)
    first = np.zeros(count, np.int64)
    first[facet[::-1]] = np.arange(len(facet))[::-1]
    u, v = _frames(mesh.normals[first])
    tensor = np.zeros((3, count))
    for side in range(2):
        of = facet[mesh.edges.faces[edge, side]]
        # Across the edge is the edge's direction turned by 90 degrees in the facet's plane.
        x = np.einsum("ij,ij->i", along, v[of]) / np.maximum(length, 1e-300)
        y = -np.einsum("ij,ij->i", along, u[of]) / np.maximum(length, 1e-300)
        for row, part in enumerate((x * x, x * y, y * y)):
            tensor[row] += np.bincount(of, weight * part, minlength=count)
    a, b, c = tensor / area
    larger: Floats = (a + c) / 2 + np.hypot((a - c) / 2, b)
    return larger


def _frames(normals: Floats) -> tuple[Floats, Floats]:
    aside = np.eye(3)[np.abs(normals).argmin(axis=1)]
    u = np.cross(aside, normals)
    u /= np.maximum(np.linalg.norm(u, axis=1), 1e-300)[:, None]
    return u, np.cross(normals, u)
