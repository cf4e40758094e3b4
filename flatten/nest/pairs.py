"""Common edges: two equal pieces turned against each other share one cut along a straight edge."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import replace

from shapely import LineString, Polygon
from shapely.affinity import affine_transform
from shapely.geometry.polygon import orient
from shapely.ops import unary_union

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
        result += _pair(part, [part.outline], gap, ROUNDS)
    return result


def _pair(part: Part, shapes: list[Polygon], gap: float, rounds: int) -> list[Part]:
    """Return pairs of a part and what is left of it; `shapes` are its outlines that were joined."""
    if part.count < 2 or not rounds:
        return [part]
    for edge in straight_edges(part.outline):
        middle = edge.centroid
        spot = Spot(0, 2 * middle.x, 2 * middle.y, 180.0)
        turned = [affine_transform(shape, laid(spot.x_mm, spot.y_mm, 180.0)) for shape in shapes]
        if all(may_lie_so(one, two, edge, gap) for one in shapes for two in turned):
            pair = _joined(part, [*shapes, *turned], spot)
            if pair is not None:
                single = [replace(part, count=1)] if part.count % 2 else []
                return _pair(pair, [*shapes, *turned], gap, rounds - 1) + single
    return [part]


def straight_edges(outline: Polygon) -> list[LineString]:
    """Return the straight edges long enough, longest first."""
    ring = list(outline.simplify(SAME_LINE_MM).exterior.coords)
    edges = [LineString(ends) for ends in itertools.pairwise(ring)]
    long = [edge for edge in edges if edge.length >= SHORTEST_MM]
    return sorted(long, key=lambda edge: (-round(edge.length, 6), *edge.coords[0]))


def may_lie_so(one: Polygon, two: Polygon, edge: LineString, gap: float) -> bool:
    """Return whether two outlines keep the gap, or share this edge and keep it elsewhere."""
    if one.intersection(two).area > OVERLAP_MM2:
        return False
    if one.distance(two) >= gap:
        return True
    shared = one.intersection(edge.buffer(SAME_LINE_MM)).intersection(two.buffer(SAME_LINE_MM))
    if shared.length / 2 < SHORTEST_MM:  # a sliver along the edge: its two long sides
        return False
    near = edge.buffer(3 * gap + SAME_LINE_MM)
    return bool(one.difference(near).distance(two.difference(near)) >= gap)


def merged(shapes: Sequence[Polygon]) -> Polygon | None:
    """Return the outline around shapes that lie edge to edge, None where they do not."""
    if len(shapes) == 1:
        return shapes[0]
    both = unary_union(shapes).buffer(SAME_LINE_MM, join_style="mitre")
    if not isinstance(both, Polygon):
        return None
    outline = Polygon(both.buffer(-SAME_LINE_MM, join_style="mitre").exterior)
    return orient(outline.simplify(SAME_LINE_MM / 10))


def _joined(part: Part, shapes: list[Polygon], spot: Spot) -> Part | None:
    """Return the part made of two copies, one at the spot; None where they do not hang together."""
    outline = merged(shapes)
    if outline is None:
        return None
    members = (*part.members, *(carried(member, spot) for member in part.members))
    return Part(
        members=members,
        outline=outline,
        hull=simple_cover(outline),
        area_mm2=2 * part.area_mm2,
        turns=part.turns,
        count=part.count // 2,
    )
