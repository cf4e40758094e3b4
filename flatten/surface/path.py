"""Path over the surface between marked points: the shortest there is nearby, across triangles."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import Floats, Ints, frozen_floats
from ..errors import InputError
from .funnel import crossings, unfold
from .locate import Located, Locator, locate_on
from .mesh import MouldMesh
from .strips import strip_by_crossings, strip_by_middles

# Marked points this near to the surface are meant to lie on it: clicks do, loaded ones nearly.
WITHIN_MM = 5.0
# The path goes round a vertex on its other side if that is less than a straight angle by this.
STRAIGHT_RAD = 1e-9
TURNS = 2000  # corrections of the way the path takes; each makes it shorter by this share:
SHORTER_SHARE = 1e-13
# On meshes of more faces than this they are small enough to go by their middles.
LARGE_FACES = 5000


@dataclass(frozen=True, eq=False, slots=True, kw_only=True)
class SurfacePath:
    """A polyline on the surface.

    `points` (k, 3) mm; `faces` (k - 1,) the face each segment runs in; `edges` (k, 2) the edge
    each point lies on as two vertices, twice the same where it is a vertex, -1 inside a face;
    `shares` (k,) where on that edge, from its first vertex on.
    """

    points: Floats
    faces: Ints
    edges: Ints
    shares: Floats

    @property
    def length_mm(self) -> float:
        """Length along the surface."""
        return float(np.linalg.norm(np.diff(self.points, axis=0), axis=1).sum())


def path_through(mesh: MouldMesh, marked: ArrayLike, *, name: str = "Path") -> SurfacePath:
    """Return the path over the surface through marked points, in their order.

    Between two of them it is a shortest line among its neighbours: straight when the triangles
    it crosses are unfolded, round the rim of a hole where one is in the way. On a part with
    more than one way round, the start is the shortest chain of faces.

    Parameters
    ----------
    mesh : the surface
    marked : (k, 3) mm, two or more points on it
    name : what errors call the path, as in "Cut 'c1'"

    Raises
    ------
    InputError : fewer than two points, two the same, a point off the surface, or no way
        between two of them

    Source: Xin & Wang, Efficiently determining a locally exact shortest path on polyhedral
    surfaces, Computer-Aided Design 39, 2007: a strip of faces is unfolded, the shortest line in
    it found, and the strip led round the vertices the line leans on.
    """
    points = frozen_floats(name, marked, (None, 3))
    if len(points) < 2:
        raise InputError(f"{name} has {len(points)} points.", "Mark two points or more.")
    locator = Locator(mesh)
    found = [locate_on(locator, p, name=f"point of {name}", within_mm=WITHIN_MM) for p in points]
    legs = [leg(mesh, one, two, name=name) for one, two in itertools.pairwise(found)]
    first = legs[0]
    return SurfacePath(
        points=np.concatenate([first.points, *(part.points[1:] for part in legs[1:])]),
        faces=np.concatenate([part.faces for part in legs]),
        edges=np.concatenate([first.edges, *(part.edges[1:] for part in legs[1:])]),
        shares=np.concatenate([first.shares, *(part.shares[1:] for part in legs[1:])]),
    )


def leg(mesh: MouldMesh, start: Located, end: Located, *, name: str = "Path") -> SurfacePath:
    """Return the path between two points of the surface (`Located` of one point each).

    Raises
    ------
    InputError : they are the same point, or hang together by no faces
    """
    a, b = start.points[0], end.points[0]
    if np.linalg.norm(b - a) <= 1e-9 * mesh.size_mm:
        raise InputError(f"Two points of {name} lie in the same place.", "Take one of them out.")
    ends = (_corner_at(mesh, start), _corner_at(mesh, end))
    first, last = int(start.faces[0]), int(end.faces[0])
    strips = [strip_by_middles(mesh, first, last, b)]
    if not strips[0]:
        raise InputError(
            f"There is no way over the surface between two points of {name}.",
            "Mark them on one piece of the surface.",
            faces=(first, last),
        )
    if len(mesh.faces) <= LARGE_FACES:
        strips.append(strip_by_crossings(mesh, first, last, a, b))
    ways = [_straightened(mesh, strip, a, b, ends) for strip in strips]
    best = min(ways, key=lambda way: way.length)
    return _as_path(mesh, best.strip, best.portals, best.shares, a, b, ends)


@dataclass(frozen=True, eq=False, slots=True, kw_only=True)
class _Way:
    """A strip of faces, the edges between them and where the shortest line in it crosses them."""

    length: float
    strip: list[int]
    portals: Ints
    shares: Floats


def _straightened(
    mesh: MouldMesh, strip: list[int], a: Floats, b: Floats, ends: tuple[int, int]
) -> _Way:
    """Lead a strip round vertices until its shortest line cannot be made shorter by that."""
    best: _Way | None = None
    for _ in range(TURNS):
        strip = _trimmed(mesh, strip, ends)
        unfolded = unfold(mesh, strip, a, b)
        through = crossings(unfolded)
        if best is not None and not through.length < best.length * (1 - SHORTER_SHARE):
            break  # the ways on both sides of a vertex are equally short
        best = _Way(
            length=through.length, strip=strip, portals=unfolded.portals, shares=through.shares
        )
        turned = _turned(mesh, strip, unfolded.portals, through.bends)
        if turned is None:
            break
        strip = turned
    assert best is not None
    return best


def _as_path(
    mesh: MouldMesh,
    strip: list[int],
    portals: Ints,
    shares: Floats,
    a: Floats,
    b: Floats,
    ends: tuple[int, int],
) -> SurfacePath:
    """Put the crossings back on the surface; crossings through one vertex become one point."""
    left, right = mesh.vertices[portals[:, 0]], mesh.vertices[portals[:, 1]]
    across = left + shares[:, None] * (right - left)
    points, edges, on, faces = [a], [[ends[0], ends[0]]], [0.0], []
    for k in range(len(portals)):
        one, two = portals[k].tolist()
        share = float(shares[k])
        at = one if share <= 0 else two if share >= 1 else -1
        pair, share = ([at, at], 0.0) if at >= 0 else ([one, two], share)
        if at >= 0 and edges[-1] == pair:
            continue
        faces.append(strip[k])
        points.append(across[k])
        edges.append(pair)
        on.append(share)
    points.append(b)
    edges.append([ends[1], ends[1]])
    on.append(0.0)
    faces.append(strip[-1])
    return SurfacePath(
        points=np.array(points),
        faces=np.array(faces, dtype=np.int64),
        edges=np.array(edges, dtype=np.int64),
        shares=np.array(on),
    )


def _corner_at(mesh: MouldMesh, at: Located) -> int:
    """The vertex the point is on, -1 if none."""
    corner = int(at.weights[0].argmax())
    return int(mesh.faces[at.faces[0], corner]) if at.weights[0, corner] > 1 - 1e-9 else -1


def _trimmed(mesh: MouldMesh, strip: list[int], ends: tuple[int, int]) -> list[int]:
    """The strip without steps back, and without faces that only turn about its end vertices."""
    kept: list[int] = []
    for face in strip:
        if len(kept) > 1 and kept[-2] == face:
            kept.pop()
        elif not kept or kept[-1] != face:
            kept.append(face)
    start, end = ends
    while len(kept) > 1 and start >= 0 and start in mesh.faces[kept[1]]:
        kept.pop(0)
    while len(kept) > 1 and end >= 0 and end in mesh.faces[kept[-2]]:
        kept.pop()
    return kept


def _turned(
    mesh: MouldMesh, strip: list[int], portals: Ints, bends: list[tuple[int, float]]
) -> list[int] | None:
    """The strip led round a vertex's other side, where that is shorter; None if nowhere.

    `bends` are the vertices leant on, with the angle on the strip's side.
    """
    led, untouched = list(strip), len(strip)
    for vertex, angle in reversed(bends):
        at = np.flatnonzero((portals == vertex).any(axis=1))
        first, last = int(at[0]), int(at[-1]) + 1
        if last >= untouched:
            continue
        ring = _round(mesh, vertex, strip[first])
        if ring is None or strip[last] not in ring:
            continue
        whole = sum(_angle_at(mesh, face, vertex) for face in ring)
        if whole - angle >= np.pi - STRAIGHT_RAD:
            continue
        there = ring.index(strip[last])
        forward = len(ring) > 1 and ring[1] == strip[first + 1]
        way = [ring[0], *ring[:there:-1], ring[there]] if forward else ring[: there + 1]
        led[first : last + 1] = way
        untouched = first
    return led if untouched < len(strip) else None


def _round(mesh: MouldMesh, vertex: int, face: int) -> list[int] | None:
    """The faces round an inner vertex, counter-clockwise from one; None on the rim."""
    edges, ring = mesh.edges, [face]
    while True:
        here = ring[-1]
        corner = mesh.faces[here].tolist().index(vertex)
        one, two = edges.faces[edges.of_face[here, (corner + 2) % 3]].tolist()
        other = two if one == here else one
        if other < 0:
            return None
        if other == face:
            return ring
        ring.append(other)


def _angle_at(mesh: MouldMesh, face: int, vertex: int) -> float:
    corner = mesh.faces[face].tolist().index(vertex)
    here, one, two = (mesh.corners[face, (corner + k) % 3] for k in range(3))
    u, v = one - here, two - here
    return float(np.arctan2(np.linalg.norm(np.cross(u, v)), u @ v))
