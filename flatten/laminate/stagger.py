"""Joints of successive plies must not lie over one another: the check, and a moved copy.

Longer than most files: both measure joints and their distances the same way.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

import numpy as np

from ..arrays import Floats, Ints
from ..cloth.fabric import Fabric
from ..errors import InputError
from ..finding import Finding
from ..surface.cut import Cut
from ..surface.geodesic import SurfacePoint, Tracer, closest_point
from ..surface.mesh import MouldMesh
from .ply import Ply

# One lap width, never less than 25 mm: common practice, no source. On large parts 100 mm between
# the laps' centre lines: Rules for the Classification of FRP Ships, Sec. 3, 301.
LEAST_MM = 25.0
LARGE_PART_MM, LARGE_STAGGER_MM = 1000.0, 100.0
SAMPLE_MM = 2.0  # between the points at which two joints are compared
# Joints that cross at more than this stack in one point only, which is no weakness.
CROSSING_DEG = 45.0
PATH_STEP_MM = 25.0  # between the points of a moved copy


@dataclass(frozen=True, slots=True, kw_only=True)
class LaidJoint:
    """A joint of a ply on the mould: the drawn cut's id, "seam" for marked seams."""

    name: str
    lap_mm: float
    path: Floats


def stagger_wanted_mm(mould: MouldMesh, lap_mm: float) -> float:
    """Return how far apart joints of successive plies should be on this mould."""
    large = LARGE_STAGGER_MM if mould.size_mm >= LARGE_PART_MM else 0.0
    return max(lap_mm, LEAST_MM, large)


def check_stagger(
    mould: MouldMesh,
    plies: Sequence[Ply],
    fabrics: Mapping[str, Fabric],
    *,
    seams: Ints | None = None,
    stagger_mm: float | None = None,
) -> list[Finding]:
    """Return a finding for each two successive plies whose joints lie too close to one another.

    Parameters
    ----------
    mould : the job's mould
    plies : in laying order; two count as successive where no ply between them shares their faces
    fabrics : by id, for the default lap
    seams : (s, 2) marked seam edges, cuts of every ply that uses them
    stagger_mm : wanted distance; None: see `stagger_wanted_mm`

    Code: joint_stagger. Distances are straight, from point to point of the joints.
    """
    joints = [joints_of(mould, ply, fabrics.get(ply.fabric), seams) for ply in plies]
    findings = []
    for low, high in _successive(plies):
        found = _closest(joints[low], joints[high])
        if found is None:
            continue
        distance, one, other, place = found
        wanted = stagger_mm
        if wanted is None:
            wanted = stagger_wanted_mm(mould, max(one.lap_mm, other.lap_mm))
        if distance < wanted - 1e-6:
            findings.append(
                Finding(
                    code="joint_stagger",
                    severity="warning",
                    message=(
                        f"Joints of ply {low + 1} '{plies[low].name}' ({one.name}) and ply "
                        f"{high + 1} '{plies[high].name}' ({other.name}) lie {distance:.0f} mm "
                        f"apart; at least {wanted:.0f} mm is wanted, or their laps stack."
                    ),
                    hint=f"Move the joint of '{plies[high].name}' by {wanted - distance:.0f} mm "
                    "or more, or take the moved copy.",
                    ply_id=plies[high].id,
                    faces=(closest_point(mould, place).face,),
                )
            )
    return findings


def joints_of(
    mould: MouldMesh, ply: Ply, fabric: Fabric | None, seams: Ints | None
) -> list[LaidJoint]:
    """Return the joints of a ply: its drawn cuts, and the marked seams inside its region."""
    found = [LaidJoint(name=cut.id, lap_mm=cut.lap_mm, path=cut.path) for cut in ply.cuts]
    if not ply.use_seams or seams is None or not len(seams):
        return found
    inside = np.zeros(len(mould.faces) + 1, bool)
    inside[ply.faces] = True
    edges, base = mould.edges, len(mould.vertices)
    own = edges.vertices[(edges.count == 2) & inside[edges.faces].all(axis=1)]
    within = np.isin(np.sort(seams, axis=1) @ [base, 1], own @ [base, 1])
    lap = fabric.lap_mm if fabric is not None and ply.lap_mm is None else ply.lap_mm or 0.0
    paths = mould.vertices[np.asarray(seams)[within]]
    return found + [LaidJoint(name="seam", lap_mm=lap, path=path) for path in paths]


