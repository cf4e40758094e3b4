"""Triangles split along a drawn line, so that a cut runs where it is drawn."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from functools import cached_property

import numpy as np

from ..arrays import Floats, Ints
from ..errors import InputError
from .locate import Located
from .mesh import MouldMesh
from .path import SurfacePath
from .sheet import Sheet

# The line gives way to a vertex or an edge this near, so that no needle of a triangle arises:
# a tenth of a millimetre, less than a knife's blade, or a tenth of a short edge.
SNAP_MM, SNAP_SHARE = 0.1, 0.1


class Worksheet:
    """A sheet on which lines are being drawn; vertices keep their numbers.

    `marks`: which edge (low vertex, high vertex) belongs to which joint, and the vertex the
    joint comes from.
    """

    def __init__(self, sheet: Sheet) -> None:
        self.sheet = sheet
        self.marks: dict[tuple[int, int], tuple[int, int]] = {}

    @property
    def mesh(self) -> MouldMesh:
        """The sheet as a mesh."""
        return self._mesh

    @cached_property
    def _mesh(self) -> MouldMesh:
        return MouldMesh(self.sheet.vertices, self.sheet.faces)

    @cached_property
    def on_rim(self) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
        """(n,) vertices on the sheet's rim."""
        edges = self.mesh.edges
        rim = np.zeros(len(self.sheet.vertices), bool)
        rim[edges.vertices[edges.boundary]] = True
        return rim

    def insert(self, at: Located) -> int:
        """Make a located point (one) a vertex and return its number."""
        face, weights = int(at.faces[0]), at.weights[0]
        corners = self.sheet.faces[face]
        places = self.sheet.vertices[corners]
        away = np.linalg.norm(places - at.points[0], axis=1)
        side = np.linalg.norm(np.roll(places, -1, axis=0) - places, axis=1)
        nearest = int(away.argmin())
        near_sides = min(side[nearest], side[nearest - 1])
        if away[nearest] <= min(SNAP_MM, SNAP_SHARE * near_sides):
            return int(corners[nearest])
        heights = 2 * self.mesh.areas[face] * weights / np.roll(side, -1)  # over the far side
        low = int(heights.argmin())
        if heights[low] <= min(SNAP_MM, SNAP_SHARE * float(side.min())):
            a, b = int(corners[(low + 1) % 3]), int(corners[(low + 2) % 3])
            share = float(weights[(low + 2) % 3] / (1 - weights[low]))
            return self._split_edges(np.array([[a, b]]), np.array([share]))[0]
        return self._split_face(face, at.points[0])

    def draw(self, path: SurfacePath, joint: int, name: str) -> list[int]:
        """Split the triangles along a path between two vertices; return its vertices.

        Raises
        ------
        InputError : the path crosses a marked part of its own joint
        """
        edges, shares = path.edges, path.shares
        ends = self.sheet.vertices[np.maximum(edges, 0)]
        length = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
        snap = np.minimum(SNAP_MM, SNAP_SHARE * length)
        node = np.where(
            edges[:, 0] == edges[:, 1],
            edges[:, 0],
            np.where(
                shares * length < snap,
                edges[:, 0],
                np.where((1 - shares) * length < snap, edges[:, 1], -1),
            ),
        )
        crossed = np.flatnonzero(node < 0)
        self._refuse_own(edges[crossed], joint, name)
        if len(crossed):
            node[crossed] = self._split_edges(edges[crossed], shares[crossed])
        chain = [int(node[0])]
        for vertex in node[1:].tolist():
            if len(chain) > 1 and vertex == chain[-2]:
                chain.pop()  # there and back along one edge, after snapping
            elif vertex != chain[-1]:
                chain.append(vertex)
        return chain

    def mark(self, chain: Sequence[int], joint: int, name: str) -> None:
        """Remember a chain of edges as a joint.

        Raises
        ------
        InputError : the chain touches itself, or runs along another cut
        """
        inner = chain[:-1] if chain[0] == chain[-1] else chain
        again = [v for v in set(inner) if inner.count(v) > 1]
        if again:
            raise self.touches_itself(name, min(again))
        for a, b in itertools.pairwise(chain):
            key = (min(a, b), max(a, b))
            if key in self.marks:
                raise InputError(
                    f"{name} runs along another cut near {_show(self.sheet.vertices[a])} mm.",
                    "Move one of them.",
                    faces=self.faces_at([a, b]),
                )
            self.marks[key] = (joint, a)

    def faces_at(self, vertices: Sequence[int]) -> Ints:
        """Return the mould faces that touch these vertices."""
        touched = np.isin(self.sheet.faces, np.array(vertices, dtype=np.int64)).any(axis=1)
        faces: Ints = np.unique(self.sheet.source_faces[touched])
        return faces

    def _refuse_own(self, crossed: Ints, joint: int, name: str) -> None:
        for a, b in np.sort(crossed, axis=1).tolist():
            if self.marks.get((a, b), (-1, -1))[0] == joint:
                raise self.touches_itself(name, a)

    def touches_itself(self, name: str, vertex: int) -> InputError:
        """Return the error that says so, for the caller to raise."""
        return InputError(
            f"{name} touches itself near {_show(self.sheet.vertices[vertex])} mm.",
            "Take the loop out of it.",
            faces=self.faces_at([vertex]),
        )

    def _split_face(self, face: int, point: Floats) -> int:
        new = len(self.sheet.vertices)
        a, b, c = self.sheet.faces[face].tolist()
        self._replace([face], [[(a, b, new), (b, c, new), (c, a, new)]], point[None])
        return new

    def _split_edges(self, pairs: Ints, shares: Floats) -> list[int]:
        """Put a vertex on each of these edges, all different; return their numbers."""
        vertices = self.sheet.vertices
        start, end = vertices[pairs[:, 0]], vertices[pairs[:, 1]]
        points = start + shares[:, None] * (end - start)
        new = [len(vertices) + k for k in range(len(pairs))]
        on = {(min(a, b), max(a, b)): v for (a, b), v in zip(pairs.tolist(), new, strict=True)}
        for key, vertex in on.items():
            if key in self.marks:
                joint, first = self.marks.pop(key)
                second = key[0] + key[1] - first
                self.marks[(min(first, vertex), max(first, vertex))] = (joint, first)
                self.marks[(min(second, vertex), max(second, vertex))] = (joint, vertex)
        edges = self.mesh.edges
        base = len(vertices)
        wanted = np.isin(edges.vertices @ [base, 1], np.sort(pairs, axis=1) @ [base, 1])
        touched = np.flatnonzero(wanted[edges.of_face].any(axis=1)).tolist()
        places = np.vstack([vertices, points])
        parts = [_parts(self.sheet.faces[face].tolist(), on, places) for face in touched]
        self._replace(touched, parts, points)
        return new

    def _replace(
        self, faces: list[int], parts: list[list[tuple[int, int, int]]], points: Floats
    ) -> None:
        """Put the parts in the faces' places: the first in its row, the rest behind the last."""
        sheet = self.sheet
        rows = np.array(sheet.faces)
        rows[faces] = [part[0] for part in parts]
        rest = [(face, row) for face, part in zip(faces, parts, strict=True) for row in part[1:]]
        owner = np.array([face for face, _ in rest], dtype=np.int64)
        added = np.array([row for _, row in rest], dtype=np.int64).reshape(-1, 3)
        self.replace_sheet(
            Sheet(
                vertices=np.vstack([sheet.vertices, points]),
                faces=np.vstack([rows, added]),
                source_vertices=np.concatenate([sheet.source_vertices, np.full(len(points), -1)]),
                source_faces=np.concatenate([sheet.source_faces, sheet.source_faces[owner]]),
                inside=np.concatenate([sheet.inside, sheet.inside[owner]]),
            )
        )

    def replace_sheet(self, sheet: Sheet) -> None:
        """Go on with a sheet whose first vertices are those of the present one."""
        self.sheet = sheet
        for cached in ("_mesh", "on_rim"):
            self.__dict__.pop(cached, None)


