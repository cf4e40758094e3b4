"""Triangle meshes in mm: MouldMesh as it came, SurfaceMesh fit to lay cloth on."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import Floats, Ints, frozen_floats, frozen_ints
from ..errors import InputError
from .edges import Edges
from .joined import groups
from .onesided import cut_ends, two_sided_cut

# A triangle is flat nothing when twice its area is below this share of its longest edge squared.
# 1e-10: slivers of a CAD tessellation go down to 1e-6; below, float64 normals lose their meaning.
ZERO_AREA = 1e-10
# A part is between a fingernail and a ship; outside this, the file's unit was read wrongly.
SMALLEST_MM, LARGEST_MM = 0.1, 1e6
# Further from the origin than the moon no product of coordinates may overflow or lose the part.
FARTHEST_MM = 1e12


@dataclass(frozen=True, eq=False)
class MouldMesh:
    """The mould as it was read: finite, indices in range; may be faulty in every other way.

    `vertices` (n, 3) mm, `faces` (m, 3) indices. `mould/` reports on its faults.
    """

    vertices: Floats
    faces: Ints

    def __init__(self, vertices: ArrayLike, faces: ArrayLike) -> None:
        object.__setattr__(self, "vertices", frozen_floats("vertices", vertices, (None, 3)))
        object.__setattr__(self, "faces", frozen_ints("faces", faces, (None, 3)))
        count = len(self.vertices)
        far = np.abs(self.vertices) > FARTHEST_MM
        if far.any():
            raise InputError(
                f"Vertex {int(far.any(axis=1).argmax())} lies at {self.vertices[far][0]:.3g} mm.",
                "Check the file: its numbers are damaged, or in another unit.",
            )
        outside = (self.faces < 0) | (self.faces >= count)
        if outside.any():
            bad = np.flatnonzero(outside.any(axis=1))
            raise InputError(
                f"Face {bad[0]} uses vertex {self.faces[outside][0]}, but there are only "
                f"{count} vertices.",
                "Export the mesh again.",
                faces=bad,
            )

    @cached_property
    def corners(self) -> Floats:
        """(m, 3, 3) mm: the three corners of each face."""
        return self.vertices[self.faces]

    @cached_property
    def double_areas(self) -> Floats:
        """(m, 3) mm2: normals with the length of twice the face's area."""
        one, two = self.sides[0], -self.sides[2]
        normals = np.empty((len(self.faces), 3))
        for axis in range(3):  # np.cross makes several times as many arrays
            after, last = (axis + 1) % 3, (axis + 2) % 3
            normals[:, axis] = one[after] * two[last] - one[last] * two[after]
        return normals

    @cached_property
    def sides(self) -> Floats:
        """(3, 3, m) mm: the side from corner j to corner j + 1, its components apart."""
        corner = np.ascontiguousarray(self.faces.T)
        sides = np.empty((3, 3, len(self.faces)))
        for axis, column in enumerate(np.ascontiguousarray(self.vertices.T)):
            at = [column.take(corner[j]) for j in range(3)]
            for j in range(3):
                np.subtract(at[(j + 1) % 3], at[j], out=sides[j, axis])
        return sides

    @cached_property
    def longest2(self) -> Floats:
        """(m,) mm2: the square of each face's longest side."""
        longest = np.zeros(len(self.faces))
        for x, y, z in self.sides:
            np.maximum(longest, x * x + y * y + z * z, out=longest)
        return longest

    @cached_property
    def areas(self) -> Floats:
        """(m,) mm2."""
        lengths: Floats = np.linalg.norm(self.double_areas, axis=1)
        return 0.5 * lengths

    @cached_property
    def normals(self) -> Floats:
        """(m, 3) unit normals; zero where a face has no area."""
        length = 2 * self.areas
        normals: Floats = self.double_areas / np.where(length > 0, length, 1)[:, None]
        return normals

    @cached_property
    def edges(self) -> Edges:
        """The edges and who shares them."""
        return Edges(self.faces)

    @cached_property
    def size_mm(self) -> float:
        """Diagonal of the box around the used vertices, mm."""
        if not len(self.faces):
            return 0.0
        used = np.zeros(len(self.vertices), bool)
        used[self.faces] = True
        return float(np.linalg.norm(np.ptp(self.vertices[used], axis=0)))

    @cached_property
    def _corner_areas(self) -> Floats:
        """(n,) mm2: of all the faces at each vertex."""
        areas = np.bincount(self.faces.ravel(), np.repeat(self.areas, 3), len(self.vertices))
        return np.asarray(areas, np.float64)

    @cached_property
    def middle(self) -> Floats:
        """(3,) mm: the centre of the area."""
        centre: Floats = self._corner_areas @ self.vertices / max(3 * self.areas.sum(), 1e-300)
        return centre

    @cached_property
    def spread_mm(self) -> float:
        """The size whichever way the part is turned and divided into faces, mm.

        From the second moment of the area; of a flat rectangle it is the diagonal.
        """
        areas = self.areas
        if not areas.sum() > 0:
            return 0.0
        # Twelve times a triangle's moment: its area times the squares of the corners and their sum.
        away = self.vertices - self.middle
        moment = self._corner_areas @ (away * away).sum(axis=1)
        for column in np.ascontiguousarray(away.T):
            whole = sum(column.take(self.faces[:, corner]) for corner in range(3))
            moment += areas @ (whole * whole)
        return float(np.sqrt(moment / areas.sum()))


