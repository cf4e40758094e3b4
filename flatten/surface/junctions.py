"""T-junctions: a vertex in the middle of another face's edge, where the surface is not joined.

Along such an edge the faces only look joined. Cloth laid there would part, so it is an error
that names the faces, not a hole to lay cloth round.
"""

from __future__ import annotations

import numpy as np

from ..arrays import Bools, Floats, Ints
from ..errors import InputError
from .mesh import MouldMesh, components

# A vertex this near to an edge, as a share of the part's size, was meant to lie on it: 3 um on
# 300 mm. CAD kernels join edges to 1 um; a slit drawn on purpose is wider than a blade.
ON_EDGE = 1e-5
# A loop that encloses less than this share of its length squared is a slit (a circle: 0.08).
SLIT = 1e-5
# Pairs of a vertex and an edge looked at; a heap of loose triangles has more, and is refused as
# what it is: many pieces.
MOST_PAIRS = 2e7


def t_junctions(mesh: MouldMesh) -> tuple[Ints, Ints]:
    """Return (k,) boundary vertices in the middle of (k,) boundary edges of faces not theirs."""
    edges = mesh.edges
    rim = np.flatnonzero(edges.boundary)
    spots = np.unique(edges.vertices[rim])
    none = np.zeros(0, np.int64)
    near = ON_EDGE * mesh.size_mm
    spread = np.ptp(mesh.vertices[spots], axis=0) if len(spots) else np.zeros(3)
    along = mesh.vertices[:, int(spread.argmax())]
    spots = spots[np.argsort(along[spots], kind="stable")]
    ends = np.sort(along[edges.vertices[rim]], axis=1)
    first = np.searchsorted(along[spots], ends[:, 0] - near)
    count = np.searchsorted(along[spots], ends[:, 1] + near) - first
    if not 0 < count.sum() <= MOST_PAIRS:
        return none, none
    edge = np.repeat(rim, count)
    step = np.arange(len(edge)) - np.repeat(np.cumsum(count) - count, count)
    vertex = spots[np.repeat(first, count) + step]
    a, b = edges.vertices[edge].T
    other = (vertex != a) & (vertex != b)
    for axis in range(3):  # near as a box is near: it leaves few of them
        at, ends = mesh.vertices[vertex, axis], mesh.vertices[[a, b], axis]
        other &= (at >= ends.min(axis=0) - near) & (at <= ends.max(axis=0) + near)
    vertex, edge, a, b = vertex[other], edge[other], a[other], b[other]
    on = _in_the_middle(mesh.vertices, vertex, a, b, near)
    vertex, edge = vertex[on], edge[on]
    apart = (mesh.faces[edges.faces[edge, 0]] != vertex[:, None]).all(axis=1)
    return vertex[apart], edge[apart]


def refuse_t_junctions(mesh: MouldMesh, names: Ints | None = None) -> None:
    """Refuse a surface that falls apart at T-junctions.

    Where it falls into pieces there, hangs together by a point, or has a slit of no width in its
    middle. Cuts drawn on purpose are let pass: their two sides need not be divided alike.

    Raises
    ------
    InputError : naming the faces, by `names` (m,) where given
    """
    vertex, edge = t_junctions(mesh)
    if not len(vertex):
        return
    edges, piece = mesh.edges, components(mesh.faces, mesh.edges)
    of_vertex = np.full(len(mesh.vertices), -1)
    of_vertex[mesh.faces] = piece[:, None]
    open_ = of_vertex[vertex] != piece[edges.faces[edge, 0]]
    open_ |= _in_slits(mesh)[vertex]
    if not open_.any():
        return
    vertex, edge = vertex[open_], edge[open_]
    beside = edges.boundary & np.isin(edges.vertices, vertex).any(axis=1)
    faces = np.unique(np.concatenate([edges.faces[edge, 0], edges.faces[beside, 0]]))
    spots = np.unique(vertex)
    place = ", ".join(f"{value:.1f}" for value in mesh.vertices[spots[0]])
    one = len(spots) == 1
    raise InputError(
        f"{len(spots)} {'vertex lies' if one else 'vertices lie'} in the middle of an edge of "
        f"another face (T-junction), the first at ({place}) mm: the surface is not joined there.",
        "Add a vertex to that edge and merge vertices by distance, or let the CAD program export "
        "one joined mesh.",
        faces=faces if names is None else names[faces],
    )


def _in_the_middle(points: Floats, vertex: Ints, a: Ints, b: Ints, near: float) -> Bools:
    start, side = points[a], points[b] - points[a]
    to = points[vertex] - start
    length = np.maximum(np.sqrt((side * side).sum(axis=1)), 1e-300)
    along = (to * side).sum(axis=1) / length
    beside = np.sqrt(((to - side * (along / length)[:, None]) ** 2).sum(axis=1))
    on: Bools = (beside <= near) & (along > 2 * near) & (along < length - 2 * near)
    return on


def _in_slits(mesh: MouldMesh) -> Bools:
    """(n,) True for vertices on a loop of no width, or by which the surface hangs together.

    At a point it hangs by, the loops round it cannot be told apart; then all of the rim counts.
    A slit with two vertices on one spot was cut: its sides were one line of edges.
    """
    marked = np.zeros(len(mesh.vertices), bool)
    edges = mesh.edges
    rim = edges.vertices[edges.boundary]
    if (np.bincount(rim.ravel(), minlength=len(marked)) > 2).any():
        marked[rim] = True
        return marked
    for loop in edges.boundary_loops(mesh.faces):
        places = mesh.vertices[loop] - mesh.vertices[loop].mean(axis=0)
        after = np.roll(places, -1, axis=0)
        length = np.sqrt(((after - places) ** 2).sum(axis=1)).sum()
        enclosed = 0.5 * np.sqrt((np.cross(places, after).sum(axis=0) ** 2).sum())
        was_cut = len(np.unique(places, axis=0)) < len(places)
        if enclosed < SLIT * length**2 and not was_cut:
            marked[loop] = True
    return marked