def moved_copy(
    mould: MouldMesh,
    cut: Cut,
    by_mm: float,
    *,
    side: Literal["left", "right"] = "left",
    id: str | None = None,
) -> Cut:
    """Return a copy of a cut moved sideways over the mould.

    Every point goes straight over the surface at right angles to the cut; those that would
    leave the mould are left out. Ends at the part's edge are led straight on, so that they
    reach it again: what lies outside a ply is cut off when it is laid.

    Parameters
    ----------
    by_mm : how far; `side`: to which side of the path, seen from the lay-up side
    id : of the copy; None: the cut's id with "-moved"

    Raises
    ------
    InputError : the distance is not above zero, or less than two points stay on the mould
    """
    if not 0 < by_mm < 1e5:
        raise InputError(f"Cut '{cut.id}': moved by {by_mm} mm.", "Enter a distance above zero.")
    tracer, moved = Tracer(mould), []
    for point, along in zip(*_along(cut.path, PATH_STEP_MM), strict=True):
        at = closest_point(mould, point)
        out = np.cross(mould.normals[at.face], along) * (1.0 if side == "left" else -1.0)
        if np.linalg.norm(out) < 1e-9:
            continue
        trace = tracer.trace(_facing(mould, at, out), out, longest_mm=by_mm)
        if trace.end == "length" and trace.length_mm[-1] > 0.999 * by_mm:
            moved.append(trace.points[-1])
    if len(moved) < 2:
        raise InputError(
            f"Cut '{cut.id}' moved {by_mm:g} mm to the {side} leaves the mould.",
            "Move it to the other side, or by less.",
        )
    onward = by_mm + PATH_STEP_MM
    moved.insert(0, _led_on(tracer, moved[1], moved[0], onward))
    if cut.kind == "splice":
        moved.append(_led_on(tracer, moved[-2], moved[-1], onward))
    return replace(cut, id=id or f"{cut.id}-moved", path=_distinct(np.array(moved)))


def clear_copy(
    mould: MouldMesh,
    plies: Sequence[Ply],
    fabrics: Mapping[str, Fabric],
    ply_id: str,
    *,
    seams: Ints | None = None,
    stagger_mm: float | None = None,
) -> tuple[Cut, Cut] | None:
    """Return a drawn cut of a ply that lies too near a joint below, and its copy moved clear.

    Both sides are tried, by what is lacking and then further; None where no cut of the ply is
    too near. Plies and the other parameters are those of `check_stagger`.

    Raises
    ------
    InputError : no copy on the mould keeps the distance, or the joint is a marked seam
    """
    joints = [joints_of(mould, ply, fabrics.get(ply.fabric), seams) for ply in plies]
    for low, high in _successive(plies):
        found = _closest(joints[low], joints[high]) if plies[high].id == ply_id else None
        if found is None:
            continue
        distance, one, other, place = found
        wanted = stagger_mm or stagger_wanted_mm(mould, max(one.lap_mm, other.lap_mm))
        if distance >= wanted - 1e-6:
            continue
        old = next((cut for cut in plies[high].cuts if cut.id == other.name), None)
        if old is None:
            raise InputError(
                f"The joint of ply '{plies[high].name}' is a marked seam.",
                "Draw a cut where it should lie, and clear the seam.",
                faces=(closest_point(mould, place).face,),
            )
        return old, _clear_of(mould, old, joints[low], wanted, wanted - distance)
    return None


def _clear_of(
    mould: MouldMesh, old: Cut, below: Sequence[LaidJoint], wanted: float, lacking: float
) -> Cut:
    """Return the least moved copy of a cut that keeps its distance to all joints below."""
    sides: tuple[Literal["left", "right"], ...] = ("left", "right")
    for by_mm in (lacking + 1.0, wanted + 1.0, 2 * wanted):
        for side in sides:
            try:
                copy = moved_copy(mould, old, by_mm, side=side, id=old.id)
            except InputError:  # that side leaves the mould
                continue
            laid = LaidJoint(name=copy.id, lap_mm=copy.lap_mm, path=copy.path)
            found = _closest(below, [laid])
            if found is None or found[0] >= wanted:
                return copy
    raise InputError(
        f"No copy of cut '{old.id}' on this mould keeps {wanted:.0f} mm to the joints below.",
        "Move it by hand, or splice the ply elsewhere.",
    )


