"""Coarse to fine: solve a large drape on a mesh with a twentieth of the triangles, start there."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from ..arrays import Bools, Floats, Ints
from ..surface.geodesic import SurfacePoint
from ..surface.mesh import MouldMesh, SurfaceMesh, components
from .cluster import clusters, triangles_between
from .energy import Panels
from .spines import Spines, Tack
from .start import untangled

SHARE = 1 / 16  # of the triangles is left by decimation
SLIVER = 1e-6  # the same of a decimated mesh
THINNEST = 1e-3  # area over longest side squared; thinner triangles are no start
MENDED = 6  # times clusters are taken apart
# Over a triangle no further off it than this share of its size, a point is looked up no further.
LEVEL = 0.2


@dataclass(frozen=True, eq=False)
class Coarse:
    """A coarse surface; `near` (n,) the coarse vertex each fine vertex belongs to."""

    surface: SurfaceMesh
    near: Ints

    def places(self, points: Floats, near: Ints) -> tuple[Ints, Floats]:
        """Return the coarse face each point (k, 3) lies on and its weights (k, 3) there.

        `near` (k,) is a coarse vertex close by, of which the faces are looked at. Weights are
        negative beyond the rim.
        """
        around, planes = self._faces_around, self._planes
        best = np.full(len(points), -np.inf)
        face, weights = np.zeros(len(points), np.int64), np.zeros((len(points), 3))
        left, here = np.arange(len(points)), np.ascontiguousarray(points.T)
        for slot in range(len(around)):
            candidate = around[slot].take(near[left])
            x, y, z = here[:, left]
            v, w, high = (
                a.take(candidate) * x
                + b.take(candidate) * y
                + c.take(candidate) * z
                - d.take(candidate)
                for a, b, c, d in planes
            )
            rest, high = 1 - v - w, np.abs(high)
            inside = np.minimum(np.minimum(v, w), rest)
            score = inside - high
            better = score > best[left]
            take = left[better]
            best[take], face[take] = score[better], candidate[better]
            weights[take] = np.stack([rest, v, w], axis=1)[better]
            left = left[(inside < 0) | (high > LEVEL)]
            if not len(left):
                break
        return face, weights

    @cached_property
    def _planes(self) -> Floats:
        """(3, 4, m) weights of corners 1 and 2 and the height over the face, linear in the place.

        Three factors of the place and what is taken off.
        """
        surface = self.surface
        corners = surface.corners
        first, second = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
        normal = surface.double_areas
        square = (normal**2).sum(axis=1)[:, None]
        rows = [
            np.cross(second, normal) / square,
            np.cross(normal, first) / square,
            normal / square**0.75,
        ]
        return np.array([[*row.T, (row * corners[:, 0]).sum(axis=1)] for row in rows])

    @cached_property
    def _faces_around(self) -> Ints:
        """(most, n) the faces at each vertex, the last of them repeated to fill the column."""
        vertex = self.surface.faces.ravel()
        order = np.argsort(vertex, kind="stable")
        count = np.bincount(vertex, minlength=len(self.surface.vertices))
        first = np.cumsum(count) - count
        slot = np.minimum(np.arange(count.max())[:, None], np.maximum(count - 1, 0))
        index = np.minimum(first + slot, len(order) - 1)
        return np.asarray(order[index] // 3, np.int64)


def clustered_surface(mesh: MouldMesh) -> Coarse | None:
    """Return a surface between a few of the vertices; None where that is no sound surface.

    Clusters that do not meet as a surface does, beside a slit or over a narrow strip, are taken
    apart into their vertices: there the surface is as fine as the mesh.
    """
    seeds, near = clusters(mesh)
    for _ in range(MENDED):
        found = MouldMesh(mesh.vertices[seeds], triangles_between(mesh.faces, near))
        if not len(found.faces):
            return None
        bad = _unsound(found)
        if not bad.any():
            break
        apart = bad[near]
        kept = np.zeros(len(mesh.vertices), bool)
        kept[seeds] = True
        kept |= apart
        number = np.cumsum(kept) - 1
        near = np.where(apart, number, number[seeds[near]])
        seeds = np.flatnonzero(kept)
    else:
        return None
    if components(found.faces, found.edges).any() or not found.edges.boundary.any():
        return None
    return Coarse(SurfaceMesh(found.vertices, found.faces), near)


def _unsound(found: MouldMesh) -> Bools:
    """Return (k,) which vertices keep triangles between clusters from being a surface."""
    edges, corners = found.edges, found.corners
    bad = np.bincount(found.faces.ravel(), minlength=len(found.vertices)) == 0
    bad[edges.vertices[edges.crowded | edges.flipped]] = True
    longest2 = ((corners - np.roll(corners, 1, axis=1)) ** 2).sum(axis=2).max(axis=1)
    bad[found.faces[~(found.areas > THINNEST * longest2)]] = True
    return np.asarray(bad)


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
    if not (found.areas > SLIVER * longest2).all():
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


def held_on(coarse: Coarse, mesh: MouldMesh, tack: Tack, held: Spines) -> tuple[Tack, Spines]:
    """Return the tack and the held points of the fine mesh on the coarse one."""
    faces = np.append(held.faces, tack.point.face)
    weights = np.append(held.weights, tack.point.barycentric[None], axis=0)
    corners = mesh.faces[faces]
    points = np.einsum("kj,kjd->kd", weights, mesh.vertices[corners])
    closest = corners[np.arange(len(corners)), weights.argmax(axis=1)]
    face, weights = coarse.places(points, coarse.near[closest])
    point = SurfacePoint(int(face[-1]), weights[-1], tack.point.position, 0.0)
    spines = replace(held, faces=face[:-1], weights=weights[:-1])
    return Tack(point, tack.normal, tack.warp, tack.weft), spines


def carry(coarse: Coarse, flat: Floats, mesh: MouldMesh, panels: Panels) -> Floats | None:
    """Return the layout (2, n) of a coarse drape `flat` (2, k) carried to the fine mesh.

    Each fine vertex takes its place in the coarse triangle it lies on or, at the rim, beside;
    with the gradients at the corners, so that a layout of second degree is carried as exactly as
    they are known: the start of the fine drape is then all but without creases. None where
    triangles stay turned over even after smoothing.
    """
    middle = coarse.surface.vertices.mean(axis=0)
    face, weights = coarse.places(mesh.vertices, coarse.near)
    gradients = _vertex_gradients(coarse.surface, flat)
    from_middle = coarse.surface.vertices - middle
    shares = 0.5 * gradients
    at_middle = flat - np.einsum("xnd,nd->xn", shares, from_middle)
    table = np.concatenate([at_middle[:, :, None], shares], axis=2)  # (2, k, 4)
    corner = coarse.surface.faces[face]
    points = mesh.vertices - middle
    carried = np.empty((2, len(points)))
    for axis in (0, 1):
        mixed = sum(weights[:, k, None] * table[axis][corner[:, k]] for k in range(3))
        carried[axis] = mixed[:, 0] + (mixed[:, 1:] * points).sum(axis=1)
    return untangled(carried, mesh, panels)


def _vertex_gradients(surface: MouldMesh, flat: Floats) -> Floats:
    """Return (2, n, 3) the gradients of both coordinates, means over the faces by area."""
    corners = surface.corners
    count = len(surface.vertices)
    total = np.bincount(surface.faces.ravel(), np.repeat(surface.areas, 3), count)
    found = np.zeros((2, count, 3))
    # The gradient of a corner's weight times the area: half the opposite side, turned inwards.
    unit = surface.normals
    turned = [
        0.5 * np.cross(unit, corners[:, (k + 2) % 3] - corners[:, (k + 1) % 3]) for k in range(3)
    ]
    for axis in (0, 1):
        value = flat[axis][surface.faces]
        slope = sum(value[:, k, None] * turned[k] for k in range(3))
        for k in range(3):
            for d in range(3):
                found[axis, :, d] += np.bincount(surface.faces[:, k], slope[:, d], count)
    return found / total[None, :, None]
