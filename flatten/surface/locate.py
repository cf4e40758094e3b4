"""The point of the surface nearest to a given point."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import Floats, Ints, frozen_floats
from ..errors import InputError
from .mesh import MouldMesh

LEAF = 4  # triangles in a leaf of the tree of boxes; 2 to 8 are equally quick
CHUNK = 20_000  # points looked up at once, and ...
PAIRS = 400_000  # ... point-face pairs looked at together: bound the memory
# Of faces equally near (an edge or corner is hit) the lowest number is taken, up to this share
# of the mesh's size: 30 times the rounding of float64.
TIE_SHARE = 1e-14
# A box is left out when it is further off than a known distance by this share of the largest
# number at hand: far from the origin, or beside a very long triangle, rounding is that large.
SLACK_SHARE = 1e-12


@dataclass(frozen=True, eq=False, slots=True, kw_only=True)
class Located:
    """Nearest points: `faces` (q,), `weights` (q, 3) barycentric, `points` (q, 3) mm, `distances`.

    `distances` (q,) are mm, never negative.
    """

    faces: Ints
    weights: Floats
    points: Floats
    distances: Floats


def locate(mesh: MouldMesh, points: ArrayLike) -> Located:
    """Return the nearest point of the mesh to each of `points` (q, 3) mm.

    Raises
    ------
    InputError : the mesh has no faces; points are not finite or not (q, 3)
    """
    return Locator(mesh).locate(points)


def locate_one(mesh: MouldMesh, point: Floats) -> Located:
    """Return the nearest point of the mesh to one `point` (3,) mm, without building a tree."""
    corners = mesh.corners
    middle = corners.mean(axis=1)
    reach = np.sqrt(((corners - middle[:, None]) ** 2).sum(axis=2).max(axis=1))
    away = np.sqrt(((middle - point) ** 2).sum(axis=1))
    near = np.flatnonzero(away - reach <= away.min() + TIE_SHARE * mesh.size_mm)
    tree = Locator(MouldMesh(mesh.vertices, mesh.faces[near]))
    tree._size = max(mesh.size_mm, 1e-9)  # faces tie as they do among all of them
    found = tree.locate(point[None])
    return Located(
        faces=near[found.faces],
        weights=found.weights,
        points=found.points,
        distances=found.distances,
    )


def locate_on(
    mesh: MouldMesh | Locator,
    point: ArrayLike,
    *,
    name: str,
    within_mm: float,
    source_faces: Ints | None = None,
) -> Located:
    """Return the nearest mesh point to `point` (3,) mm, which must lie on the surface.

    `mesh` may be a `Locator`, where more than one point is looked up. `source_faces` (m,), where
    given, are the numbers an error calls the faces by: those of the mould.

    Raises
    ------
    InputError : it lies further off than `within_mm`; says how far
    """
    target = frozen_floats(name, point, (3,))
    locator = mesh if isinstance(mesh, Locator) else Locator(mesh)
    found = locator.locate(target[None])
    if found.distances[0] > within_mm:
        x, y, z = (f"{value:.1f}" for value in found.points[0])
        raise InputError(
            f"The {name} lies {found.distances[0]:.1f} mm off the surface.",
            f"Place it on the surface; the nearest point is ({x}, {y}, {z}) mm.",
            faces=found.faces if source_faces is None else source_faces[found.faces],
        )
    return found


class Locator:
    """A tree of boxes over the triangles of a mesh, for many look-ups."""

    def __init__(self, mesh: MouldMesh) -> None:
        if not len(mesh.faces):
            raise InputError("The mesh has no faces.", "Select at least one face.")
        self.mesh = mesh
        self._size = max(mesh.size_mm, 1e-9)
        self._reach = max(float(np.abs(mesh.corners).max()), self._size)
        self._middle = mesh.corners.mean(axis=1)
        self._faces = _sorted_into_leaves(self._middle)
        corners = mesh.corners[self._faces].reshape(-1, LEAF * 3, 3)
        low, high = corners.min(axis=1), corners.max(axis=1)
        self._boxes = [(low, high)]
        while len(low) > 1:
            low, high = low.reshape(-1, 2, 3).min(axis=1), high.reshape(-1, 2, 3).max(axis=1)
            self._boxes.append((low, high))

    def locate(self, points: ArrayLike) -> Located:
        """Return the nearest mesh point to each of `points` (q, 3) mm."""
        targets = frozen_floats("points", points, (None, 3))
        starts = range(0, max(len(targets), 1), CHUNK)
        parts = [part for k in starts for part in self._locate(targets[k : k + CHUNK])]
        return Located(
            faces=np.concatenate([part.faces for part in parts]),
            weights=np.concatenate([part.weights for part in parts]),
            points=np.concatenate([part.points for part in parts]),
            distances=np.concatenate([part.distances for part in parts]),
        )

    def _locate(self, points: Floats) -> list[Located]:
        pairs = self._candidates(points)
        if pairs is None:
            half = len(points) // 2
            return self._locate(points[:half]) + self._locate(points[half:])
        query, face = pairs
        corners = self.mesh.corners[face]
        weights = closest_weights(points[query], corners)
        near = (weights[:, :, None] * corners).sum(axis=1)
        distance = np.sqrt(((near - points[query]) ** 2).sum(axis=1))
        best = np.full(len(points), np.inf)
        np.minimum.at(best, query, distance)
        tie = distance <= best[query] + TIE_SHARE * self._size
        order = np.flatnonzero(tie)
        order = order[np.lexsort([face[order], query[order]])]
        first = order[np.unique(query[order], return_index=True)[1]]
        found = Located(
            faces=face[first],
            weights=weights[first],
            points=near[first],
            distances=distance[first],
        )
        return [found]

    def _candidates(self, points: Floats) -> tuple[Ints, Ints] | None:
        """Pairs (point, face) among which the nearest is; None where there are too many at once."""
        bound = self._first_bound(points)
        slack = SLACK_SHARE * np.maximum(np.abs(points).max(axis=1, initial=0), self._reach)
        query, node = np.arange(len(points)), np.zeros(len(points), np.int64)
        for level in range(len(self._boxes) - 1, -1, -1):
            keep = self._gap2(points[query], node, level) <= ((bound + slack) ** 2)[query]
            query, node = query[keep], node[keep]
            if len(query) > PAIRS and len(points) > 1:
                return None
            away = points[query] - self._middle[self._faces[(LEAF << level) * node]]
            np.minimum.at(bound, query, np.sqrt((away**2).sum(axis=1)) + TIE_SHARE * self._size)
            if level:
                query = np.repeat(query, 2)
                node = (2 * node[:, None] + [0, 1]).ravel()
        return self._in_leaves(query, node)

    def _first_bound(self, points: Floats) -> Floats:
        """Distance to the faces of the leaf reached by always taking the box of nearer middle."""
        node = np.zeros(len(points), np.int64)
        for level in range(len(self._boxes) - 2, -1, -1):
            low, high = self._boxes[level]
            away = 0.5 * (low + high)
            left = ((away[2 * node] - points) ** 2).sum(axis=1)
            right = ((away[2 * node + 1] - points) ** 2).sum(axis=1)
            node = 2 * node + (right < left)
        query, face = self._in_leaves(np.arange(len(points)), node)
        corners = self.mesh.corners[face]
        near = (closest_weights(points[query], corners)[:, :, None] * corners).sum(axis=1)
        bound = np.full(len(points), np.inf)
        np.minimum.at(bound, query, np.sqrt(((near - points[query]) ** 2).sum(axis=1)))
        return bound + TIE_SHARE * self._size

    def _in_leaves(self, query: Ints, leaf: Ints) -> tuple[Ints, Ints]:
        face = self._faces[(LEAF * leaf[:, None] + np.arange(LEAF)).ravel()]
        return np.repeat(query, LEAF), face

    def _gap2(self, points: Floats, node: Ints, level: int) -> Floats:
        """Squared distance from each point to its box."""
        low, high = self._boxes[level]
        gap = np.maximum(np.maximum(low[node] - points, points - high[node]), 0)
        squared: Floats = (gap * gap).sum(axis=1)
        return squared


def _sorted_into_leaves(middle: Floats) -> Ints:
    """Faces in the order of a balanced tree: halved again and again across the longest side.

    The last leaves are filled up with faces named twice, which does no harm.
    """
    count = len(middle)
    levels = max(int(np.ceil(np.log2(count / LEAF))), 0)
    slots = LEAF << levels
    faces = (np.arange(slots) * count) // slots if slots > count else np.arange(count)
    for level in range(levels):
        blocks = faces.reshape(1 << level, -1)
        places = middle[blocks]
        axis = np.ptp(places, axis=1).argmax(axis=1)
        along = np.take_along_axis(places, axis[:, None, None], axis=2)[:, :, 0]
        order = np.argsort(along, axis=1, kind="stable")
        faces = np.take_along_axis(blocks, order, axis=1).ravel()
    return faces


def closest_weights(points: Floats, corners: Floats) -> Floats:
    """Return (q, 3) barycentric weights of the point of each triangle nearest to each point.

    Source: Ericson, Real-Time Collision Detection, 2005, 5.1.5.
    """
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    ab, ac = b - a, c - a
    d1, d2 = _dot(ab, points - a), _dot(ac, points - a)
    d3, d4 = _dot(ab, points - b), _dot(ac, points - b)
    d5, d6 = _dot(ab, points - c), _dot(ac, points - c)
    va, vb, vc = d3 * d6 - d5 * d4, d5 * d2 - d1 * d6, d1 * d4 - d3 * d2
    total = va + vb + vc
    inside = (va > 0) & (vb > 0) & (vc > 0) & (total > 0)
    safe = np.where(inside, total, 1)
    weights = np.column_stack([va / safe, vb / safe, vc / safe])
    outside = np.flatnonzero(~inside)
    if len(outside):
        weights[outside] = _nearest_side(points[outside], corners[outside])
    return weights


def _nearest_side(points: Floats, corners: Floats) -> Floats:
    """Weights of the nearest point on the triangle's outline."""
    best = np.full(len(points), np.inf)
    weights = np.zeros((len(points), 3))
    for side in range(3):
        start, along = corners[:, side], corners[:, (side + 1) % 3] - corners[:, side]
        length2 = _dot(along, along)
        share = np.clip(_dot(points - start, along) / np.where(length2 > 0, length2, 1), 0, 1)
        gap = start + share[:, None] * along - points
        distance2 = _dot(gap, gap)
        nearer = distance2 < best
        best[nearer] = distance2[nearer]
        rows = np.zeros((len(points), 3))
        rows[:, side], rows[:, (side + 1) % 3] = 1 - share, share
        weights[nearer] = rows[nearer]
    return weights


def _dot(one: Floats, two: Floats) -> Floats:
    product: Floats = np.einsum("ij,ij->i", one, two)
    return product
