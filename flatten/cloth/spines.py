"""Warp and weft through the tack point: the two threads everything else follows from."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from ..arrays import Floats, Ints, frozen_floats
from ..errors import InputError
from ..surface.geodesic import SurfacePoint, Trace, Tracer, closest_point
from ..surface.locate import locate
from ..surface.mesh import MouldMesh

# How far beside the surface a tack point may be given, as a share of the part's size: it comes
# from a click or from the middle of a region, and lies on the mould but for rounding.
OFF_SURFACE = 0.02
# A warp direction within 3 degrees of the normal says nothing about the heading.
STEEP = 0.05
# A tack point with a weight below this lies on a side of its triangle, or in a corner.
ON_RIM = 1e-9
# A thread is followed no further than this many sizes of the part: it may spiral on a tube.
LONGEST = 4.0
# Where cloth locks, a thread over a tight corner is let go by and by where its neighbours fan out,
# or close up, more than this many times as fast as at the tack point: no mesh, and no hand, says
# where it runs on. The power is large because cloth shears so freely: a hundredth of the grip
# would still be one.
FANS_OUT, LETS_GO = 1.5, 20


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
    """Points of the mesh that are held on a thread.

    `faces` (k,), `weights` (k, 3) of their corners, `axis` (k,) 1 on the warp (its y is held at
    0), 0 on the weft (its x is); `lines` the warp and the weft as polylines (., 3) mm; `grip`
    (k,) how firmly where the cloth locks, 1 fully.
    """

    faces: Ints
    weights: Floats
    axis: Ints
    lines: tuple[Floats, Floats]
    grip: Floats


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
    if np.linalg.norm(along) < STEEP * np.linalg.norm(warp):
        raise InputError(
            f"The warp direction {np.round(warp, 3).tolist()} points straight out of the surface "
            "at the tack point.",
            "Turn the rosette, or place the tack point elsewhere.",
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
    for face, heading in _arm_starts(tracer, tack):
        start = SurfacePoint(face, np.zeros(3), tack.point.position, 0.0)
        arms.append(tracer.trace(start, heading, longest_mm=longest, stop_at=taken))
        if len(arms) % 2 == 0:
            near = 0.05 * mesh.spread_mm
            for arm in arms[-2:]:
                taken |= set(arm.faces[arm.length_mm[:-1] > near].tolist())
    return _held(tracer, arms)


def spines_along(mesh: MouldMesh, lines: tuple[Floats, Floats], spacing_mm: float) -> Spines:
    """Return spines along a warp and a weft line given as polylines (., 3) mm on the surface.

    They are held at points `spacing_mm` apart.

    Raises
    ------
    InputError : a line has less than two points, no length, or leaves the surface
    """
    faces, weights, axis = [], [], []
    for number, (name, line) in enumerate(zip(("warp line", "weft line"), lines, strict=True)):
        line = frozen_floats(name, line, (None, 3))
        steps = np.sqrt((np.diff(line, axis=0) ** 2).sum(axis=1))
        if not steps.sum() > 0:
            raise InputError(f"The {name} has no length.", "Give two points or more, apart.")
        along = np.concatenate([[0.0], np.cumsum(steps)])
        wanted = np.linspace(0, along[-1], max(int(along[-1] / spacing_mm), 1) + 1)
        points = np.column_stack([np.interp(wanted, along, line[:, k]) for k in range(3)])
        found = locate(mesh, points)
        if found.distances.max() > OFF_SURFACE * mesh.size_mm:
            raise InputError(
                f"The {name} leaves the surface by {found.distances.max():.3g} mm.",
                "Draw it on the faces the ply covers.",
            )
        faces.append(found.faces)
        weights.append(found.weights)
        axis.append(np.full(len(found.faces), 1 - number))
    held = np.concatenate(faces)
    return Spines(held, np.concatenate(weights), np.concatenate(axis), lines, np.ones(len(held)))


def only_near(spines: Spines, mesh: MouldMesh, tack: Tack, axis: int, reach_mm: float) -> Spines:
    """Return the spines with the points of one axis held only near the tack point."""
    points = np.einsum("kj,kjd->kd", spines.weights, mesh.corners[spines.faces])
    near = ((points - tack.point.position) ** 2).sum(axis=1) <= reach_mm**2
    keep = near | (spines.axis != axis)
    return replace(
        spines,
        faces=spines.faces[keep],
        weights=spines.weights[keep],
        axis=spines.axis[keep],
        grip=spines.grip[keep],
    )


def just_fixed(spines: Spines, mesh: MouldMesh, tack: Tack, reach_mm: float) -> Spines:
    """Return what fixes a sheet without threads in place: the tack point and one on the warp line.

    More than these three would strain it.
    """
    points = np.einsum("kj,kjd->kd", spines.weights, mesh.corners[spines.faces])
    away = np.sqrt(((points - tack.point.position) ** 2).sum(axis=1))
    away = np.where(spines.axis == 1, np.abs(away - reach_mm), np.inf)
    far = int(away.argmin())
    return Spines(
        np.array([tack.point.face, tack.point.face, spines.faces[far]]),
        np.stack([tack.point.barycentric, tack.point.barycentric, spines.weights[far]]),
        np.array([0, 1, 1]),
        spines.lines,
        np.ones(3),
    )


def _arm_starts(tracer: Tracer, tack: Tack) -> list[tuple[int, Floats]]:
    """Return face and heading of the four arms: warp there and back, weft there and back.

    The angles between them are right ones on the triangles themselves.
    """
    mesh = tracer.mesh
    face, heading = _arm_start(tracer, tack, tack.warp)
    weights = tack.point.barycentric
    if weights.max() > 1 - ON_RIM:
        vertex = int(mesh.faces[tack.point.face, weights.argmax()])
        out = [tracer.from_vertex(face, vertex, heading, turn) for turn in (0.5, 0.25, 0.75)]
        ways = [(way[0], way[1]) for way in out if way is not None]
        if len(ways) == 3:
            return [(face, heading), *ways]
        directions = (-tack.warp, tack.weft, -tack.weft)
        return [(face, heading), *(_arm_start(tracer, tack, way) for way in directions)]
    left = np.cross(mesh.normals[face], heading)
    return [(face, heading), (face, -heading), (face, left), (face, -left)]


def _arm_start(tracer: Tracer, tack: Tack, direction: Floats) -> tuple[int, Floats]:
    """Return the face an arm starts in and its heading there, lifted along the normal."""
    mesh, position = tracer.mesh, tack.point.position
    faces = mesh.faces[tack.point.face]
    weight = tack.point.barycentric
    around = [tack.point.face]
    if weight.max() > 1 - ON_RIM:
        vertex = faces[weight.argmax()]
        around = np.flatnonzero((mesh.faces == vertex).any(axis=1)).tolist()
    elif weight.min() < ON_RIM:
        edge = tracer.edges.of_face[tack.point.face, (weight.argmin() + 1) % 3]
        around = [int(f) for f in tracer.edges.faces[edge] if f >= 0]
    best, best_face, best_heading = -math.inf, around[0], direction
    for face in around:
        normal = mesh.normals[face]
        slope = float(normal @ tack.normal)
        if slope < 0.05:
            continue
        heading = direction - tack.normal * ((direction @ normal) / slope)
        heading = heading / math.sqrt(heading @ heading)
        worst = _inwards(mesh.corners[face], position, heading, normal)
        if worst > best + 1e-9:
            best, best_face, best_heading = worst, face, heading
    return best_face, best_heading


def _inwards(corners: Floats, position: Floats, heading: Floats, normal: Floats) -> float:
    """Return the least sine between a heading and the sides the position lies on; 1 on none."""
    (nx, ny, nz), (hx, hy, hz) = normal.tolist(), heading.tolist()
    lx, ly, lz = ny * hz - nz * hy, nz * hx - nx * hz, nx * hy - ny * hx  # to the heading's left
    away = (corners - position).tolist()
    worst = 1.0
    for side in range(3):
        (ax, ay, az), (bx, by, bz) = away[side], away[(side + 1) % 3]
        ex, ey, ez = bx - ax, by - ay, bz - az
        length2 = ex * ex + ey * ey + ez * ez
        off = (ay * ez - az * ey) ** 2 + (az * ex - ax * ez) ** 2 + (ax * ey - ay * ex) ** 2
        if off < (1e-6 * length2) ** 2:
            worst = min(worst, -(ex * lx + ey * ly + ez * lz) / math.sqrt(length2))
    return worst


def _held(tracer: Tracer, arms: list[Trace]) -> Spines:
    """Return the points where the arms cross edges, held less and less where they are unsure."""
    mesh = tracer.mesh
    grips = [_grip(tracer, arm) for arm in arms]
    edge = np.concatenate([arm.edges for arm in arms])
    share = np.concatenate([arm.shares for arm in arms])
    axis = np.concatenate([np.full(len(a.edges), int(n < 2)) for n, a in enumerate(arms)])
    grip = np.concatenate(grips)
    on = edge >= 0
    edge, share, axis, grip = edge[on], share[on], axis[on], grip[on]
    face = mesh.edges.faces[edge, 0]
    low, high = mesh.edges.vertices[edge].T
    weights = np.where(mesh.faces[face] == low[:, None], 1 - share[:, None], 0.0)
    weights = np.where(mesh.faces[face] == high[:, None], share[:, None], weights)
    warp, weft = (
        np.concatenate([back.points[::-1], ahead.points[1:]])
        for ahead, back in (arms[:2], arms[2:])
    )
    return Spines(face, weights, axis, (warp, weft), grip)


def _grip(tracer: Tracer, arm: Trace) -> Floats:
    """Return (k,) how firmly each point of an arm is held: by how much neighbours fan out."""
    widest = np.maximum.accumulate(np.abs(tracer.fanning(arm)))
    return np.asarray(np.minimum(1.0, (widest / FANS_OUT) ** -LETS_GO))
