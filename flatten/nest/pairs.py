"""Common edges: two equal pieces turned against each other share one cut along a straight edge."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from shapely import Polygon
from shapely.affinity import affine_transform
from shapely.ops import unary_union

from ..arrays import Floats
from .geometry import laid
from .holes import carried
from .part import Part, Spot, simple_cover

SHORTEST_MM = 50.0  # a shorter common edge is not worth the care at the table
ROUNDS = 2  # pairs, then pairs of pairs
SAME_LINE_MM = 1e-3  # points closer to a line lie on it
OVERLAP_MM2 = 1e-3


def paired(parts: Sequence[Part], gap: float) -> list[Part]:
    """Return the parts with equal copies joined two and two where they have a straight edge."""
    result: list[Part] = []
    for part in parts:
        result += _pair(part, gap, ROUNDS)
    return result


def _pair(part: Part, gap: float, rounds: int) -> list[Part]:
    if part.count < 2 or not rounds:
        return [part]
    for start, end in _straight_edges(part.outline):
        pair = _joined_along(part, start, end, gap)
        if pair is not None:
            single = [replace(part, count=1)] if part.count % 2 else []
            return _pair(pair, gap, rounds - 1) + single
    return [part]


def _straight_edges(outline: Polygon) -> list[tuple[Floats, Floats]]:
    """Return the straight edges long enough, longest first."""
    ring = np.asarray(outline.simplify(SAME_LINE_MM).exterior.coords)
    edges = [(ring[i], ring[i + 1]) for i in range(len(ring) - 1)]
    fit = [edge for edge in edges if np.linalg.norm(edge[1] - edge[0]) >= SHORTEST_MM]
    return sorted(
        fit, key=lambda edge: (-round(float(np.linalg.norm(edge[1] - edge[0])), 6), *edge[0])
    )


def _joined_along(part: Part, start: Floats, end: Floats, gap: float) -> Part | None:
    """Return two copies, one turned half round about the edge's middle; None if in the way."""
    middle = (start + end) / 2
    spot = Spot(0, float(2 * middle[0]), float(2 * middle[1]), 180.0)
    other = affine_transform(part.outline, laid(spot.x_mm, spot.y_mm, spot.angle_deg))
    if part.outline.intersection(other).area > OVERLAP_MM2:
        return None
    if not _apart_elsewhere(part.outline, other, start, end, gap):
        return None
    both = unary_union([part.outline, other]).buffer(SAME_LINE_MM, join_style="mitre")
    if not isinstance(both, Polygon):
        return None
    outline = Polygon(both.buffer(-SAME_LINE_MM, join_style="mitre").exterior)
    outline = outline.simplify(SAME_LINE_MM / 10)
    members = (*part.members, *(carried(member, spot) for member in part.members))
    return Part(
        members=members,
        outline=outline,
        hull=simple_cover(outline),
        area_mm2=2 * part.area_mm2,
        turns=part.turns,
        count=part.count // 2,
    )


def _apart_elsewhere(one: Polygon, other: Polygon, start: Floats, end: Floats, gap: float) -> bool:
    """Return whether the two keep the gap away from the common edge's surroundings."""
    from shapely import LineString

    near = LineString([start, end]).buffer(3 * gap + SAME_LINE_MM)
    return bool(one.difference(near).distance(other.difference(near)) >= gap)
