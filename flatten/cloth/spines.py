"""Warp and weft through the tack point: the two threads everything else follows from."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..arrays import Floats, Ints
from ..errors import InputError
from ..surface.geodesic import SurfacePoint, Trace, Tracer, closest_point
from ..surface.mesh import MouldMesh

# How far beside the surface a tack point may be given, as a share of the part's size: it comes
# from a click or from the middle of a region, and lies on the mould but for rounding.
OFF_SURFACE = 0.02
# A thread is followed no further than this many sizes of the part: it may spiral on a tube.
LONGEST = 4.0


@dataclass(frozen=True, slots=True, eq=False)
class Tack:
    """Where the cloth is pressed down first, and its threads' directions there.

    `point` on the mesh; `normal` (3,) the smoothed normal; `warp`, `weft` (3,) unit, at right
    angles in the smoothed tangent plane, weft counter-clockwise from warp seen from the lay-up
    side.
    """

    point: SurfacePoint
    normal: Floats
    warp: Floats
    weft: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Spines:
    """Points on the mesh's edges that are held on a thread.

    `edges` (k,), `shares` (k,) from the edge's low vertex on, `axis` (k,) 1 for the warp (its y
    is held), 0 for the weft (its x is held), `at` (k,) mm the value held; `lines` the warp and
    the weft as polylines (., 3) mm.
    """

    edges: Ints
    shares: Floats
    axis: Ints
    at: Floats
    lines: tuple[Floats, Floats]


def find_tack(tracer: Tracer, tack_mm: Floats, warp: Floats, turn: float = 0.0) -> Tack:
    """Return the tack on the surface; `turn` (radians) turns the warp counter-clockwise.

    Raises
    ------
    InputError : the point is off the surface, or warp runs along the normal there
    """
    mesh = tracer.mesh
    point = closest_point(mesh, tack_mm)
    if point.distance > OFF_SURFACE * mesh.size_mm:
        raise InputError(
            f"The tack point {np.round(tack_mm, 2).tolist()} mm lies {point.distance:.3g} mm off "
            "the surface.",
            "Place it on the faces the ply covers.",
        )
    normal = point.barycentric @ tracer.smooth_normals[mesh.faces[point.face]]
    size = np.linalg.norm(normal)
    normal = normal / size if size > 0.1 else mesh.normals[point.face]
    along = warp - normal * (normal @ warp)
    if np.linalg.norm(along) < 1e-3 * np.linalg.norm(warp):
        raise InputError(
            f"The warp direction {np.round(warp, 3).tolist()} points straight out of the surface "
            "at the tack point.",
            "Turn the rosette, or place the tack point elsewhere.",
            faces=[point.face],
        )
    along = along / np.linalg.norm(along)
    left = np.cross(normal, along)
    c, s = np.cos(turn), np.sin(turn)
    return Tack(point, normal, c * along + s * left, c * left - s * along)


def trace_spines(tracer: Tracer, tack: Tack) -> Spines:
    """Trace warp and weft as straightest lines from the tack point to the boundary."""
    mesh = tracer.mesh
    longest = LONGEST * mesh.size_mm
    arms = []
    taken: set[int] = set()
    for direction in (tack.warp, -tack.warp, tack.weft, -tack.weft):
        face, heading = _arm_start(tracer, tack, direction)
        start = SurfacePoint(face, tack.point.barycentric, tack.point.position, 0.0)
        arms.append(tracer.trace(start, heading, longest_mm=longest, stop_at=taken))
        if len(arms) % 2 == 0:
            near = 0.05 * mesh.size_mm
            for arm in arms[-2:]:
                taken |= set(arm.faces[arm.length_mm[:-1] > near].tolist())
    return _held(arms)


def only_near(spines: Spines, mesh: MouldMesh, tack: Tack, axis: int, reach_mm: float) -> Spines:
    """Return the spines with the points of one axis held only near the tack point."""
    ends = mesh.vertices[mesh.edges.vertices[spines.edges]]
    points = ends[:, 0] + spines.shares[:, None] * (ends[:, 1] - ends[:, 0])
    near = ((points - tack.point.position) ** 2).sum(axis=1) <= reach_mm**2
    keep = near | (spines.axis != axis)
    return Spines(
        spines.edges[keep], spines.shares[keep], spines.axis[keep], spines.at[keep], spines.lines
    )


def _arm_start(tracer: Tracer, tack: Tack, direction: Floats) -> tuple[int, Floats]:
    """Return the face an arm starts in and its heading there, lifted along the normal."""
    mesh, position = tracer.mesh, tack.point.position
    faces = mesh.faces[tack.point.face]
    weight = tack.point.barycentric
    around = [tack.point.face]
    if weight.max() > 1 - 1e-9:
        vertex = faces[weight.argmax()]
        around = np.flatnonzero((mesh.faces == vertex).any(axis=1)).tolist()
    elif weight.min() < 1e-9:
        edge = tracer.edges.of_face[tack.point.face, (weight.argmin() + 1) % 3]
        around = [int(f) for f in tracer.edges.faces[edge] if f >= 0]
    best, best_face, best_heading = -np.inf, around[0], direction
    for face in around:
        normal = mesh.normals[face]
        slope = normal @ tack.normal
        if slope < 0.05:
            continue
        heading = direction - tack.normal * ((direction @ normal) / slope)
        heading = heading / np.linalg.norm(heading)
        corners = mesh.vertices[mesh.faces[face]]
        inside = []
        for side in range(3):
            a, b = corners[side], corners[(side + 1) % 3]
            along = (b - a) / np.linalg.norm(b - a)
            if np.linalg.norm(np.cross(position - a, along)) < 1e-6 * np.linalg.norm(b - a):
                inside.append(float(np.cross(along, heading) @ normal))
        worst = min(inside, default=1.0)
        if worst > best + 1e-9:
            best, best_face, best_heading = worst, face, heading
    return best_face, best_heading


def _held(arms: list[Trace]) -> Spines:
    edges, shares, axis = [], [], []
    for number, arm in enumerate(arms):
        on = arm.edges >= 0
        edges.append(arm.edges[on])
        shares.append(arm.shares[on])
        axis.append(np.full(on.sum(), 1 if number < 2 else 0))
    lines = tuple(
        np.concatenate([back.points[::-1], ahead.points[1:]])
        for ahead, back in (arms[:2], arms[2:])
    )
    count = sum(map(len, edges))
    return Spines(
        np.concatenate(edges),
        np.concatenate(shares),
        np.concatenate(axis),
        np.zeros(count),
        (lines[0], lines[1]),
    )
