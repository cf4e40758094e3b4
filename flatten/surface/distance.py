"""Distance over the surface from some of its vertices."""

from __future__ import annotations

import heapq
import math

import numpy as np

from ..arrays import Floats, Ints


def distance_from(
    vertices: Floats, faces: Ints, sources: Ints, *, upto_mm: float = math.inf
) -> tuple[Floats, Ints]:
    """Return (n,) mm over the triangles from the nearest source vertex, and which that is.

    Parameters
    ----------
    vertices : (n, 3) mm; faces : (m, 3)
    sources : (k,) vertices at distance 0; the edges between two of them are sources as a whole
    upto_mm : further out the values are upper bounds or infinite, and the origin may be -1

    The error is of the first order in the edge length, and nothing where the front is straight;
    triangles should not be obtuse.

    Source: Kimmel & Sethian, Computing geodesic paths on manifolds, PNAS 95, 1998.
    """
    places, rows = vertices.tolist(), faces.tolist()
    around: list[list[int]] = [[] for _ in places]
    for face, row in enumerate(rows):
        for vertex in row:
            around[vertex].append(face)
    far = [math.inf] * len(places)
    origin = [-1] * len(places)
    done = [False] * len(places)
    for vertex in sources.tolist():
        far[vertex], origin[vertex] = 0.0, vertex
    queue = [(0.0, vertex) for vertex in sources.tolist()]
    heapq.heapify(queue)
    while queue:
        reached, vertex = heapq.heappop(queue)
        if done[vertex]:
            continue
        if reached > upto_mm:
            break
        done[vertex] = True
        for face in around[vertex]:
            one, two = (v for v in rows[face] if v != vertex)
            for apex, other in ((one, two), (two, one)):
                if done[apex]:
                    continue
                found = _front(places, far, vertex, other if done[other] else -1, apex)
                if found < far[apex]:
                    far[apex] = found
                    nearer = vertex if not done[other] or far[vertex] <= far[other] else other
                    origin[apex] = origin[nearer]
                    heapq.heappush(queue, (found, apex))
    return np.array(far), np.array(origin, dtype=np.int64)


def _front(places: list[list[float]], far: list[float], a: int, b: int, c: int) -> float:
    """When a straight front that passed a and b reaches c; along an edge where it cannot."""
    pa, pc = places[a], places[c]
    along = far[a] + math.dist(pa, pc)
    if b < 0:
        return along
    pb = places[b]
    edge = math.dist(pa, pb)
    slope = (far[b] - far[a]) / edge
    along = min(along, far[b] + math.dist(pb, pc))
    if abs(slope) >= 1:
        return along
    # In the plane with a at 0 and b on the x axis, c is at (x, y); the front comes from below.
    x = sum((pb[k] - pa[k]) * (pc[k] - pa[k]) for k in range(3)) / edge
    y = math.sqrt(max(math.dist(pa, pc) ** 2 - x * x, 0.0))
    steep = math.sqrt(1 - slope * slope)
    foot = x - y * slope / steep  # where the ray that reaches c crosses a-b
    if not 0 <= foot <= edge:
        return along
    return min(along, far[a] + slope * x + steep * y)
