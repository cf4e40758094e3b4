"""Vertices on the same spot become one; faces that vanish by it are left out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..arrays import Floats, Ints
from ..surface.mesh import MouldMesh
from .cells import Cells
from .joined import groups

# Vertices this close, as a share of the mould's size, are one: above the rounding of float32
# files (6e-8), below any real detail (300 mm mould: 0.0003 mm).
SAME_SPOT = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Welded:
    """The mould as it hangs together.

    `mesh` has the faces that still have three different corners; `kept` (k,) are their
    numbers in the mould as it was given, which has `faces` faces; `vertices` (n,) are given
    vertices on the spots of the mesh; `doubled` more were merged with them.
    """

    mesh: MouldMesh
    kept: Ints
    vertices: Ints
    faces: int
    doubled: int

    @property
    def collapsed(self) -> Ints:
        """Faces of the given mould with two corners on one spot."""
        lost: Ints = np.setdiff1d(np.arange(self.faces), self.kept, assume_unique=True)
        return lost


def weld(mesh: MouldMesh) -> Welded:
    """Merge vertices that lie within a millionth of the mould's size of each other."""
    same = same_spot(mesh.vertices, SAME_SPOT * mesh.size_mm)
    first = np.unique(same, return_index=True)[1]
    faces = same[mesh.faces]
    kept = np.flatnonzero((faces != np.roll(faces, 1, axis=1)).all(axis=1))
    return Welded(
        mesh=MouldMesh(mesh.vertices[first], faces[kept]),
        kept=kept,
        vertices=first,
        faces=len(faces),
        doubled=len(mesh.vertices) - len(first),
    )


def same_spot(points: Floats, distance_mm: float) -> Ints:
    """Return (n,) the number of the spot each point is on; equal within `distance_mm`."""
    exact = _equal_rows(points)
    first = np.unique(exact, return_index=True)[1]
    if not distance_mm > 0 or len(first) < 2:
        return exact
    half = distance_mm / 2
    cells = Cells(points[first] - half, points[first] + half)
    near = np.concatenate([np.column_stack(pair) for pair in cells.self_pairs()])
    return groups(len(first), near)[exact]


def _equal_rows(points: Floats) -> Ints:
    """Number rows by value; rows with the same coordinates get the same number."""
    order = np.lexsort((points + 0.0).T)  # + 0.0: minus zero is zero
    new = np.zeros(len(points), bool)
    if len(points):
        new[1:] = (np.diff(points[order], axis=0) != 0).any(axis=1)
    number = np.empty(len(points), np.int64)
    number[order] = np.cumsum(new)
    return number
