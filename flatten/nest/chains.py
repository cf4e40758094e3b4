"""Common edges in chains: pieces laid side by side, each sharing a straight edge with the next.

Pairs turn equal pieces against each other; a chain takes any pieces of one cloth whose straight
edges are equally long, at any turn the cloth allows, until it is as wide as the roll.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

from shapely import LineString, Polygon
from shapely.affinity import affine_transform

from .fit import always, by_area
from .geometry import cos_sin, laid
from .holes import carried
from .pairs import may_lie_so, merged, straight_edges
from .part import Part, Spot, simple_cover

MOST = 12  # members of a chain: a longer one leaves the search no choice
SAME_LENGTH_MM = 0.5
SAME_WAY = 1e-6  # radians between edges that are to lie on each other
TRIED = 60  # places looked at for each next member

Fits = Callable[[Part], bool]


@dataclass(frozen=True, slots=True, eq=False)
class _Chain:
    spots: tuple[Spot, ...]
    shapes: tuple[Polygon, ...]
    edges: tuple[LineString, ...]  # of the shapes; those in use find no place for another


def chained(
    parts: Sequence[Part], gap: float, fits: Fits, go_on: Callable[[], bool] = always
) -> list[Part]:
    """Return the parts with copies joined in chains where they have equal straight edges.

    `fits`: whether a chain still goes on the cloth. Chains made of the same parts in the same
    places are one part in several copies. Once `go_on` says False the rest stays single.
    """
    left, result = [part.count for part in parts], []
    order = by_area(parts)
    edges = _Edges([straight_edges(part.outline) for part in parts], order)
    for number in order:
        while left[number] and go_on():
            chain = _chain_from(parts, edges, left, number, gap, fits)
            uses = Counter(spot.part for spot in chain.spots)
            times = min(left[i] // n for i, n in uses.items())
            for i, n in uses.items():
                left[i] -= n * times
            result.append(_part_of(parts, chain, times))
    return result + [replace(part, count=n) for part, n in zip(parts, left, strict=True) if n]


class _Edges:
    """The straight edges of all parts, found by their length."""

    def __init__(self, of: Sequence[list[LineString]], order: Sequence[int]) -> None:
        self.of = of
        self._by_length: dict[int, list[tuple[int, LineString]]] = defaultdict(list)
        for number in order:
            for edge in of[number]:
                self._by_length[int(edge.length / SAME_LENGTH_MM)].append((number, edge))

    def like(self, edge: LineString, last: int) -> list[tuple[int, LineString]]:
        """Return (part, edge) of the same length: those of the part that was last first."""
        at = int(edge.length / SAME_LENGTH_MM)
        near = [one for key in (at, at - 1, at + 1) for one in self._by_length.get(key, ())]
        same = [one for one in near if abs(one[1].length - edge.length) <= SAME_LENGTH_MM]
        return sorted(same, key=lambda one: one[0] != last)


def _chain_from(
    parts: Sequence[Part],
    edges: _Edges,
    left: Sequence[int],
    number: int,
    gap: float,
    fits: Fits,
) -> _Chain:
    """Return the longest chain that starts with a copy of this part; at least that copy."""
    first = Spot(number, 0.0, 0.0, 0.0)
    chain = _Chain((first,), (parts[number].outline,), tuple(edges.of[number]))
    free = list(left)
    free[number] -= 1
    while len(chain.spots) < MOST:
        longer = _longer(parts, edges, free, chain, gap, fits)
        if longer is None:
            break
        chain = longer
        free[chain.spots[-1].part] -= 1
    return chain


def _longer(
    parts: Sequence[Part],
    edges: _Edges,
    free: Sequence[int],
    chain: _Chain,
    gap: float,
    fits: Fits,
) -> _Chain | None:
    """Return the chain with one more member, along the longest edge where one goes."""
    for tried, (spot, edge) in enumerate(_places(parts, edges, free, chain)):
        if tried == TRIED:
            break
        move = laid(spot.x_mm, spot.y_mm, spot.angle_deg)
        shape = affine_transform(parts[spot.part].outline, move)
        if not all(may_lie_so(other, shape, edge, gap) for other in chain.shapes):
            continue
        own = [affine_transform(one, move) for one in edges.of[spot.part]]
        longer = _Chain((*chain.spots, spot), (*chain.shapes, shape), (*chain.edges, *own))
        outline = merged(longer.shapes)
        if outline is not None and fits(_part_of(parts, longer, 1)):
            return longer
    return None


def _places(
    parts: Sequence[Part],
    edges: _Edges,
    free: Sequence[int],
    chain: _Chain,
) -> Iterator[tuple[Spot, LineString]]:
    """Yield spots that bring an edge of a free part onto an edge of the chain, longest first."""
    for edge in sorted(chain.edges, key=lambda edge: -round(edge.length, 3)):
        for number, own in edges.like(edge, chain.spots[-1].part):
            for turn in parts[number].turns.base_deg if free[number] else ():
                spot = _laid_against(own, edge, number, turn)
                if spot is not None:
                    yield spot, edge


def _laid_against(own: LineString, edge: LineString, number: int, turn: float) -> Spot | None:
    """Return the spot at this turn that lays one edge against the other, middle on middle.

    Outlines run counter-clockwise, so two that lie side by side run along it in opposite ways.
    """
    off = _heading(own) + math.radians(turn) - _heading(edge) - math.pi
    if abs(math.remainder(off, 2 * math.pi)) > SAME_WAY:
        return None
    cosine, sine = cos_sin(turn)
    middle, target = own.centroid, edge.centroid
    x = target.x - (cosine * middle.x - sine * middle.y)
    y = target.y - (sine * middle.x + cosine * middle.y)
    return Spot(number, x, y, turn)


def _heading(edge: LineString) -> float:
    (x0, y0), (x1, y1) = edge.coords[0], edge.coords[-1]
    return math.atan2(y1 - y0, x1 - x0)


def _part_of(parts: Sequence[Part], chain: _Chain, count: int) -> Part:
    """Return a chain as a part; of one member, that part itself."""
    first = parts[chain.spots[0].part]
    outline = merged(chain.shapes)
    if len(chain.spots) == 1 or outline is None:
        return replace(first, count=count)
    return Part(
        members=tuple(
            carried(member, spot) for spot in chain.spots for member in parts[spot.part].members
        ),
        outline=outline,
        hull=simple_cover(outline),
        area_mm2=sum(parts[spot.part].area_mm2 for spot in chain.spots),
        turns=first.turns,
        count=count,
    )
