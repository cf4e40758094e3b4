"""Triangles split where lines run, until none near a line is longer than wanted; no gaps."""

from __future__ import annotations

import numpy as np

from ..arrays import Bools, Floats, Ints
from ..surface.edges import Edges

MOST_ROUNDS = 40  # halvings: a metre becomes a micrometre


def split_near(
    vertices: Floats, faces: Ints, pieces: Floats, *, within_mm: float, edge_mm: float
) -> tuple[Floats, Ints]:
    """Return the mesh with every edge near a line no longer than `edge_mm`.

    Parameters
    ----------
    pieces : (k, 2, 3) mm, short straight pieces of the lines
    within_mm : an edge this near to a piece is split

    Marked edges are halved; a face gets two, three or four parts as one, two or three of its
    edges are, so that neighbours always share whole edges and nothing opens.
    """
    for _ in range(MOST_ROUNDS):
        edges = Edges(faces)
        ends = vertices[edges.vertices]
        length = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
        marked = np.zeros(len(length), bool)
        long = np.flatnonzero(length > edge_mm)
        marked[long] = _reached(ends[long].mean(axis=1), length[long] / 2, pieces, within_mm)
        if not marked.any():
            break
        vertices, faces = _halve(vertices, faces, edges, marked)
    return vertices, faces


def distance_to_pieces(points: Floats, pieces: Floats, within_mm: float) -> Floats:
    """Return (n,) the distance of each point to the nearest piece; infinite beyond `within_mm`."""
    distance = np.full(len(points), np.inf)
    reach = within_mm + 0.5 * float(_lengths(pieces).max())
    for i, j in near_pairs(points, pieces.mean(axis=1), reach):
        np.minimum.at(distance, i, _point_to_piece(points[i], pieces[j]))
    distance[distance > within_mm] = np.inf
    return distance


def _reached(centres: Floats, radius: Floats, pieces: Floats, within_mm: float) -> Bools:
    """Return which balls a piece comes nearer to than `within_mm`; balls of like size together."""
    reached = np.zeros(len(centres), bool)
    if not len(centres):
        return reached
    half = 0.5 * float(_lengths(pieces).max())
    octave = np.ceil(np.log2(np.maximum(radius, 1e-9))).astype(int)
    for size in np.unique(octave):
        chosen = np.flatnonzero(octave == size)
        reach = 2.0 ** float(size) + within_mm + half
        for i, j in near_pairs(centres[chosen], pieces.mean(axis=1), reach):
            away = _point_to_piece(centres[chosen[i]], pieces[j])
            reached[chosen[i[away <= radius[chosen[i]] + within_mm]]] = True
    return reached


def _lengths(pieces: Floats) -> Floats:
    lengths: Floats = np.linalg.norm(pieces[:, 1] - pieces[:, 0], axis=1)
    return lengths


def _point_to_piece(points: Floats, pieces: Floats) -> Floats:
    start, along = pieces[:, 0], pieces[:, 1] - pieces[:, 0]
    length2 = np.maximum((along**2).sum(axis=1), 1e-300)
    share = np.clip(((points - start) * along).sum(axis=1) / length2, 0, 1)
    away: Floats = np.linalg.norm(points - start - share[:, None] * along, axis=1)
    return away


def near_pairs(points: Floats, others: Floats, reach: float) -> list[tuple[Ints, Ints]]:
    """Return index pairs (point, other) in the same or neighbouring cells of size `reach`."""
    low = np.minimum(points.min(axis=0), others.min(axis=0)) - reach
    count = np.ceil((np.maximum(points.max(axis=0), others.max(axis=0)) - low) / reach) + 2
    stride = np.array([count[1] * count[2], count[2], 1.0]).astype(np.int64)
    key = np.floor((others - low) / reach).astype(np.int64) @ stride
    order = np.argsort(key, kind="stable")
    key = key[order]
    own = np.floor((points - low) / reach).astype(np.int64) @ stride
    pairs = []
    offsets = np.array([[x, y, z] for x in (-1, 0, 1) for y in (-1, 0, 1) for z in (-1, 0, 1)])
    for shift in offsets @ stride:
        first = np.searchsorted(key, own + shift, side="left")
        last = np.searchsorted(key, own + shift, side="right")
        times = last - first
        i = np.repeat(np.arange(len(points)), times)
        step = np.arange(len(i)) - np.repeat(np.cumsum(times) - times, times)
        if len(i):
            pairs.append((i, order[np.repeat(first, times) + step]))
    return pairs


def _halve(vertices: Floats, faces: Ints, edges: Edges, marked: Bools) -> tuple[Floats, Ints]:
    """Return the mesh with the marked edges halved."""
    middle = np.full(len(marked), -1)
    middle[marked] = len(vertices) + np.arange(int(marked.sum()))
    ends = vertices[edges.vertices[marked]]
    vertices = np.vstack([vertices, ends.mean(axis=1)])
    halves = middle[edges.of_face]  # (m, 3) of the edge from corner j to j + 1
    count = (halves >= 0).sum(axis=1)
    parts = [faces[count == 0], *_split_one(faces, halves, count)]
    parts += [*_split_two(vertices, faces, halves, count), *_split_three(faces, halves, count)]
    return vertices, np.vstack(parts)


def _turned(faces: Ints, halves: Ints, first: Ints) -> tuple[Ints, Ints]:
    """Return faces and halves with corner `first` (m,) put first."""
    index = (first[:, None] + np.arange(3)) % 3
    return np.take_along_axis(faces, index, axis=1), np.take_along_axis(halves, index, axis=1)


def _split_one(faces: Ints, halves: Ints, count: Ints) -> list[Ints]:
    chosen = count == 1
    face, half = _turned(faces[chosen], halves[chosen], (halves[chosen] >= 0).argmax(axis=1))
    (a, b, c), ab = face.T, half[:, 0]
    return [np.column_stack([a, ab, c]), np.column_stack([ab, b, c])]


def _split_two(vertices: Floats, faces: Ints, halves: Ints, count: Ints) -> list[Ints]:
    """Split off the corner between the two halved edges, the rest along its shorter diagonal."""
    chosen = count == 2
    whole = (halves[chosen] < 0).argmax(axis=1)
    face, half = _turned(faces[chosen], halves[chosen], (whole + 1) % 3)
    (a, b, c), ab, bc = face.T, half[:, 0], half[:, 1]  # the edge from c to a is whole
    to_c = np.linalg.norm(vertices[ab] - vertices[c], axis=1)
    to_a = np.linalg.norm(vertices[bc] - vertices[a], axis=1)
    by_c = (to_c <= to_a)[:, None]
    first = np.where(by_c, np.column_stack([ab, bc, c]), np.column_stack([ab, bc, a]))
    second = np.where(by_c, np.column_stack([a, ab, c]), np.column_stack([a, bc, c]))
    return [np.column_stack([ab, b, bc]), first, second]


def _split_three(faces: Ints, halves: Ints, count: Ints) -> list[Ints]:
    chosen = count == 3
    (a, b, c), (ab, bc, ca) = faces[chosen].T, halves[chosen].T
    return [
        np.column_stack([a, ab, ca]),
        np.column_stack([ab, b, bc]),
        np.column_stack([ca, bc, c]),
        np.column_stack([ab, bc, ca]),
    ]