@dataclass(frozen=True, eq=False, init=False)
class SurfaceMesh(MouldMesh):
    """A surface cloth can be laid on: no zero-area face, no edge in three faces, one winding.

    Normals point to the side the cloth is laid on. May have several pieces, holes and
    handles: the drape asks for one piece that opens flat, and says so itself.

    `source_faces` (m,), where given, are the numbers errors call the faces by: those of the mould.

    Raises
    ------
    InputError : naming the faces, for a mesh that is not such a surface
    """

    def __init__(
        self, vertices: ArrayLike, faces: ArrayLike, *, source_faces: Ints | None = None
    ) -> None:
        super().__init__(vertices, faces)
        names = np.arange(len(self.faces)) if source_faces is None else source_faces
        self._refuse_empty()
        self._refuse_zero_area(names)
        self._refuse_size()
        self._refuse_shared_and_flipped_edges(names)

    def _refuse_empty(self) -> None:
        if not len(self.faces):
            raise InputError("The surface has no faces.", "Select at least one face.")

    def _refuse_zero_area(self, names: Ints) -> None:
        zero = np.flatnonzero(~(2 * self.areas > ZERO_AREA * self.longest2))
        if len(zero):
            raise InputError(
                f"{len(zero)} of {len(self.faces)} faces have no area, "
                f"the first is {names[zero[0]]}.",
                "Merge vertices by distance, or dissolve those faces.",
                faces=names[zero],
            )

    def _refuse_size(self) -> None:
        if not SMALLEST_MM <= self.size_mm <= LARGEST_MM:
            raise InputError(
                f"The surface measures {self.size_mm:.3g} mm corner to corner; parts between "
                f"{SMALLEST_MM:g} mm and {LARGEST_MM / 1e6:g} km can be laid.",
                "Check the file's unit (mm, m or inch) and scale the mould.",
            )

    def _refuse_shared_and_flipped_edges(self, names: Ints) -> None:
        edges = self.edges
        if edges.crowded.any():
            faces = np.flatnonzero(edges.crowded[edges.of_face].any(axis=1))
            raise InputError(
                f"{int(edges.crowded.sum())} edges are shared by three faces or more.",
                "Delete the inner faces so that each edge joins two at most.",
                faces=names[faces],
            )
        if edges.flipped.any():
            self._refuse_one_sided(names)
            faces = np.flatnonzero(edges.flipped[edges.of_face].any(axis=1))
            raise InputError(
                f"{int(edges.flipped.sum())} edges join faces that look to opposite sides.",
                "Recalculate the normals so that all look to the lay-up side.",
                faces=names[faces],
            )

    def _refuse_one_sided(self, names: Ints) -> None:
        edges = self.edges
        inner = np.flatnonzero(edges.count == 2)
        cut = two_sided_cut(len(self.faces), edges.faces[inner], edges.flipped[inner])
        if cut.any():
            along = inner[cut]
            start, end = cut_ends(self.vertices, edges.vertices[along])
            raise InputError(
                "The surface has only one side (it is twisted in itself, a Moebius strip): no side "
                "of it can be the lay-up side.",
                f"Cut it across from {_show(start)} to {_show(end)} mm: split the edges between "
                "the selected faces, or leave those faces out; then recalculate the normals.",
                faces=names[np.unique(edges.faces[along])],
            )


def components(faces: Ints, edges: Edges | None = None) -> Ints:
    """Return (m,) the number of the piece each face belongs to; faces join across shared edges.

    Pieces are numbered in the order of their lowest face.
    """
    edges = edges or Edges(faces)
    pairs = edges.faces[edges.faces[:, 1] >= 0]
    if edges.crowded.any():  # edges.faces holds but two of the faces on such an edge
        every = np.repeat(np.arange(len(faces)), 3)
        pairs = np.column_stack([edges.faces[edges.of_face.ravel(), 0], every])
    return groups(len(faces), pairs)


def _show(place: Floats) -> str:
    return "(" + ", ".join(f"{value:.1f}" for value in place) + ")"
