"""Threads resist being bent in the plane of the cloth: what makes a locking corner definite.

Where cloth locks, an inextensible net alone has several lay-downs with kinks in single triangles,
and each mesh picks its own. A thread's stiffness against bending in the plane gives kinks a width.
Per inner edge, with b the angle by which the thread's direction jumps across it in the unfolded
pair, d the distance of the two triangles' middles and A the edge's third of their areas,

    E = 1/2 B A (b / d)^2, for the warp and the weft.

It does not change with the size of the triangles, and is right to a factor of about two: an edge
sees only the turning across it, and linear triangles add some of their own. Enough to choose one
lay-down; it comes in by degrees as cloth jams (jam.py), and is left out where it does not.

Source: second-gradient theory of woven cloth, e.g. dell'Isola & Steigmann, A two-dimensional
gradient-elasticity theory for woven fabrics, J. Elasticity 118 (2015) 113; its discrete form: ours.
"""

from __future__ import annotations

import numpy as np

from ..arrays import Floats, Ints
from ..surface.mesh import MouldMesh
from .factor import SparseSystem


def opposite_pairs(mesh: MouldMesh) -> Ints:
    """Return (e, 2) the two vertices opposite each inner edge."""
    inner, first, second = _inner(mesh)
    faces = mesh.faces
    return np.column_stack(
        [
            faces[mesh.edges.faces[inner, 0], (first + 2) % 3],
            faces[mesh.edges.faces[inner, 1], (second + 2) % 3],
        ]
    )


def _inner(mesh: MouldMesh) -> tuple[Ints, Ints, Ints]:
    """Return the inner edges and which side of its first and second face each is."""
    inner = np.flatnonzero(mesh.edges.count == 2)
    one, two = mesh.edges.faces[inner].T
    first = (mesh.edges.of_face[one] == inner[:, None]).argmax(axis=1)
    second = (mesh.edges.of_face[two] == inner[:, None]).argmax(axis=1)
    return inner, first, second


class Bending:
    """The bending energy of both threads over a mesh.

    `stiffness` B in mm2, as a share of the fibres' stiffness: a tow of width b bends as a solid
    strip with B = b^2 / 12.
    """

    def __init__(self, mesh: MouldMesh, system: SparseSystem, stiffness: float) -> None:
        inner, first, second = _inner(mesh)
        self.one, self.two = mesh.edges.faces[inner].T
        self.count = len(mesh.faces)
        corners = mesh.corners
        ends = mesh.vertices[mesh.edges.vertices[inner]]
        along = ends[:, 1] - ends[:, 0]
        length = np.sqrt((along**2).sum(axis=1))
        frame = corners[:, 1] - corners[:, 0]
        frame /= np.sqrt((frame**2).sum(axis=1))[:, None]
        across = np.cross(mesh.normals, frame)
        angles = [
            np.arctan2((along * across[face]).sum(axis=1), (along * frame[face]).sum(axis=1))
            for face in (self.one, self.two)
        ]
        self.turn = angles[0] - angles[1]
        areas = mesh.areas[self.one] + mesh.areas[self.two]
        distance = 2 * areas / (3 * length)
        self.weight = stiffness * areas / 3 / distance**2
        self._index_corners(mesh, system, inner, first, second)

    def _index_corners(
        self, mesh: MouldMesh, system: SparseSystem, inner: Ints, first: Ints, second: Ints
    ) -> None:
        """Note where the four vertices of each edge stand in faces and in the matrix."""
        m, faces, of_face = self.count, mesh.faces, mesh.edges.of_face
        self._at_one = [self.one + m * ((first + k) % 3) for k in range(3)]  # ends, then apex
        self._at_two = [self.two + m * ((second + k) % 3) for k in (1, 0, 2)]
        vertices = [
            faces[self.one, first],
            faces[self.one, (first + 1) % 3],
            faces[self.one, (first + 2) % 3],
            faces[self.two, (second + 2) % 3],
        ]
        pairs = [
            ((0, 1), system.edge_pair[inner]),
            ((1, 2), system.edge_pair[of_face[self.one, (first + 1) % 3]]),
            ((2, 0), system.edge_pair[of_face[self.one, (first + 2) % 3]]),
            ((0, 3), system.edge_pair[of_face[self.two, (second + 1) % 3]]),
            ((3, 1), system.edge_pair[of_face[self.two, (second + 2) % 3]]),
            ((2, 3), system.extra_pair),
        ]
        self._pairs = [(i, i) for i in range(4)] + [ij for ij, _ in pairs]
        self._slots = [
            np.concatenate(
                [system.diagonal(axis)[v] for v in vertices]
                + [system.beside(axis)[pair] for _, pair in pairs]
            )
            for axis in (0, 1)
        ]

    def jumps(self, angle: Floats) -> Floats:
        """Return (e,) by how much a thread's direction angle (m,) jumps across each edge."""
        jump = angle[self.one] - angle[self.two] - self.turn
        return np.asarray((jump + np.pi) % (2 * np.pi) - np.pi)

    def energy(self, angle: Floats) -> float:
        """Return the energy of one thread, whose corners turn by `angle` (k,) radians."""
        return float(0.5 * self.weight @ self.jumps(angle) ** 2)

    def torque(self, angle: Floats) -> Floats:
        """Return (m,) the energy's slope in each triangle's direction angle."""
        moment = self.weight * self.jumps(angle)
        return np.asarray(
            np.bincount(self.one, moment, self.count) - np.bincount(self.two, moment, self.count)
        )

    def add_stiffness(self, values: Floats, slope: tuple[Floats, Floats], axis: int) -> None:
        """Add the Gauss-Newton part; `slope`: the angle's slopes in the differences to corner 0."""
        corner = np.concatenate([-(slope[0] + slope[1]), slope[0], slope[1]])
        ends = [corner[self._at_one[k]] - corner[self._at_two[k]] for k in (0, 1)]
        d = [*ends, corner[self._at_one[2]], -corner[self._at_two[2]]]
        products = np.concatenate([self.weight * d[i] * d[j] for i, j in self._pairs])
        values += np.bincount(self._slots[axis], products, minlength=len(values))
