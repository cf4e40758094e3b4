"""The shortest line in a strip of unfolded triangles."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from ..arrays import Floats, Ints
from .mesh import MouldMesh


@dataclass(frozen=True, eq=False, slots=True, kw_only=True)
class Unfolded:
    """A strip in the plane: `portals` (k, 2) left and right vertex of each edge crossed.

    `left`, `right` (k, 2) their places, `start`, `end` (2,): mm.
    """

    portals: Ints
    left: Floats
    right: Floats
    start: Floats
    end: Floats


@dataclass(frozen=True, eq=False, slots=True, kw_only=True)
class Crossings:
    """`shares` (k,) where the line crosses each portal, from left to right; `bends` the rest.

    `bends`: vertices the line leans on, with the angle it makes on the strip's side, radians;
    `length` of the line, mm.
    """

    shares: Floats
    bends: list[tuple[int, float]]
    length: float


def unfold(mesh: MouldMesh, strip: list[int], start: Floats, end: Floats) -> Unfolded:
    """Lay the faces of a strip side by side in the plane.

    `start`, `end` (3,) mm lie in its first and last face.
    """
    place: dict[int, Floats] = {}
    first = mesh.faces[strip[0]].tolist()
    a, b, _c = mesh.vertices[first]
    along = (b - a) / np.linalg.norm(b - a)
    across = np.cross(mesh.normals[strip[0]], along)
    for vertex in first:
        away = mesh.vertices[vertex] - a
        place[vertex] = np.array([away @ along, away @ across])
    flat_start = np.array([(start - a) @ along, (start - a) @ across])
    portals, left, right = [], [], []
    for here, there in itertools.pairwise(strip):
        corners, following = mesh.faces[here].tolist(), mesh.faces[there].tolist()
        apex = next(v for v in following if v not in corners)
        j = following.index(apex)
        # Seen from `here`, the shared edge runs from right to left with the face on its left.
        u, v = following[(j + 1) % 3], following[(j + 2) % 3]
        place = {u: place[u], v: place[v]}
        portals.append((u, v))
        left.append(place[u])
        right.append(place[v])
        place[apex] = _hinge(mesh, place, u, v, mesh.vertices[apex])
    last = strip[-1]
    u, v = mesh.faces[last, 0], mesh.faces[last, 1]
    flat_end = _hinge(mesh, place, int(u), int(v), end)
    return Unfolded(
        portals=np.array(portals, dtype=np.int64).reshape(-1, 2),
        left=np.array(left).reshape(-1, 2),
        right=np.array(right).reshape(-1, 2),
        start=flat_start,
        end=flat_end,
    )


def _hinge(mesh: MouldMesh, place: dict[int, Floats], u: int, v: int, point: Floats) -> Floats:
    """Place a point to the left of u -> v, which are placed, as it lies beside them in space."""
    edge = mesh.vertices[v] - mesh.vertices[u]
    length = float(np.linalg.norm(edge))
    away = point - mesh.vertices[u]
    along = float(away @ edge) / length
    height = float(np.sqrt(max(away @ away - along**2, 0.0)))
    ahead = (place[v] - place[u]) / np.linalg.norm(place[v] - place[u])
    return np.asarray(place[u] + along * ahead + height * np.array([-ahead[1], ahead[0]]))


def crossings(strip: Unfolded) -> Crossings:
    """Find the shortest line from start to end through the portals.

    Source: Lee & Preparata, Euclidean shortest paths in the presence of rectilinear barriers,
    1984 (the funnel).
    """
    corners = _corners(strip)
    shares = np.zeros(len(strip.portals))
    for (k0, p0, _), (k1, p1, side1) in itertools.pairwise(corners):
        for k in range(k0 + 1, min(k1, len(shares) - 1) + 1):
            shares[k] = _share(strip.left[k], strip.right[k], p0, p1)
        if k1 < len(shares):
            shares[k1] = 0.0 if side1 == "left" else 1.0
    bends = []
    for (_, p0, _), (k, p, side), (_, p1, _) in zip(
        corners, corners[1:], corners[2:], strict=False
    ):
        vertex = int(strip.portals[k, 0 if side == "left" else 1])
        # It bends towards the vertex, so the angle on the other side, the strip's, is wider.
        bends.append((vertex, np.pi + abs(_turn(p - p0, p1 - p))))
    places = np.array([place for _, place, _ in corners])
    length = float(np.linalg.norm(np.diff(places, axis=0), axis=1).sum())
    return Crossings(shares=_held(strip, shares, corners), bends=bends, length=length)


def _held(strip: Unfolded, shares: Floats, corners: list[tuple[int, Floats, str]]) -> Floats:
    """Portals that share a vertex the line leans on are crossed exactly there."""
    held = shares.copy()
    for k, _, side in corners[1:-1]:
        vertex = strip.portals[k, 0 if side == "left" else 1]
        for step in (-1, 1):
            other = k
            while 0 <= other < len(held) and vertex in strip.portals[other]:
                held[other] = 0.0 if strip.portals[other, 0] == vertex else 1.0
                other += step
    return held


def _corners(strip: Unfolded) -> list[tuple[int, Floats, str]]:
    """Start, the portal ends the line leans on, and end: (portal, place, side) each."""
    lefts, rights = [*strip.left, strip.end], [*strip.right, strip.end]
    corners: list[tuple[int, Floats, str]] = [(-1, strip.start, "")]
    apex = left = right = strip.start
    at_left = at_right = k = 0
    while k < len(lefts):
        if _area(apex, right, rights[k]) >= 0:  # the right side closes in
            if _equal(apex, right) or _area(apex, left, rights[k]) < 0:
                right, at_right = rights[k], k
            else:  # ... over the left one: the line leans on that
                corners.append((at_left, left, "left"))
                apex = right = left
                k = at_right = at_left
                k += 1
                continue
        if _area(apex, left, lefts[k]) <= 0:
            if _equal(apex, left) or _area(apex, right, lefts[k]) > 0:
                left, at_left = lefts[k], k
            else:
                corners.append((at_right, right, "right"))
                apex = left = right
                k = at_left = at_right
                k += 1
                continue
        k += 1
    last = len(strip.left)
    kept = [c for a, c in itertools.pairwise(corners) if not _equal(a[1], c[1])]
    kept = [corners[0], *(c for c in kept if c[0] < last and not _equal(c[1], strip.end))]
    return [*kept, (last, strip.end, "")]


def _equal(one: Floats, two: Floats) -> bool:
    return bool((one == two).all())


def _area(a: Floats, b: Floats, c: Floats) -> float:
    """Twice the area of a, b, c; positive counter-clockwise."""
    return float((b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]))


def _share(left: Floats, right: Floats, p0: Floats, p1: Floats) -> float:
    side0, side1 = _area(p0, p1, left), _area(p0, p1, right)
    if side0 == side1:
        return 0.5
    return float(min(max(side0 / (side0 - side1), 0.0), 1.0))


def _turn(before: Floats, after: Floats) -> float:
    """Angle turned to the left, radians."""
    return float(np.arctan2(before[0] * after[1] - before[1] * after[0], before @ after))
