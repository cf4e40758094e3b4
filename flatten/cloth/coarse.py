"""Coarse to fine: solve a large drape on a decimated mesh first, and start from there."""

from __future__ import annotations

import numpy as np

from ..arrays import Bools, Floats
from ..surface.locate import Located, locate
from ..surface.mesh import MouldMesh, SurfaceMesh, components
from .energy import Panels

SHARE = 1 / 16  # of the triangles is left
ROUNDS = 8  # of smoothing where the carried layout turns triangles over
# Below this share of a triangle's usual flat area it counts as turned over, and is smoothed.
THIN = 0.05


def coarse_surface(mesh: MouldMesh) -> SurfaceMesh | None:
    """Return the mesh with a sixteenth of the triangles; None where that is no sound surface.

    Source: Garland & Heckbert, Surface simplification using quadric error metrics, 1997, as
    fast-simplification implements it.
    """
    import fast_simplification

    points, faces = fast_simplification.simplify(
        np.array(mesh.vertices),
        mesh.faces.astype(np.int32),
        target_count=int(SHARE * len(mesh.faces)),
    )
    found = MouldMesh(points, faces.astype(np.int64))
    edges = found.edges
    if edges.crowded.any() or edges.flipped.any() or components(found.faces, edges).any():
        return None
    corners = found.corners
    longest2 = ((corners - np.roll(corners, 1, axis=1)) ** 2).sum(axis=2).max(axis=1)
    if not (found.areas > 1e-4 * longest2).all():
        return None
    return SurfaceMesh(found.vertices, found.faces)


def carry(coarse: SurfaceMesh, flat: Floats, mesh: MouldMesh, panels: Panels) -> Floats | None:
    """Return the layout (2, n) of a coarse drape `flat` (2, k) carried to the fine mesh.

    None where triangles stay turned over even after smoothing.
    """
    found = locate(coarse, mesh.vertices)
    weights = _beyond_rim(coarse, found, mesh.vertices)
    carried: Floats = np.einsum("kj,dkj->dk", weights, flat[:, coarse.faces[found.faces]])
    low, high = mesh.edges.vertices.T
    degree = np.bincount(mesh.edges.vertices.ravel(), minlength=len(mesh.vertices))
    for _ in range(ROUNDS):
        bad = _turned_over(panels, carried)
        if not bad.any():
            return carried
        vertices = np.unique(panels.faces[bad])
        for axis in (0, 1):
            around = np.bincount(low, carried[axis, high], len(degree))
            around += np.bincount(high, carried[axis, low], len(degree))
            carried[axis, vertices] = around[vertices] / degree[vertices]
    return None


def _turned_over(panels: Panels, flat: Floats) -> Bools:
    x1, x2 = panels.gradients(flat[0])
    y1, y2 = panels.gradients(flat[1])
    return np.asarray(x1 * y2 - x2 * y1 < THIN, bool)


def _beyond_rim(coarse: SurfaceMesh, found: Located, points: Floats) -> Floats:
    """Return the weights, running on past the coarse rim: the fine rim lies outside it."""
    edges = coarse.edges
    weights = np.array(found.weights)
    opposite = edges.of_face[found.faces][:, [1, 2, 0]]  # the side opposite each corner
    outside = np.flatnonzero(((weights <= 1e-12) & edges.boundary[opposite]).any(axis=1))
    corners = coarse.corners[found.faces[outside]]
    first, second = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    to = points[outside] - corners[:, 0]
    aa, ab, bb = (first * first).sum(1), (first * second).sum(1), (second * second).sum(1)
    ra, rb = (first * to).sum(1), (second * to).sum(1)
    det = aa * bb - ab * ab
    v, w = (bb * ra - ab * rb) / det, (aa * rb - ab * ra) / det
    weights[outside] = np.column_stack([1 - v - w, v, w])
    return weights
