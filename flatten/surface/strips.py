"""Chains of faces from one to another: where a path over the surface starts from."""

from __future__ import annotations

import heapq
import math
from collections.abc import Callable, Iterator

from ..arrays import Floats
from .mesh import MouldMesh

Point = list[float]


def strip_by_middles(mesh: MouldMesh, start: int, end: int, target: Floats) -> list[int]:
    """Return a short chain of faces towards a point (3,) by their middles; [] if there is none."""
    middle = mesh.corners.mean(axis=1).tolist()
    around = mesh.edges.faces[mesh.edges.of_face].reshape(-1, 6).tolist()

    def onward(face: int, here: Point, done: set[int]) -> Iterator[tuple[int, Point]]:
        for other in around[face]:
            if other >= 0 and other not in done:
                yield other, middle[other]

    return _shortest(start, end, middle[start], target.tolist(), onward)


def strip_by_crossings(
    mesh: MouldMesh, start: int, end: int, source: Floats, target: Floats
) -> list[int]:
    """Return the same by where edges are best crossed, (3,) to (3,): right for large faces too."""
    edges, places, goal = mesh.edges, mesh.vertices.tolist(), target.tolist()

    def onward(face: int, here: Point, done: set[int]) -> Iterator[tuple[int, Point]]:
        for edge in edges.of_face[face].tolist():
            a, b = edges.vertices[edge].tolist()
            for other in edges.faces[edge].tolist():
                if other >= 0 and other not in done:
                    yield other, _best_crossing(here, goal, places[a], places[b])

    return _shortest(start, end, source.tolist(), goal, onward)


def _shortest(
    start: int,
    end: int,
    source: Point,
    goal: Point,
    onward: Callable[[int, Point, set[int]], Iterator[tuple[int, Point]]],
) -> list[int]:
    """Return the shortest chain; `onward` names a face's neighbours and where each is entered.

    A* with the distance as the crow flies: Hart, Nilsson & Raphael, A formal basis for the
    heuristic determination of minimum cost paths, 1968.
    """
    far, at, before = {start: 0.0}, {start: source}, {start: -1}
    done: set[int] = set()
    least = {start: math.dist(source, goal)}  # over this face, to the goal as the crow flies
    queue = [(least[start], start)]
    while queue:
        face = heapq.heappop(queue)[1]
        if face == end:
            return _chain(before, end)
        if face in done:
            continue
        done.add(face)
        for other, point in onward(face, at[face], done):
            reached = far[face] + math.dist(at[face], point)
            ahead = reached + math.dist(point, goal)
            if ahead < least.get(other, math.inf):
                far[other], at[other], before[other], least[other] = reached, point, face, ahead
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
