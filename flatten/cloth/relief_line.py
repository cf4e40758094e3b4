"""A straight dart on the surface: its line, and the surface slit open along it."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from ..arrays import Floats, Ints
from ..surface.edges import Edges
from ..surface.geodesic import SurfacePoint, Trace, Tracer, closest_point
from ..surface.mesh import SurfaceMesh
from ..surface.sheet import open_along

# A crossing nearer to a corner than this share of its edge uses the corner, and an end nearer
# to an edge than this share of the way across uses the edge, so that no needle-shaped triangles
# arise; the slit strays by that much, 0.25 mm on 2.5 mm edges.
SNAP_SHARE = 0.1
CLEAR_MM = 5.0  # a dart starts this far from a cut that is there: no strip of cloth in between
NO_SLITS = np.zeros((0, 2, 3))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DartLine:
    """A straight line inwards from the rim: `start` (3,) mm on it, `inward` (3,) unit there."""

    start: Floats
    inward: Floats

    def trace(self, surface: SurfaceMesh, length_mm: float) -> Trace:
        """Follow the line over the surface for a length, or up to the far rim."""
        at = closest_point(surface, on_rim(surface, self.start))
        weights = np.maximum(at.barycentric, 1e-6)  # just inside the rim's triangle
        weights /= weights.sum()
        position = weights @ surface.corners[at.face]
        inside = SurfacePoint(at.face, weights, position, at.distance)
        return Tracer(surface).trace(inside, self.inward, longest_mm=length_mm)


def shortest_to_rim(
    surface: SurfaceMesh,
    centre: Floats,
    *,
    directions: int = 48,
    slits: Floats = NO_SLITS,
) -> DartLine | None:
    """Return the straightest line from a point that reaches the rim soonest, seen from the rim.

    Directions are tried all round, then those either side of the best are closed in on. `slits`
    (k, 2, 3) are edges of the boundary that are sides of a cut already there, not rim: no dart
    starts at them. None where every line ends at one.
    """
    at = closest_point(surface, centre)
    normal = surface.normals[at.face]
    first = surface.corners[at.face, 1] - surface.corners[at.face, 0]
    first = first / np.linalg.norm(first)
    second = np.cross(normal, first)
    tracer, longest = Tracer(surface), 4 * surface.size_mm

    def reach(angle: float) -> tuple[float, Trace]:
        out = tracer.trace(at, np.cos(angle) * first + np.sin(angle) * second, longest_mm=longest)
        there = out.end == "boundary" and _away_from(slits, out.points[-1]) > CLEAR_MM
        return (float(out.length_mm[-1]) if there else np.inf), out

    step = 2 * np.pi / directions
    best = min((reach(k * step)[0], k * step) for k in range(directions))[1]
    low, high = best - step, best + step
    for _ in range(24):  # golden section: 1e-5 of the first step
        a, b = high - 0.618 * (high - low), low + 0.618 * (high - low)
        low, high = (low, b) if reach(a)[0] <= reach(b)[0] else (a, high)
    length, out = reach((low + high) / 2)
    if not np.isfinite(length):
        length, out = reach(best)
    if len(slits) and not np.isfinite(length):
        return None
    back = out.points[-2] - out.points[-1]
    return DartLine(start=out.points[-1], inward=back / np.linalg.norm(back))


def _away_from(segments: Floats, point: Floats) -> float:
    """Return how far a point (3,) is from the nearest of the segments (k, 2, 3), mm."""
    if not len(segments):
        return np.inf
    start, way = segments[:, 0], segments[:, 1] - segments[:, 0]
    share = ((point - start) * way).sum(axis=1) / np.maximum((way**2).sum(axis=1), 1e-300)
    foot = start + np.clip(share, 0, 1)[:, None] * way
    return float(np.sqrt(((foot - point) ** 2).sum(axis=1).min()))


def on_rim(surface: SurfaceMesh, point: Floats) -> Floats:
    """Return the point of the surface's rim nearest to a point (3,)."""
    ends = surface.vertices[surface.edges.vertices[surface.edges.boundary]]
    start, along = ends[:, 0], ends[:, 1] - ends[:, 0]
    share = ((point - start) * along).sum(axis=1) / (along**2).sum(axis=1)
    foot = start + np.clip(share, 0, 1)[:, None] * along
    return np.asarray(foot[((foot - point) ** 2).sum(axis=1).argmin()])


def slit(surface: SurfaceMesh, line: Trace) -> tuple[SurfaceMesh, Floats]:
    """Return the surface opened along a line from its rim, and where the slit ends (3,) mm.

    Triangles are split along the line, so that the slit is straight on any mesh; the vertices
    of the given surface keep their numbers.
    """
    vertices, faces, chain = _split(surface, line)
    edges = Edges(faces)
    ends = np.sort(np.column_stack([chain[:-1], chain[1:]]), axis=1)
    base = len(vertices)
    cut = np.isin(edges.vertices @ [base, 1], ends @ [base, 1])
    opened, old = open_along(faces, edges, cut)
    return SurfaceMesh(*_keep_numbers(vertices, opened, old)), vertices[chain[-1]]


def _keep_numbers(vertices: Floats, faces: Ints, old: Ints) -> tuple[Floats, Ints]:
    """Return vertices and faces with the first copy of each vertex at its old number."""
    first = np.unique(old, return_index=True)[1]
    number = np.full(len(old), -1)
    number[first] = old[first]
    extra = np.flatnonzero(number < 0)
    number[extra] = len(vertices) + np.arange(len(extra))
    return np.vstack([vertices, vertices[old[extra]]]), number[faces]


