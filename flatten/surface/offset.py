"""The surface under a ply: the mould moved outwards by the plies already laid on it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import Bools, Floats, Ints, frozen_floats
from ..errors import InputError
from ..finding import Finding
from .mesh import MouldMesh
from .region import edge_angles

# Facets that meet at less than this are taken for a curve, whose vertices lie on the true
# surface; at more, for a corner, whose two planes are each moved by the full thickness.
CORNER_DEG = 45.0
# A corner's vertex moves by this many thicknesses at most, however sharp it is.
LONGEST_MITRE = 3.0
# Where triangles would turn over, their corners are moved alike, this often; if that is not
# enough the step is shortened by this factor, this often.
EVENED_ROUNDS, SHORTER, SHORTENED_ROUNDS = 20, 0.7, 40
# A face may keep this share of its area, seen along its old normal, and not less.
LEAST_SHARE = 0.02
# What is worth saying: a triangle that would turn over and is higher than this share of the
# thickness (below, it is a sliver in the way, not a corner), or a step changed by this share.
SLIVER_SHARE, CHANGED_SHARE = 0.05, 0.25


@dataclass(frozen=True, eq=False, slots=True, kw_only=True)
class Offset:
    """The moved mesh, with the same faces, and where it could not be moved all the way."""

    mesh: MouldMesh
    findings: tuple[Finding, ...]


def offset(mesh: MouldMesh, thickness_mm: ArrayLike) -> Offset:
    """Return the mesh moved towards the lay-up side by the thickness laid on it.

    Parameters
    ----------
    mesh : the mould
    thickness_mm : one value, or one per face (m,); 0 where nothing is laid. A vertex follows
        the faces round it that carry something, so that the edge of a laminate keeps its
        thickness.

    In concave places radii shrink by the thickness. Where one is smaller than that the surface
    is moved as far as its triangles allow and a finding says so: the corner is full.

    Raises
    ------
    InputError : negative or not finite thickness, or one per face of another number of faces

    Source of the vertex normals: Thürmer & Wüthrich, Computing vertex normals from polygonal
    facets, J. Graphics Tools 3, 1998: facets weighted by their angle at the vertex.
    """
    given = np.asarray(thickness_mm, dtype=float)
    per_face = np.full(len(mesh.faces), float(given)) if given.ndim == 0 else given
    thick = frozen_floats("thickness", per_face, (len(mesh.faces),))
    if len(thick) and thick.min() < 0:
        raise InputError(
            f"The thickness below is {thick.min():g} mm on face {thick.argmin()}.",
            "Enter 0 or more.",
            faces=np.flatnonzero(thick < 0),
        )
    if not thick.any():
        return Offset(mesh=mesh, findings=())
    wanted = _steps(mesh, thick)
    step = _held_back(mesh, wanted)
    full = _full(mesh, thick, wanted, step)
    moved = MouldMesh(mesh.vertices + step, mesh.faces)
    return Offset(mesh=moved, findings=_about(full, float(thick.max())))


def _steps(mesh: MouldMesh, thick: Floats) -> Floats:
    """(n, 3) mm: how far each vertex moves if nothing is in its way."""
    weight = _corner_angles(mesh) * (thick > 0)[:, None]
    vertex = mesh.faces.ravel()
    count = len(mesh.vertices)

    def summed(values: Floats) -> Floats:
        sums: Floats = np.bincount(vertex, values.ravel(), count).astype(np.float64)
        return sums

    total = summed(weight)
    safe = np.where(total > 0, total, 1)
    amount = summed(weight * thick[:, None]) / safe
    normal = np.column_stack([summed(weight * mesh.normals[:, [axis]]) for axis in range(3)])
    length = np.linalg.norm(normal, axis=1, keepdims=True)
    step: Floats = amount[:, None] * normal / np.where(length > 0, length, 1)
    corner = _at_corners(mesh, thick) & (length[:, 0] > 1e-9)
    if corner.any():
        step[corner] = _mitred(mesh, thick, weight, step, corner)
    return step


def _mitred(mesh: MouldMesh, thick: Floats, weight: Floats, step: Floats, corner: Bools) -> Floats:
    """Steps that move each plane at a corner by its own thickness: least squares, least step."""
    members = np.flatnonzero(corner)
    place = np.full(len(mesh.vertices), -1)
    place[members] = np.arange(len(members))
    face, side = np.nonzero(corner[mesh.faces])
    row = place[mesh.faces[face, side]]
    w, normal = weight[face, side], mesh.normals[face]
    matrix = np.zeros((len(members), 3, 3))
    right = np.zeros((len(members), 3))
    np.add.at(matrix, row, w[:, None, None] * normal[:, :, None] * normal[:, None, :])
    np.add.at(right, row, (w * thick[face])[:, None] * normal)
    trace = np.trace(matrix, axis1=1, axis2=2)
    matrix += 1e-9 * trace[:, None, None] * np.eye(3)
    found = np.linalg.solve(matrix, right[:, :, None])[:, :, 0]
    plain = np.linalg.norm(step[members], axis=1)
    length = np.linalg.norm(found, axis=1)
    limit = np.minimum(1.0, LONGEST_MITRE * plain / np.where(length > 0, length, 1))
    mitred: Floats = found * limit[:, None]
    return mitred


def _held_back(mesh: MouldMesh, wanted: Floats) -> Floats:
    """(n, 3) mm: steps with which no triangle turns over."""
    step: Floats = wanted.copy()
    for _ in range(EVENED_ROUNDS):
        turned = mesh.faces[_turned(mesh, step)]
        if not len(turned):
            return step
        vertex = turned.ravel()
        mean = np.repeat(step[turned].mean(axis=1), 3, axis=0)
        times = np.bincount(vertex, minlength=len(step))
        total = np.zeros_like(step)
        np.add.at(total, vertex, mean)
        step[times > 0] = total[times > 0] / times[times > 0, None]
    for _ in range(SHORTENED_ROUNDS):
        turned = mesh.faces[_turned(mesh, step)]
        if not len(turned):
            break
        step[np.unique(turned)] *= SHORTER
    return step


def _full(mesh: MouldMesh, thick: Floats, wanted: Floats, step: Floats) -> Ints:
    """Faces in corners that the thickness fills up."""
    length = np.linalg.norm(wanted, axis=1)
    changed = np.linalg.norm(step - wanted, axis=1) > CHANGED_SHARE * length
    corners = mesh.corners
    longest = np.sqrt(((np.roll(corners, -1, axis=1) - corners) ** 2).sum(axis=2).max(axis=1))
    height = 2 * mesh.areas / np.where(longest > 0, longest, 1)
    turned = _turned(mesh, wanted) & (height > SLIVER_SHARE * thick)
    return np.flatnonzero((turned | changed[mesh.faces].any(axis=1)) & (thick > 0))


def _turned(mesh: MouldMesh, step: Floats) -> Bools:
    """(m,) faces that turn over or vanish."""
    corners = (mesh.vertices + step)[mesh.faces]
    new = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    size2 = (mesh.double_areas**2).sum(axis=1)
    turned: Bools = ((new * mesh.double_areas).sum(axis=1) < LEAST_SHARE * size2) & (size2 > 0)
    return turned


def _about(full: Ints, thickness_mm: float) -> tuple[Finding, ...]:
    if not len(full):
        return ()
    return (
        Finding(
            code="corner-full",
            severity="warning",
            message=f"The plies below ({thickness_mm:.1f} mm) are thicker than a corner's radius "
            f"({len(full)} faces): the next ply cannot follow it.",
            hint="Enlarge the radius, or fill the corner before this ply.",
            faces=tuple(full.tolist()),
        ),
    )


def _corner_angles(mesh: MouldMesh) -> Floats:
    """(m, 3) radians; 0 in faces without area."""
    corners = mesh.corners
    one = np.roll(corners, -1, axis=1) - corners
    two = np.roll(corners, 1, axis=1) - corners
    sine = np.linalg.norm(np.cross(one, two), axis=2)
    angle: Floats = np.arctan2(sine, (one * two).sum(axis=2)) * (sine > 0)
    return angle


def _at_corners(mesh: MouldMesh, thick: Floats) -> Bools:
    """(n,) vertices on an edge between two laid faces that meet sharply."""
    edges = mesh.edges
    laid = (thick[edges.faces] > 0).all(axis=1) & (edges.count == 2)
    sharp = laid & (edge_angles(mesh) > np.radians(CORNER_DEG))
    corner = np.zeros(len(mesh.vertices), bool)
    corner[edges.vertices[sharp]] = True
    return corner
