"""Triangles cut along a line of equal value, for example of equal distance."""

from __future__ import annotations

import numpy as np

from ..arrays import Floats, Ints
from .edges import Edges

# The line gives way to a vertex this near, as a share of the edge, so that no needles arise.
SNAP_SHARE = 0.05


def keep_below(
    vertices: Floats, faces: Ints, values: Floats, limit: float
) -> tuple[Floats, Ints, Ints]:
    """Return the part of the triangles where a value is below a limit.

    Parameters
    ----------
    vertices : (n, 3) mm; faces : (m, 3)
    values : (n,) linear over each triangle

    Returns
    -------
    vertices, the given ones first and the new ones behind; (k, 3) faces; (k,) the face each lies on
    """
    edges = Edges(faces)
    level = _snapped(values - limit, edges)
    a, b = edges.vertices.T
    crossed = np.flatnonzero(level[a] * level[b] < 0)
    share = level[a[crossed]] / (level[a[crossed]] - level[b[crossed]])
    start, end = vertices[a[crossed]], vertices[b[crossed]]
    point = np.full(len(edges.count), -1)
    point[crossed] = len(vertices) + np.arange(len(crossed))
    below = level[faces] < 0
    above = level[faces] > 0
    whole = np.flatnonzero(~above.any(axis=1) & below.any(axis=1))
    rows, owner = [faces[whole]], [whole]
    for corner in range(3):
        order = (corner + np.arange(3)) % 3
        turned, side = faces[:, order], edges.of_face[:, order]
        low, high = below[:, order], above[:, order]
        tip = np.flatnonzero(low[:, 0] & high[:, 1] & high[:, 2])
        rows.append(np.column_stack([turned[tip, 0], point[side[tip, 0]], point[side[tip, 2]]]))
        base = np.flatnonzero(high[:, 0] & low[:, 1] & low[:, 2])
        first, last = point[side[base, 0]], point[side[base, 2]]
        rows.append(np.column_stack([first, turned[base, 1], turned[base, 2]]))
        rows.append(np.column_stack([first, turned[base, 2], last]))
        # One corner on the line: above, on, below, both ways round.
        left = np.flatnonzero(high[:, 0] & low[:, 1] & ~low[:, 2] & ~high[:, 2])
        rows.append(np.column_stack([point[side[left, 0]], turned[left, 1], turned[left, 2]]))
        right = np.flatnonzero(high[:, 0] & ~low[:, 1] & ~high[:, 1] & low[:, 2])
        rows.append(np.column_stack([turned[right, 1], turned[right, 2], point[side[right, 2]]]))
        owner += [tip, base, base, left, right]
    return (
        np.vstack([vertices, start + share[:, None] * (end - start)]),
        np.concatenate(rows),
        np.concatenate(owner),
    )


def _snapped(level: Floats, edges: Edges) -> Floats:
    """Levels with those set to 0 that are much nearer to the line than the other end."""
    a, b = edges.vertices.T
    gap = np.abs(level[a] - level[b])
    crossed = level[a] * level[b] < 0
    snapped: Floats = level.copy()
    for vertex in (a, b):
        near = crossed & (np.abs(level[vertex]) < SNAP_SHARE * gap)
        snapped[vertex[near]] = 0.0
    return snapped