def _parts(
    corners: list[int], on: dict[tuple[int, int], int], places: Floats
) -> list[tuple[int, int, int]]:
    """Triangles of a face some of whose edges have a new vertex.

    Two new vertices are joined, and one is joined to the far corner: there the line runs.
    """
    new = [
        on.get((min(corners[j], corners[(j + 1) % 3]), max(corners[j], corners[(j + 1) % 3])), -1)
        for j in range(3)
    ]
    count = sum(v >= 0 for v in new)
    if count == 3:
        (a, b, c), (ab, bc, ca) = corners, new
        return [(a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca)]
    if count == 1:
        j = next(j for j in range(3) if new[j] >= 0)
        a, b, c = (corners[(j + k) % 3] for k in range(3))
        return [(a, new[j], c), (new[j], b, c)]
    j = next(j for j in range(3) if new[j] < 0)  # the whole side, from a to b; c is cut off
    a, b, c = (corners[(j + k) % 3] for k in range(3))
    bc, ca = new[(j + 1) % 3], new[(j + 2) % 3]
    one = np.linalg.norm(places[a] - places[bc])
    two = np.linalg.norm(places[b] - places[ca])
    quad = [(a, b, bc), (a, bc, ca)] if one <= two else [(a, b, ca), (b, bc, ca)]
    return [(c, ca, bc), *quad]


def _show(point: Floats) -> str:
    return "(" + ", ".join(f"{value:.0f}" for value in point) + ")"
