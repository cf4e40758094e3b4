"""The mesh darts are sought on: of one size whatever was given, finer where a dart may end."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from ..arrays import Floats
from ..surface.mesh import MouldMesh, SurfaceMesh, components
from ..surface.triangulation import Triangulation

ROUNDS = 40
FEW_MORE = 1.3  # this many times the triangles wanted are not worth a coarser mesh
SMALLEST_SHARE = 1e-3  # of the mean area: smaller triangles are slivers of the simplification
LIFT_SHARE = 0.02  # of the edge: how far a flipped edge may pass the old one


def coarser(
    surface: SurfaceMesh, faces: int, smallest_share: float = SMALLEST_SHARE
) -> SurfaceMesh:
    """Return the surface with about so many triangles; as it is where that gives no sound one.

    Source: Garland & Heckbert, Surface simplification using quadric error metrics, 1997, as
    fast-simplification implements it.
    """
    import fast_simplification

    if len(surface.faces) <= FEW_MORE * faces:
        return surface
    points, triangles = fast_simplification.simplify(
        np.array(surface.vertices), surface.faces.astype(np.int32), target_count=faces
    )
    used, number = np.unique(triangles, return_inverse=True)
    found = MouldMesh(points[used].astype(np.float64), number.reshape(-1, 3).astype(np.int64))
    edges = found.edges
    loops = len(surface.edges.boundary_loops(surface.faces))
    if edges.crowded.any() or edges.flipped.any() or components(found.faces, edges).any():
        return surface
    euler = len(found.vertices) - len(edges.count) + len(found.faces)
    if euler != 2 - loops or not (found.areas > smallest_share * found.areas.mean()).all():
        return surface
    return SurfaceMesh(found.vertices, found.faces)


def refine_near(
    surface: SurfaceMesh, wanted_mm: Callable[[Floats], Floats], smallest_mm: float
) -> SurfaceMesh:
    """Return the surface with edges no longer than `wanted_mm` of their face's middle (k, 3).

    Points are put in the middle of the longest edges, edges flipped towards Delaunay: the
    surface stays where it is. Source: Rivara, New longest-edge algorithms, 1997.
    """
    work = Triangulation(surface.vertices, surface.faces, np.zeros(len(surface.faces), np.int64))
    for _ in range(ROUNDS):
        every = np.arange(len(work.faces))
        sides = work.side_lengths(every)
        middle = work.vertices[work.faces].mean(axis=1)
        long = np.flatnonzero(sides.max(axis=1) > wanted_mm(middle))
        if not len(long):
            break
        changed = work.split(work.terminal_edges(long, work.longest_sides(every, sides)))
        work.flip_all(changed, LIFT_SHARE * smallest_mm)
    return SurfaceMesh(work.vertices, work.faces)
