"""Drop-offs: where plies end on the part, are they far enough apart? Findings only.

A ply that ends leaves a step of its thickness. Asked is `ratio` times that step between the
edges of plies that step down the same way (1:20 by default; common practice, no source), so
that the load has length to go over.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..arrays import Bools, Floats, Ints
from ..finding import Finding
from ..surface.mesh import MouldMesh
from .bounds import check_not_negative
from .thickness import Course

ROUNDING = 1e-6  # of the distance asked: a drop-off exactly as asked is fine
CHUNK = 64  # edges looked at together


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Ends:
    """Edges of the mesh at which a ply, and its repeats, end while others go on."""

    courses: tuple[Course, ...]  # the ply and its repeats, all with the same faces
    thick: Ints  # (k,) faces on the side the ply is on
    ends: Floats  # (k, 2, 3) mm
    down: Floats  # (k, 3) unit, from the thick side to the thin one

    @property
    def step_mm(self) -> float:
        return self.courses[0].thickness_mm


def check_drop_offs(mesh: MouldMesh, courses: Sequence[Course], ratio: float) -> list[Finding]:
    """Return a finding for every ply that ends too close to another, stepping down alike.

    The distance is taken straight between the edges of the mould's triangles; asked is `ratio`
    times the mean of the two steps. The part's own edge, where all plies end, is no drop-off;
    neither is a butt joint, where another ply begins. `ratio` 0 asks for nothing.
    """
    check_not_negative("Laminate", "drop_off_ratio", ratio, high=1000)
    courses = [course for course in courses if course.thickness_mm > 0 and len(course.faces)]
    if not ratio or not courses:
        return []
    found, before = [], list[_Ends]()
    for ends in _all_ends(mesh, courses):
        if len(ends.courses) > 1:
            first, second = ends.courses[:2]
            found.append(_finding(first, second, np.unique(ends.thick), 0.0, ratio * ends.step_mm))
        found += _closest(before, ends, ratio)
        before.append(ends)
    return found


def _all_ends(mesh: MouldMesh, courses: Sequence[Course]) -> list[_Ends]:
    designs: dict[str, list[Course]] = {}
    for course in courses:
        designs.setdefault(course.ply_id, []).append(course)
    covers = _covers([same[0] for same in designs.values()], len(mesh.faces))
    laminate = covers.any(axis=0)
    ends = (
        _ends(mesh, tuple(same), cover, laminate)
        for same, cover in zip(designs.values(), covers, strict=True)
    )
    return [one for one in ends if one is not None]


def _closest(before: Sequence[_Ends], ends: _Ends, ratio: float) -> list[Finding]:
    """Return a finding about the earlier ply that ends closest to this one, if too close."""
    faces, closest = [], None
    for other in before:
        asked = ratio * (other.step_mm + ends.step_mm) / 2
        near, distance = _near(other, ends, asked)
        if len(near):
            faces.append(near)
            if closest is None or distance - asked < closest[0] - closest[1]:
                closest = (distance, asked, other.courses[0])
    if closest is None:
        return []
    where = np.unique(np.concatenate(faces))
    return [_finding(closest[2], ends.courses[0], where, closest[0], closest[1])]


def _covers(courses: Sequence[Course], face_count: int) -> Bools:
    covers = np.zeros((len(courses), face_count), bool)
    for row, course in zip(covers, courses, strict=True):
        row[course.faces] = True
    return covers


def _ends(
    mesh: MouldMesh, courses: tuple[Course, ...], cover: Bools, laminate: Bools
) -> _Ends | None:
    pairs = mesh.edges.faces
    inner = pairs[:, 1] >= 0
    left, right = pairs[:, 0], np.where(inner, pairs[:, 1], 0)
    ending = inner & (cover[left] != cover[right]) & laminate[left] & laminate[right]
    edges = np.flatnonzero(ending)
    if not len(edges):
        return None
    thick = np.where(cover[left[edges]], left[edges], right[edges])
    thin = np.where(cover[left[edges]], right[edges], left[edges])
    points = mesh.vertices[mesh.edges.vertices[edges]]
    middle = mesh.corners.mean(axis=1)
    return _Ends(
        courses=courses,
        thick=thick,
        ends=points,
        down=_across(points, middle[thin] - middle[thick]),
    )


def _across(points: Floats, towards: Floats) -> Floats:
    """Return (k, 3) unit vectors at right angles to the edges, on the side of `towards`."""
    along = points[:, 1] - points[:, 0]
    along = along / np.linalg.norm(along, axis=1)[:, None]
    across = towards - along * (towards * along).sum(axis=1)[:, None]
    unit: Floats = across / np.maximum(np.linalg.norm(across, axis=1), 1e-300)[:, None]
    return unit


def _near(first: _Ends, second: _Ends, asked: float) -> tuple[Ints, float]:
    """Return the faces where the two plies end closer than asked, stepping the same way."""
    middles, others = first.ends.mean(axis=1), second.ends.mean(axis=1)
    axis = int(np.argmax(np.ptp(middles, axis=0)))
    half_edge = np.linalg.norm(second.ends[:, 1] - second.ends[:, 0], axis=1).max() / 2
    order, sorted_others = np.argsort(middles[:, axis]), np.argsort(others[:, axis])
    along = others[sorted_others, axis]
    faces, least = [], np.inf
    for start in range(0, len(order), CHUNK):  # along the axis: only what can be near is compared
        ones = order[start : start + CHUNK]
        reach = middles[ones[[0, -1]], axis] + np.array([-1, 1]) * (asked + half_edge)
        twos = sorted_others[slice(*np.searchsorted(along, reach))]
        distance = _to_segments(middles[ones], second.ends[twos])
        same_way = first.down[ones] @ second.down[twos].T > 0.5  # within 60 degrees
        close = same_way & (distance < asked * (1 - ROUNDING))
        if close.any():
            least = min(least, float(distance[close].min()))
            faces += [first.thick[ones[close.any(axis=1)]], second.thick[twos[close.any(axis=0)]]]
    if not faces:
        return np.zeros(0, np.int64), least
    return np.unique(np.concatenate(faces)), least


def _to_segments(points: Floats, segments: Floats) -> Floats:
    """Return (p, s) mm: the distance of each point from each segment."""
    start, along = segments[:, 0], segments[:, 1] - segments[:, 0]
    square = np.maximum((along**2).sum(axis=1), 1e-300)
    offset = points[:, None] - start[None]
    share = np.clip((offset * along).sum(axis=2) / square, 0, 1)
    distance: Floats = np.linalg.norm(offset - share[..., None] * along, axis=2)
    return distance


def _finding(one: Course, two: Course, faces: Ints, least: float, asked: float) -> Finding:
    return Finding(
        code="drop_off_steep",
        severity="warning",
        message=(
            f"Plies {one.number} and {two.number} end {least:.1f} mm apart and step down the "
            f"same way; {asked:.1f} mm are asked."
        ),
        hint="Move the edge of one of them, so that the laminate runs out in smaller steps.",
        ply_id=two.ply_id,
        faces=tuple(faces.tolist()),
    )
