"""Chains of faces from one to another: where a path over the surface starts from."""

from __future__ import annotations

import heapq
import math

from ..arrays import Floats
from .mesh import MouldMesh


def strip_by_middles(mesh: MouldMesh, start: int, end: int, target: Floats) -> list[int]:
    """Return a short chain of faces towards a point (3,) by their middles; [] if there is none.

    A* with the distance as the crow flies: Hart, Nilsson & Raphael, A formal basis for the
    heuristic determination of minimum cost paths, 1968.
    """
    middle = mesh.corners.mean(axis=1).tolist()
    around = mesh.edges.faces[mesh.edges.of_face].reshape(-1, 6).tolist()
    goal = target.tolist()
    far, before, done = {start: 0.0}, {start: -1}, set()
    queue = [(math.dist(middle[start], goal), start)]
    while queue:
        face = heapq.heappop(queue)[1]
        if face == end:
            return _chain(before, end)
        if face in done:
            continue
        done.add(face)
        for other in around[face]:
            if other < 0 or other in done:
                continue
            reached = far[face] + math.dist(middle[face], middle[other])
            if reached < far.get(other, math.inf):
                far[other], before[other] = reached, face
                heapq.heappush(queue, (reached + math.dist(middle[other], goal), other))
    return []


def strip_by_crossings(
    mesh: MouldMesh, start: int, end: int, source: Floats, target: Floats
) -> list[int]:
    """Return the same by where edges are best crossed, (3,) to (3,): right for large faces too."""
    edges, places = mesh.edges, mesh.vertices.tolist()
    goal = target.tolist()
    far, before, done = {start: 0.0}, {start: -1}, set()
    at = {start: source.tolist()}
    queue = [(math.dist(at[start], goal), start)]
    while queue:
        face = heapq.heappop(queue)[1]
        if face == end:
            return _chain(before, end)
        if face in done:
            continue
        done.add(face)
        for edge in edges.of_face[face].tolist():
            for other in edges.faces[edge].tolist():
                if other < 0 or other in done:
                    continue
                a, b = edges.vertices[edge].tolist()
                point = _best_crossing(at[face], goal, places[a], places[b])
                reached = far[face] + math.dist(at[face], point)
                ahead = reached + math.dist(point, goal)
                if ahead < far.get(other, math.inf) + math.dist(at.get(other, point), goal):
                    far[other], before[other], at[other] = reached, face, point
                    heapq.heappush(queue, (ahead, other))
    return []


def _best_crossing(
    here: list[float], goal: list[float], a: list[float], b: list[float]
) -> list[float]:
    """The point of a-b with the shortest way from here to the goal, by halving thirds."""
    low, high = 0.0, 1.0
    for _ in range(16):
        one, two = low + (high - low) / 3, high - (high - low) / 3
        p = [x + one * (y - x) for x, y in zip(a, b, strict=True)]
        q = [x + two * (y - x) for x, y in zip(a, b, strict=True)]
        if math.dist(here, p) + math.dist(p, goal) <= math.dist(here, q) + math.dist(q, goal):
            high = two
        else:
            low = one
    share = (low + high) / 2
    return [x + share * (y - x) for x, y in zip(a, b, strict=True)]


def _chain(before: dict[int, int], end: int) -> list[int]:
    chain = [end]
    while before[chain[-1]] >= 0:
        chain.append(before[chain[-1]])
    return chain[::-1]
