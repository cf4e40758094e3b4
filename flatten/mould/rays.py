"""Rays along one direction against the mould, and points spread over its faces."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from ..arrays import Bools, Floats, Ints
from ..surface.mesh import MouldMesh
from .rows import SLACK, Rows

# Faces edge-on to the ray are left out: below this sine their height at a point means nothing.
EDGE_ON = 1e-6
# Faces looked at: in all (about 2 s), or for each point (a clean mesh needs about 10). Only a
# tangle of long triangles needs more; then fewer points are asked.
MOST_LOOKS, LOOKS_EACH = 2e7, 60
# Additive recurrence with the plastic number: points that fill a square evenly, the same
# each time. Roberts, The unreasonable effectiveness of quasirandom sequences, 2018 (from memory).
PLASTIC = np.array([0.7548776662466927, 0.5698402909980532])


def axes_across(direction: Floats) -> Floats:
    """Return (2, 3) two unit vectors across `direction` (3,) and each other, right-handed."""
    aside = np.eye(3)[int(np.abs(direction).argmin())]
    first = np.cross(aside, direction)
    first /= np.linalg.norm(first)
    return np.array([first, np.cross(direction, first)])


def spread_points(mesh: MouldMesh, faces: Ints, extra: int) -> tuple[Ints, Floats]:
    """Put one point on each face and about `extra` more by area.

    Returns
    -------
    (k,) the face of each point, in the order of `faces`; (k, 3) mm
    """
    areas = mesh.areas[faces]
    total = areas.sum()
    count = 1 + np.floor(extra * areas / total if total > 0 else areas).astype(np.int64)
    face = np.repeat(faces, count)
    turn = np.arange(len(face)) - np.repeat(np.cumsum(count) - count, count)
    share = np.where(
        np.repeat(count == 1, count)[:, None], 1 / 3, (0.5 + turn[:, None] * PLASTIC) % 1
    )
    over = share.sum(axis=1) > 1
    share[over] = 1 - share[over]
    corners = mesh.corners[face]
    along = corners[:, 1:] - corners[:, :1]
    return face, corners[:, 0] + np.einsum("ki,kij->kj", share, along)


class Sight:
    """Faces seen along one direction: what stands above a point, and how high the mould is there.

    `faces`: the faces that count; all by default. Both sides of a face count.
    """

    def __init__(self, mesh: MouldMesh, direction: Floats, faces: Ints | None = None) -> None:
        self.direction = direction
        self.across = axes_across(direction)
        faces = np.arange(len(mesh.faces)) if faces is None else faces
        faces = faces[np.abs(mesh.normals[faces] @ direction) > EDGE_ON]
        flat, height = mesh.vertices @ self.across.T, mesh.vertices @ direction
        plan = flat[mesh.faces[faces]]
        wide = np.flatnonzero(_plan_areas(plan) != 0)  # rounding takes a sliver's
        self.faces, self.plan = faces[wide], plan[wide]
        self.tall = height[mesh.faces[self.faces]]

    def stride(self, points: Floats) -> int:
        """Return 1, or every which of points (k, 3) to look from so that it takes no minutes."""
        looks = Rows(points @ self.across.T, self.plan).looks()
        return 1 + int(looks / max(MOST_LOOKS, LOOKS_EACH * len(points)))

    def is_below(self, points: Floats) -> Bools:
        """Return (k,) True where a face stands somewhere above the point (k, 3)."""
        below, height = np.zeros(len(points), bool), points @ self.direction
        for point, top in self._over(points):
            below[point[top > height[point]]] = True
        return below

    def top(self, points: Floats) -> Floats:
        """Return (k,) the greatest height along the direction over the point, -inf where none."""
        top = np.full(len(points), -np.inf)
        for point, height in self._over(points):
            np.maximum.at(top, point, height)
        return top

    def _over(self, points: Floats) -> Iterator[tuple[Ints, Floats]]:
        """Yield points with a face over or under them, and the height of that face there."""
        plan = points @ self.across.T
        for face, point in Rows(plan, self.plan).pairs():
            new = np.append(True, face[1:] != face[:-1])
            met = face[new]
            table = _plane_table(self.plan[met], self.tall[met])
            inside, height = _at(table[np.cumsum(new) - 1], plan[point])
            yield point[inside], height[inside]


def _at(table: Floats, plan: Floats) -> tuple[Bools, Floats]:
    """Whether the point is over the face, and the face's height there."""
    x, y, ux, uy, vx, vy, height, rise_u, rise_v = table.T
    dx, dy = plan[:, 0] - x, plan[:, 1] - y
    u, v = ux * dx + uy * dy, vx * dx + vy * dy
    inside: Bools = (u >= -SLACK) & (v >= -SLACK) & (u + v <= 1 + SLACK)
    return inside, height + rise_u * u + rise_v * v


def _plane_table(plan: Floats, tall: Floats) -> Floats:
    """(m, 9): corner, the two rows that give its triangle coordinates, height and rises."""
    one, two = plan[:, 1] - plan[:, 0], plan[:, 2] - plan[:, 0]
    area = _plan_areas(plan)
    columns = [
        plan[:, 0, 0],
        plan[:, 0, 1],
        two[:, 1] / area,
        -two[:, 0] / area,
        -one[:, 1] / area,
        one[:, 0] / area,
        tall[:, 0],
        tall[:, 1] - tall[:, 0],
        tall[:, 2] - tall[:, 0],
    ]
    return np.column_stack(columns)


def _plan_areas(plan: Floats) -> Floats:
    """(m,) twice the signed area of triangles (m, 3, 2)."""
    one, two = plan[:, 1] - plan[:, 0], plan[:, 2] - plan[:, 0]
    area: Floats = one[:, 0] * two[:, 1] - one[:, 1] * two[:, 0]
    return area
