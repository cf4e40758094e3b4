"""Tape measures on the mould: from a point straight on in one direction, to the ply's edge."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..arrays import Floats, Ints, unit_vector
from ..errors import InputError
from ..surface.edges import Edges
from ..surface.mesh import MouldMesh
from ..surface.rosette import Rosette
from .layup_facts import TackPlace

# A vertex nearer to the cutting plane than this share of the mould's size counts as beside it.
BESIDE = 1e-9
AHEAD_MM = 100.0  # how far on the second point of the 0-degree line is marked, if there is room
EDGE_NAMES = ("A", "B", "C", "D")  # the ply's edge at 0, 90, 180 and 270 degrees from the tack


@dataclass(frozen=True, slots=True, eq=False)
class Tape:
    """A tape on the mould: `points` (k, 3) mm from the start on; `length_mm` to its end."""

    points: Floats

    @property
    def length_mm(self) -> float:
        """Length along the surface."""
        return float(np.linalg.norm(np.diff(self.points, axis=0), axis=1).sum())

    def upto(self, length_mm: float) -> Tape:
        """Return the first `length_mm` of it."""
        steps = np.linalg.norm(np.diff(self.points, axis=0), axis=1)
        along = np.concatenate([[0.0], np.cumsum(steps)])
        if length_mm >= along[-1]:
            return self
        last = int(np.searchsorted(along, length_mm, side="right"))
        share = (length_mm - along[last - 1]) / (along[last] - along[last - 1])
        end = self.points[last - 1] + share * (self.points[last] - self.points[last - 1])
        return Tape(np.vstack([self.points[:last], end]))


def lay_tape(mesh: MouldMesh, faces: Ints, start: Floats, along: Floats, normal: Floats) -> Tape:
    """Return the tape from `start` to the edge of the region of `faces`.

    It runs in the plane through `start` that holds `along` and `normal`, as a tape does that is
    pulled straight seen along `normal`; it ends at the region's first edge, be it a hole's.

    Parameters
    ----------
    start : (3,) mm, taken to the nearest face of the region
    along, normal : (3,) unit vectors, at right angles

    Raises
    ------
    InputError : the region has no face near the start
    """
    region = mesh.faces[faces]
    if not len(region):
        raise InputError("The region has no faces.", "Assign its faces.")
    touching, start = _nearest_faces(mesh.vertices[region], np.asarray(start, float))
    side = np.cross(normal, along)
    off = (mesh.vertices - start) @ side
    size = float(np.ptp(mesh.vertices[np.unique(region)], axis=0).max())
    off = np.where(np.abs(off) < BESIDE * size, BESIDE * size, off)
    edges = Edges(region)
    walk = _Walk(mesh, region, edges, off)
    leaving = walk.start(touching, along, start)
    points = [start]
    passed: set[int] = set()
    while leaving is not None and leaving[0] not in passed:  # round a tube it meets itself
        face, edge, point = leaving
        passed.add(face)
        points.append(point)
        pair = edges.faces[edge]
        following = int(pair[1] if pair[0] == face else pair[0])
        if following < 0 or edges.count[edge] != 2:
            break
        leaving = walk.on(following, edge)
    return Tape(np.array(points))


def tack_place(
    mesh: MouldMesh, faces: Ints, tack_mm: Floats, rosette: Rosette, plies: str = "all plies"
) -> tuple[TackPlace, tuple[tuple[str, Floats], ...]]:
    """Return where the tack point and 0 degrees are, as distances from the ply's edges.

    The edges are named A, B, C, D: where tapes from the tack point along 0, 90, 180 and 270
    degrees meet the edge of the region. Given back too: each name with that point (3,), for
    the picture.

    Raises
    ------
    InputError : the region has no faces
    """
    zero, across, up = frame_at(mesh, faces, tack_mm, rosette)
    tapes = [lay_tape(mesh, faces, tack_mm, way, up) for way in (zero, across, -zero, -across)]
    names = tuple((name, tape.points[-1]) for name, tape in zip(EDGE_NAMES, tapes, strict=True))
    ahead_by = AHEAD_MM if tapes[0].length_mm > AHEAD_MM else 0.6 * tapes[0].length_mm
    ahead = tapes[0].upto(ahead_by).points[-1]
    beside = lay_tape(mesh, faces, ahead, -across, up)
    return (
        TackPlace(
            plies=plies,
            edges=(EDGE_NAMES[2], EDGE_NAMES[3]),
            tack_mm=(tapes[2].length_mm, tapes[3].length_mm),
            ahead_mm=(tapes[2].length_mm + ahead_by, beside.length_mm),
            ahead_by_mm=ahead_by,
        ),
        names,
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Walk:
    """Steps from face to face in the cutting plane; `off` (n,) of each vertex from it."""

    mesh: MouldMesh
    region: Ints
    edges: Edges
    off: Floats

    def start(self, touching: Ints, along: Floats, at: Floats) -> tuple[int, int, Floats] | None:
        """Return the way out that leads furthest along, of all faces that touch the start."""
        ways = [way for face in touching for way in self._ways(int(face), -1)]
        return max(ways, key=lambda way: float((way[2] - at) @ along), default=None)

    def on(self, face: int, came: int) -> tuple[int, int, Floats] | None:
        """Return the way out of a face entered by the edge `came`."""
        return next(iter(self._ways(face, came)), None)

    def _ways(self, face: int, came: int) -> list[tuple[int, int, Floats]]:
        ways = []
        for corner in range(3):
            edge = int(self.edges.of_face[face, corner])
            a, b = self.region[face, corner], self.region[face, (corner + 1) % 3]
            if edge == came or (self.off[a] > 0) == (self.off[b] > 0):
                continue
            share = self.off[a] / (self.off[a] - self.off[b])
            start, end = self.mesh.vertices[a], self.mesh.vertices[b]
            ways.append((face, edge, start + share * (end - start)))
        return ways


def frame_at(
    mesh: MouldMesh, faces: Ints, point: Floats, rosette: Rosette
) -> tuple[Floats, Floats, Floats]:
    """Return unit vectors (3,) along 0 and 90 degrees and out of the region, there at the point.

    They lie in the surface, not in the rosette's plane: on a wall a tape follows the wall.
    """
    touching, _ = _nearest_faces(mesh.vertices[mesh.faces[faces]], np.asarray(point, float))
    up = unit_vector("normal at the tack point", mesh.normals[faces[touching]].sum(axis=0))
    zero = rosette.direction(0.0, up)
    return zero, np.cross(up, zero), up


def _nearest_faces(corners: Floats, point: Floats) -> tuple[Ints, Floats]:
    """Return the triangles nearest to the point (those that share it), and the point on them.

    Source: Ericson, Real-Time Collision Detection, 2005, sec. 5.1.5 (the idea: plane, else
    edges); here over all triangles at once.
    """
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    normal = np.cross(b - a, c - a)
    square = np.maximum((normal**2).sum(axis=1), 1e-300)
    foot = point - normal * (((point - a) * normal).sum(axis=1) / square)[:, None]
    inside = np.ones(len(corners), bool)
    best = np.full(len(corners), np.inf)
    nearest = foot.copy()
    for p, q in ((a, b), (b, c), (c, a)):
        inside &= (np.cross(q - p, foot - p) * normal).sum(axis=1) >= 0
        edge = q - p
        length2 = np.maximum((edge**2).sum(axis=1), 1e-300)
        share = np.clip(((point - p) * edge).sum(axis=1) / length2, 0, 1)
        on_edge = p + share[:, None] * edge
        away = ((point - on_edge) ** 2).sum(axis=1)
        nearest = np.where((away < best)[:, None], on_edge, nearest)
        best = np.minimum(best, away)
    away = np.where(inside, ((point - foot) ** 2).sum(axis=1), best)
    face = int(away.argmin())
    on = foot[face] if inside[face] else nearest[face]
    size2 = float(((corners.max(axis=(0, 1)) - corners.min(axis=(0, 1))) ** 2).sum())
    return np.flatnonzero(away <= away[face] + (10 * BESIDE) ** 2 * size2), on
