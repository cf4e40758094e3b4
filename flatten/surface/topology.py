"""Handles, rims and openings: where a closed surface or a handle could be cut open."""

from __future__ import annotations

import heapq

import numpy as np

from ..arrays import Bools, Floats, Ints
from .edges import Edges
from .joined import joined
from .mesh import SurfaceMesh


def opening_faces(surface: SurfaceMesh) -> tuple[Ints, Floats, Floats]:
    """Return the faces along a cut that opens a closed surface, and its two ends (3,) mm.

    The cut runs along edges between two vertices that lie far apart.
    """
    edges = surface.edges
    used = np.unique(surface.faces)
    middle = surface.vertices[used].mean(axis=0)
    distance = ((surface.vertices[used] - middle) ** 2).sum(axis=1)
    start = int(used[distance.argmax()])
    length = _lengths(surface)
    _, before = _shortest(len(surface.vertices), edges.vertices, length, start)
    far = ((surface.vertices[used] - surface.vertices[start]) ** 2).sum(axis=1)
    end = int(used[far.argmax()])
    chain = _walk_back(before, edges.vertices, end)
    return _around(surface, chain), surface.vertices[start], surface.vertices[end]


def handle_faces(surface: SurfaceMesh) -> Ints:
    """Return the faces along a short loop that cuts a handle open.

    Tree and co-tree: a loop is closed by an edge that neither the shortest paths from one
    vertex nor a tree over the faces uses; it cuts a handle if the faces still hang together.
    Source: Erickson & Whittlesey, Greedy optimal homotopy and homology generators, 2005.
    """
    edges = surface.edges
    length = _lengths(surface)
    start = int(surface.faces[0, 0])
    far, before = _shortest(len(surface.vertices), edges.vertices, length, start)
    in_tree = np.zeros(len(length), bool)
    in_tree[before[before >= 0]] = True
    loop_length = far[edges.vertices].sum(axis=1) + length
    left = _unused_by_face_tree(surface, in_tree, loop_length)
    for edge in left[np.argsort(loop_length[left], kind="stable")].tolist():
        both = [_walk_back(before, edges.vertices, int(v)) for v in edges.vertices[edge]]
        loop = np.append(np.setxor1d(both[0], both[1]), edge)
        whole = (edges.count == 2) & ~np.isin(np.arange(len(length)), loop)
        if not joined(len(surface.faces), edges.faces[whole]).any():
            return _around(surface, loop)
    return np.arange(len(surface.faces))


def handles_and_loops(faces: Ints) -> tuple[int, int]:
    """Return how many handles one piece of faces (m, 3) has, and how many rims.

    From Euler's formula: vertices - edges + faces = 2 - 2 handles - rims.
    """
    edges = Edges(faces)
    opened, _ = open_along(faces, edges, np.zeros(len(edges.count), bool))
    edges = Edges(opened)
    rim = edges.vertices[edges.boundary]
    loops = len(np.unique(joined(int(opened.max()) + 1, rim)[rim[:, 0]])) if len(rim) else 0
    euler = int(opened.max()) + 1 - len(edges.count) + len(opened)
    return (2 - loops - euler) // 2, loops


def open_along(faces: Ints, edges: Edges, cut: Bools) -> tuple[Ints, Ints]:
    """Return (m, 3) faces that no longer share the cut edges, and (n,) the old vertex of each new.

    `cut` (k,) marks edges. Vertices become double where the faces round them fall apart; a vertex
    by which the sheet merely hangs together does too. Each face keeps its place and corner order.
    """
    m = len(faces)
    half = np.argsort(edges.of_face.ravel(), kind="stable")  # half-edges, edge by edge
    first = np.concatenate([[0], np.cumsum(edges.count)])[:-1]
    whole = np.flatnonzero((edges.count == 2) & ~cut)
    one, two = half[first[whole]], half[first[whole] + 1]
    pairs = np.concatenate([np.column_stack([one, _next(two)]), np.column_stack([_next(one), two])])
    label = joined(3 * m, pairs)
    lowest, number = np.unique(label, return_inverse=True)
    old = faces.ravel()[lowest]
    order = np.lexsort([lowest, old])
    place = np.empty_like(order)
    place[order] = np.arange(len(order))
    return place[number].reshape(m, 3), old[order]


def _next(half: Ints) -> Ints:
    following: Ints = half - half % 3 + (half % 3 + 1) % 3
    return following


def _around(surface: SurfaceMesh, edges: Ints) -> Ints:
    faces: Ints = np.unique(surface.edges.faces[edges])
    return faces[faces >= 0]


def _lengths(surface: SurfaceMesh) -> Floats:
    ends = surface.vertices[surface.edges.vertices]
    lengths: Floats = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
    return lengths


def _unused_by_face_tree(surface: SurfaceMesh, in_tree: Bools, weight: Floats) -> Ints:
    """Edges left over once the faces are joined across the others, longest loops first."""
    edges = surface.edges
    parent = list(range(len(surface.faces)))

    def root(face: int) -> int:
        while parent[face] != face:
            parent[face] = parent[parent[face]]
            face = parent[face]
        return face

    left = []
    free = np.flatnonzero(~in_tree & (edges.count == 2))
    for edge in free[np.argsort(-weight[free], kind="stable")].tolist():
        one, two = root(int(edges.faces[edge, 0])), root(int(edges.faces[edge, 1]))
        if one == two:
            left.append(edge)
        else:
            parent[max(one, two)] = min(one, two)
    return np.array(left, dtype=np.int64)


def _shortest(count: int, pairs: Ints, length: Floats, start: int) -> tuple[Floats, Ints]:
    """Dijkstra over the edges: distance of each vertex and the edge it was reached by (-1)."""
    around: list[list[tuple[int, int, float]]] = [[] for _ in range(count)]
    for edge, ((a, b), mm) in enumerate(zip(pairs.tolist(), length.tolist(), strict=True)):
        around[a].append((b, edge, mm))
        around[b].append((a, edge, mm))
    far, before = np.full(count, np.inf), np.full(count, -1)
    far[start] = 0
    queue = [(0.0, start)]
    while queue:
        reached, vertex = heapq.heappop(queue)
        if reached > far[vertex]:
            continue
        for other, edge, mm in around[vertex]:
            if reached + mm < far[other]:
                far[other] = reached + mm
                before[other] = edge
                heapq.heappush(queue, (reached + mm, other))
    return far, before


def _walk_back(before: Ints, pairs: Ints, vertex: int) -> Ints:
    chain = []
    while before[vertex] >= 0:
        edge = int(before[vertex])
        chain.append(edge)
        vertex = int(pairs[edge].sum()) - vertex
    return np.array(chain, dtype=np.int64)