def _split(surface: SurfaceMesh, line: Trace) -> tuple[Floats, Ints, Ints]:
    """Return vertices, faces and the chain of vertices along the line, rim first."""
    points: list[Floats] = []
    on_edge: dict[int, int] = {}  # edge -> its new vertex
    chain: list[int] = []
    count = len(surface.vertices)

    def corner_of(edge: int, share: float) -> int:
        if share < SNAP_SHARE:
            return int(surface.edges.vertices[edge, 0])
        if share > 1 - SNAP_SHARE:
            return int(surface.edges.vertices[edge, 1])
        return -1

    start_edge, start_share = _rim_edge(surface, int(line.faces[0]), line.points[0])
    stops = [(start_edge, start_share), *zip(line.edges[1:], line.shares[1:], strict=True)]
    tip: tuple[int, int] | None = None
    for k, (edge, share) in enumerate(stops):
        if (
            edge < 0
            and len(chain) > 1
            and _near_edge(surface, int(line.faces[k - 1]), line.points[k])
        ):
            continue  # the last crossing will do
        if edge < 0:
            tip = (int(line.faces[k - 1]), count + len(points))
            vertex = tip[1]
            points.append(line.points[k])
        else:
            vertex = corner_of(int(edge), float(share))
            if vertex < 0:
                if int(edge) not in on_edge:
                    on_edge[int(edge)] = count + len(points)
                    a, b = surface.vertices[surface.edges.vertices[edge]]
                    points.append(a + share * (b - a))
                vertex = on_edge[int(edge)]
        if not chain or chain[-1] != vertex:
            chain.append(vertex)
    vertices = np.vstack([surface.vertices, points]) if points else surface.vertices
    faces = _retriangulate(surface, vertices, on_edge, tip, chain)
    return vertices, faces, np.array(chain)


def _near_edge(surface: SurfaceMesh, face: int, point: Floats) -> bool:
    """Tell whether a point of a face is too close to one of its edges to be a vertex."""
    a, b, c = surface.corners[face]
    areas = [np.linalg.norm(np.cross(q - point, r - point)) for q, r in ((a, b), (b, c), (c, a))]
    return bool(min(areas) < SNAP_SHARE * sum(areas))


def _rim_edge(surface: SurfaceMesh, face: int, point: Floats) -> tuple[int, float]:
    """Return an edge of a face and where on it, 0 to 1 from its low end, the rim is nearest.

    Where only a corner of the face is on the rim that is the corner, as an end of an edge.
    """
    edges = surface.edges
    rim = edges.vertices[edges.boundary]
    best = (np.inf, -1, 0.0)
    for edge in edges.of_face[face]:
        a, b = surface.vertices[edges.vertices[edge]]
        if edges.boundary[edge]:
            shares = [float(np.clip((point - a) @ (b - a) / ((b - a) @ (b - a)), 0, 1))]
        else:
            shares = [float(k) for k in (0, 1) if edges.vertices[edge, k] in rim]
        for share in shares:
            away = float(np.linalg.norm(a + share * (b - a) - point))
            best = min(best, (away, int(edge), share))
    return best[1], best[2]


def _retriangulate(
    surface: SurfaceMesh,
    vertices: Floats,
    on_edge: dict[int, int],
    tip: tuple[int, int] | None,
    chain: list[int],
) -> Ints:
    """Return the faces with those that carry new vertices split, the chain's edges among them."""
    new_on = np.full(len(surface.edges.count), -1)
    for edge, vertex in on_edge.items():
        new_on[edge] = vertex
    touched = (new_on[surface.edges.of_face] >= 0).any(axis=1)
    if tip is not None:
        touched[tip[0]] = True
    wanted = {frozenset(pair) for pair in pairwise(chain)}
    added = []
    for face in np.flatnonzero(touched):
        ring: list[int] = []
        for j in range(3):
            ring.append(int(surface.faces[face, j]))
            vertex = int(new_on[surface.edges.of_face[face, j]])
            if vertex >= 0:
                ring.append(vertex)
        if tip is not None and face == tip[0]:
            after = [*ring[1:], ring[0]]
            added += [[tip[1], a, b] for a, b in zip(ring, after, strict=True)]
        else:
            added += _cut_ring(ring, wanted, vertices)
    kept = surface.faces[~touched]
    return np.vstack([kept, np.array(added, np.int64).reshape(-1, 3)])


def _cut_ring(ring: list[int], wanted: set[frozenset[int]], vertices: Floats) -> list[list[int]]:
    """Return triangles of a small convex ring, split first along the wanted diagonal in it."""
    count = len(ring)
    for i in range(count):
        for j in range(i + 2, count):
            if (i, j) != (0, count - 1) and frozenset((ring[i], ring[j])) in wanted:
                one, two = ring[i : j + 1], ring[j:] + ring[: i + 1]
                return [*_fan(one, vertices), *_fan(two, vertices)]
    return _fan(ring, vertices)


def _fan(ring: list[int], vertices: Floats) -> list[list[int]]:
    """Return the fan of a convex ring whose smallest triangle is largest."""
    best: tuple[float, list[list[int]]] = (-1.0, [])
    for first in range(len(ring)):
        turned = ring[first:] + ring[:first]
        fan = [[turned[0], turned[k], turned[k + 1]] for k in range(1, len(ring) - 1)]
        corners = vertices[np.array(fan)]
        normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        smallest = float((normal @ normal.sum(axis=0)).min())
        if smallest > best[0]:
            best = (smallest, fan)
    return best[1]
