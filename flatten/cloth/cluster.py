"""Clusters of vertices: a coarse triangle stands where three of them meet.

Source: seeds that keep a distance, Luby, A simple parallel algorithm for the maximal independent
set problem, 1986; the triangles are the dual of the seeds' Voronoi cells on the surface, as in
Kunze, Wolter & Rausch, Geodesic Voronoi diagrams on parametric surfaces, 1997.
"""

from __future__ import annotations

import numpy as np

from ..arrays import Bools, Floats, Ints
from ..surface.mesh import MouldMesh

REACH = 2  # edges from each seed in which there is no other
SWEEPS = 40  # of handing seeds on from vertex to vertex; four to seven are needed


def clusters(mesh: MouldMesh) -> tuple[Ints, Ints]:
    """Return (k,) the seeds' vertices and (n,) the number of the seed each vertex lies nearest to.

    Every vertex has to lie on an edge. Nearest: in space, among the seeds of its neighbours.
    """
    near = _Neighbours(mesh)
    seeds = _apart(near, _rank(mesh))
    return np.flatnonzero(seeds), _nearest(np.asarray(mesh.vertices), seeds, near)


def triangles_between(faces: Ints, label: Ints) -> Ints:
    """Return (t, 3) the triples of clusters that meet in a face, wound as the faces are."""
    corners = label[faces]
    a, b, c = corners.T
    corners = corners[(a != b) & (b != c) & (c != a)]
    turn = corners.argmin(axis=1)[:, None] + np.arange(3)
    corners = np.take_along_axis(corners, turn % 3, axis=1)
    corners = corners[np.lexsort(corners.T[::-1])]
    new = np.ones(len(corners), bool)
    new[1:] = (corners[1:] != corners[:-1]).any(axis=1)
    return np.asarray(corners[new], np.int64)


class _Neighbours:
    """Edges from both ends, sorted by the first: `here`, `there`, and where each vertex begins."""

    def __init__(self, mesh: MouldMesh) -> None:
        low, high = mesh.edges.vertices.T
        here, there = np.concatenate([low, high]), np.concatenate([high, low])
        order = np.argsort(here, kind="stable")
        self.here, self.there = here[order], there[order]
        degree = np.bincount(here, minlength=len(mesh.vertices))
        self.first = np.cumsum(degree) - degree

    def spread(self, values: Ints, edges: int) -> Ints:
        """Return the largest value within so many edges of each vertex."""
        for _ in range(edges):
            around = np.maximum.reduceat(values[self.there], self.first)
            values = np.maximum(values, around)
        return values


def _rank(mesh: MouldMesh) -> Ints:
    """Return (n,) who becomes a seed before whom: the rim first, in no order otherwise."""
    count = len(mesh.vertices)
    rank = np.random.default_rng(0).permutation(count).astype(np.int32) + 1
    rank[mesh.edges.vertices[mesh.edges.boundary].ravel()] += count
    return rank


def _apart(near: _Neighbours, rank: Ints) -> Bools:
    """Return which vertices are seeds: more than REACH edges apart, none left that could be."""
    seeds = np.zeros(len(rank), bool)
    while rank.any():
        new = (near.spread(rank, REACH) == rank) & (rank > 0)
        seeds |= new
        rank = np.where(near.spread(new.astype(np.int8), REACH), 0, rank)
    return seeds


def _nearest(points: Floats, seeds: Bools, near: _Neighbours) -> Ints:
    place = np.append(points[seeds], np.full((1, 3), np.inf), axis=0).T  # the last: none yet
    here = points.T
    start = np.ascontiguousarray(here[:, near.here])
    label = np.where(seeds, np.cumsum(seeds) - 1, -1)
    for _ in range(SWEEPS):
        offered = label[near.there]
        away = sum((place[k][offered] - start[k]) ** 2 for k in range(3))
        least = np.minimum.reduceat(away, near.first)
        own = sum((place[k][label] - here[k]) ** 2 for k in range(3))
        better = least < own
        if not better.any():
            break
        taken = np.flatnonzero((away == least[near.here]) & better[near.here])
        label = label.copy()
        label[near.here[taken]] = offered[taken]
    return label
