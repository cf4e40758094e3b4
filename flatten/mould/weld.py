"""Vertices on the same spot become one; faces that vanish by it are left out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..arrays import Bools, Floats, Ints
from ..surface.joined import groups
from ..surface.mesh import MouldMesh
from .cells import Cells

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


def box_mm(mesh: MouldMesh) -> Floats:
    """Return (3,) the mould's size along x, y, z in mm."""
    used = np.zeros(len(mesh.vertices), bool)
    used[mesh.faces] = True
    box: Floats = np.ptp(mesh.vertices[used], axis=0) if used.any() else np.zeros(3)
    return box


def size_mm(mesh: MouldMesh) -> float:
    """Return the diagonal of the box around the mould, mm."""
    return float(np.linalg.norm(box_mm(mesh)))


def weld(mesh: MouldMesh) -> Welded:
    """Merge vertices that lie within a millionth of the mould's size of each other."""
    same = equal_rows(mesh.vertices)
    welded = _merged(mesh, same)
    edges = welded.mesh.edges
    if edges.boundary.any():  # only there can two vertices be near and not one
        first = np.unique(same, return_index=True)[1]
        rim = np.unique(edges.vertices[edges.boundary])
        near = near_pairs(mesh.vertices[first[rim]], SAME_SPOT * size_mm(mesh))
        if len(near):
            welded = _merged(mesh, groups(len(first), rim[near])[same])
    return welded


def equal_rows(points: Floats) -> Ints:
    """Return (n,) numbers; rows of `points` with the same coordinates get the same one."""
    points = points + 0.0  # minus zero is zero
    bits = points.view(np.uint64).reshape(points.shape)
    factors = np.array([0x9E3779B97F4A7C15, 0xC2B2AE3D27D4EB4F, 0x165667B19E3779F9], np.uint64)
    mixed = bits * factors
    mixed ^= mixed >> np.uint64(29)
    mixed *= factors[::-1]
    mark = mixed[:, 0] ^ mixed[:, 1] ^ mixed[:, 2]
    order = np.argsort(mark, kind="stable")
    new = _changes(points[order])
    if (new[1:] & (mark[order[1:]] == mark[order[:-1]])).any():  # two rows with the same mark
        order = np.lexsort(points.T)
        new = _changes(points[order])
    number = np.empty(len(points), np.int64)
    number[order] = np.cumsum(new) - 1
    return number


def near_pairs(points: Floats, distance_mm: float) -> Ints:
    """Return (k, 2) pairs of points whose coordinates differ by `distance_mm` at most."""
    half = distance_mm / 2
    pairs = [np.column_stack(pair) for pair in Cells(points - half, points + half).self_pairs()]
    return np.concatenate(pairs) if pairs else np.zeros((0, 2), np.int64)


def _merged(mesh: MouldMesh, same: Ints) -> Welded:
    first = np.unique(same, return_index=True)[1]
    faces = same[mesh.faces]
    a, b, c = faces.T
    kept = np.flatnonzero((a != b) & (b != c) & (c != a))
    whole = len(first) == len(same) and len(kept) == len(faces)
    return Welded(
        mesh=mesh if whole else MouldMesh(mesh.vertices[first], faces[kept]),
        kept=kept,
        vertices=np.arange(len(same)) if whole else first,
        faces=len(faces),
        doubled=len(same) - len(first),
    )


def _changes(rows: Floats) -> Bools:
    """(n,) True where a row differs from the one before."""
    new = np.zeros(len(rows), bool)
    new[:1] = True
    for column in rows.T:
        new[1:] |= column[1:] != column[:-1]
    return new
