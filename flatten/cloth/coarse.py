"""Coarse to fine: solve a large drape on a decimated mesh first, and start from there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..arrays import Floats, Ints
from ..surface.mesh import MouldMesh, SurfaceMesh, components
from .energy import Panels
from .start import untangled

SHARE = 1 / 16  # of the triangles is left

THINNEST = 1e-6  # area over longest side squared; thinner triangles are no start


@dataclass(frozen=True, slots=True, eq=False)
class Coarse:
    """A decimated surface; `near` (n,) the coarse vertex each fine vertex was drawn into."""

    surface: SurfaceMesh
    near: Ints


def coarse_surface(mesh: MouldMesh, share: float = SHARE) -> Coarse | None:
    """Return the mesh with this share of the triangles; None where that is no sound surface.

    Source: Garland & Heckbert, Surface simplification using quadric error metrics, 1997, as
    fast-simplification implements it.
    """
    import fast_simplification

    points, triangles = np.array(mesh.vertices), mesh.faces.astype(np.int32)
    _, _, collapses = fast_simplification.simplify(
        points, triangles, target_count=int(share * len(triangles)), return_collapses=True
    )
    points, triangles, near = fast_simplification.replay_simplification(
        points, triangles, collapses
    )
    points = _on_surface(points, np.asarray(mesh.vertices), near)
    found = MouldMesh(points, triangles.astype(np.int64))
    edges = found.edges
    if edges.crowded.any() or edges.flipped.any() or components(found.faces, edges).any():
        return None
    corners = found.corners
    longest2 = ((corners - np.roll(corners, 1, axis=1)) ** 2).sum(axis=2).max(axis=1)
    if not (found.areas > THINNEST * longest2).all():
        return None
    return Coarse(SurfaceMesh(found.vertices, found.faces), near.astype(np.int64))


def _on_surface(points: Floats, vertices: Floats, near: Ints) -> Floats:
    """Return for each new place the nearest of the vertices that were drawn into it.

    The least of a quadric is anywhere along what is flat: metres off the mould, on a plane.
    """
    away = ((points[near] - vertices) ** 2).sum(axis=1)
    order = np.lexsort((away, near))
    first = order[np.append(True, near[order][1:] != near[order][:-1])]
    kept: Floats = vertices[first]
    return kept


def carry(coarse: Coarse, flat: Floats, mesh: MouldMesh, panels: Panels) -> Floats | None:
    """Return the layout (2, n) of a coarse drape `flat` (2, k) carried to the fine mesh.

    Each fine vertex takes its place in the coarse triangle it lies on or, at the rim, beside.
    None where triangles stay turned over even after smoothing.
    """
    face, weights = _places(coarse, mesh.vertices)
    corner = coarse.surface.faces[face]
    carried = np.zeros((2, len(face)))
    for k in range(3):
        carried += weights[k] * flat[:, corner[:, k]]
    return untangled(carried, mesh, panels)


def _places(coarse: Coarse, points: Floats) -> tuple[Ints, list[Floats]]:
    """Return the coarse face of each point and its weights there; negative beyond the rim."""
    around = _faces_around(coarse.surface)
    corners = coarse.surface.corners
    first, second = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    aa, ab, bb = (first * first).sum(1), (first * second).sum(1), (second * second).sum(1)
    det = (aa * bb - ab * ab)[:, None]
    to_v = (bb[:, None] * first - ab[:, None] * second) / det
    to_w = (aa[:, None] * second - ab[:, None] * first) / det
    start_v = np.einsum("kd,kd->k", to_v, corners[:, 0])
    start_w = np.einsum("kd,kd->k", to_w, corners[:, 0])
    best = np.full(len(points), -np.inf)
    face = np.zeros(len(points), np.int64)
    weights = [np.zeros(len(points)) for _ in range(3)]
    for slot in range(around.shape[1]):
        candidate = around[coarse.near, slot]
        v = np.einsum("kd,kd->k", to_v[candidate], points) - start_v[candidate]
        w = np.einsum("kd,kd->k", to_w[candidate], points) - start_w[candidate]
        rest = 1 - v - w
        inside = np.minimum(np.minimum(v, w), rest)
        better = inside > best
        best[better], face[better] = inside[better], candidate[better]
        for kept, new in zip(weights, (rest, v, w), strict=True):
            kept[better] = new[better]
    return face, weights


def _faces_around(surface: SurfaceMesh) -> Ints:
    """Return (n, most) the faces at each vertex, the first of them repeated to fill the row."""
    vertex = surface.faces.ravel()
    order = np.argsort(vertex, kind="stable")
    count = np.bincount(vertex, minlength=len(surface.vertices))
    first = np.cumsum(count) - count
    slot = np.minimum(np.arange(count.max()), np.maximum(count[:, None] - 1, 0))
    index = np.minimum(first[:, None] + slot, len(order) - 1)
    return np.asarray(order[index] // 3, np.int64)