def _led_on(tracer: Tracer, before: Floats, end: Floats, longest_mm: float) -> Floats:
    """Return where a path leads that goes straight on past its end."""
    at = closest_point(tracer.mesh, end)
    ahead = end - before
    trace = tracer.trace(_facing(tracer.mesh, at, ahead), ahead, longest_mm=longest_mm)
    return np.asarray(trace.points[-1])


def _distinct(path: Floats) -> Floats:
    """Return a path without points that repeat the one before."""
    steps = np.linalg.norm(np.diff(path, axis=0), axis=1)
    return np.asarray(path[np.concatenate([[True], steps > 1e-6])])


def _facing(mould: MouldMesh, at: SurfacePoint, out: Floats) -> SurfacePoint:
    """Return the same point on the face a direction leads into: it may lie on a corner or edge."""
    held = mould.faces[at.face][at.barycentric > 1e-9]
    if len(held) == 3:
        return at
    around = np.flatnonzero(np.isin(mould.faces, held).sum(axis=1) == len(held))
    best = (-np.inf, at)
    for face in around.tolist():
        a, b, c = mould.corners[face]
        normal = mould.normals[face]
        along = out - normal * (out @ normal)
        along = along / max(float(np.linalg.norm(along)), 1e-300)
        ahead = at.position + 1e-3 * float(np.sqrt(mould.areas[face])) * along
        areas = [np.cross(q - ahead, r - ahead) @ normal for q, r in ((b, c), (c, a), (a, b))]
        lead = float(min(areas)) / (2 * float(mould.areas[face]))
        if lead > best[0] + 1e-12:
            weights = np.isin(mould.faces[face], held) * 1.0
            weights[weights > 0] = [
                at.barycentric[mould.faces[at.face] == v][0] for v in mould.faces[face][weights > 0]
            ]
            best = (lead, SurfacePoint(face, weights, at.position, at.distance))
    return best[1]


def _successive(plies: Sequence[Ply]) -> Iterable[tuple[int, int]]:
    """Return pairs of plies, each with the next one laid on some of its faces."""
    for high in range(1, len(plies)):
        bare = set(plies[high].faces.tolist())
        for low in range(high - 1, -1, -1):
            shared = bare.intersection(plies[low].faces.tolist())
            if shared:
                yield low, high
                bare -= shared
            if not bare:
                break


def _closest(
    lower: Sequence[LaidJoint], upper: Sequence[LaidJoint]
) -> tuple[float, LaidJoint, LaidJoint, Floats] | None:
    """Return the least distance of two joints that run alongside, which, and where."""
    best: tuple[float, LaidJoint, LaidJoint, Floats] | None = None
    for one in lower:
        a, along_a = _along(one.path, SAMPLE_MM)
        for other in upper:
            b, along_b = _along(other.path, SAMPLE_MM)
            distance, place = _alongside(a, along_a, b, along_b)
            if best is None or distance < best[0]:
                best = (distance, one, other, place)
    return best if best is not None and np.isfinite(best[0]) else None


def _alongside(a: Floats, along_a: Floats, b: Floats, along_b: Floats) -> tuple[float, Floats]:
    """Return the least distance between points where the two run within 45 degrees."""
    best, place = np.inf, b[0]
    for start in range(0, len(a), 256):
        apart = np.linalg.norm(a[start : start + 256, None] - b[None], axis=2)
        cosine = np.abs(along_a[start : start + 256] @ along_b.T)
        apart = np.where(cosine >= np.cos(np.radians(CROSSING_DEG)), apart, np.inf)
        k = int(apart.argmin())
        if apart.flat[k] < best:
            best, place = float(apart.flat[k]), b[k % len(b)]
    return best, place


def _along(path: Floats, step_mm: float) -> tuple[Floats, Floats]:
    """Return points along a path and its unit direction at each."""
    points, directions = [], []
    for a, b in pairwise(path):
        length = float(np.linalg.norm(b - a))
        if length <= 0:
            continue
        count = max(int(np.ceil(length / step_mm)), 1)
        points += [a + t * (b - a) for t in np.arange(count) / count]
        directions += [(b - a) / length] * count
    points.append(path[-1])
    directions.append(directions[-1])
    return np.array(points), np.array(directions)
