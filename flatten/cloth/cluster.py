"""Clusters of vertices: a coarse triangle stands where three of them meet.

Source: seeds that keep a distance, Luby, A simple parallel algorithm for the maximal independent
set problem, 1986; the triangles are the dual of the seeds' Voronoi cells on the surface, as in
Kunze, Wolter & Rausch, Geodesic Voronoi diagrams on parametric surfaces, 1997.
"""

from __future__ import annotations

import numpy as np

from ..arrays import Bools, Floats, Ints
from ..surface.edges import in_order
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
        self.here, order = in_order(here, len(mesh.vertices))
        self.there = there[order]
        degree = np.bincount(here, minlength=len(mesh.vertices))
        self.first = np.cumsum(degree) - degree

    def spread(self, values: Ints, edges: int) -> Ints:
        """Return (n,) the largest of the values (n,) within so many edges of each vertex."""
        for _ in range(edges):
            around = np.maximum.reduceat(values.take(self.there), self.first)
            values = np.maximum(values, around, out=around)
        return values

    def within(self, some: Bools, edges: int) -> Bools:
        """Return (n,) which vertices have one of `some` (n,) within so many edges."""
        some = some.copy()
        for _ in range(edges):
            some[self.here[some.take(self.there)]] = True
        return some


def _rank(mesh: MouldMesh) -> Ints:
    """Return (n,) who becomes a seed before whom: the rim first, in no order otherwise."""
    count = len(mesh.vertices)
    rank = np.random.default_rng(0).permutation(count).astype(np.int32) + 1
    rank[mesh.edges.vertices[mesh.edges.boundary].ravel()] += count
    return rank


def _apart(near: _Neighbours, rank: Ints) -> Bools:
    """Return which vertices are seeds: more than REACH edges apart, none left that could be."""
    seeds, rank = np.zeros(len(rank), bool), rank.copy()
    while rank.any():
        new = (near.spread(rank, REACH) == rank) & (rank > 0)
        seeds |= new
        rank[near.within(new, REACH)] = 0
    return seeds


def _nearest(points: Floats, seeds: Bools, near: _Neighbours) -> Ints:
    """Return (n,) the seed each vertex lies nearest to, of those its neighbours lie nearest to."""
    place, here = np.ascontiguousarray(points[seeds].T), np.ascontiguousarray(points.T)
    label = np.where(seeds, np.cumsum(seeds) - 1, -1)
    own = np.where(seeds, 0.0, np.inf)
    new = seeds
    for _ in range(SWEEPS):
        told = np.flatnonzero(new[near.there])  # edges from a vertex whose seed is another now
        if not len(told):
            break
        vertex, offered = near.here[told], label[near.there[told]]
        away = np.zeros(len(told))
        for at, seed in zip(here, place, strict=True):
            step = seed.take(offered) - at.take(vertex)
            away += step * step
        first = np.flatnonzero(np.diff(vertex, prepend=-1))
        least = np.minimum.reduceat(away, first)
        better = least < own[vertex[first]]
        size = np.diff(np.append(first, len(vertex)))
        taken = np.flatnonzero((away == np.repeat(least, size)) & np.repeat(better, size))
        label[vertex[taken]] = offered[taken]
        own[vertex[taken]] = away[taken]
        new = np.zeros(len(new), bool)
        new[vertex[taken]] = True
    return label
