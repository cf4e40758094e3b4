"""Chains of edges: from junction to junction, each once."""

from __future__ import annotations

import numpy as np

from ..arrays import Bools, Ints


def chains_of(pairs: Ints, stops: Bools) -> list[Ints]:
    """Return the chains that (k, 2) undirected edges make, as vertex lists.

    A chain ends where other than two edges meet, and at vertices marked in `stops` (n,). A ring
    without such a vertex starts and ends at its lowest. Each chain starts at the lower of its
    ends; chains come in the order of their first two vertices.
    """
    around: dict[int, list[int]] = {}
    for a, b in pairs.tolist():
        around.setdefault(a, []).append(b)
        around.setdefault(b, []).append(a)
    left = {(min(a, b), max(a, b)) for a, b in pairs.tolist()}
    ends = [v for v in sorted(around) if len(around[v]) != 2 or stops[v]]
    chains = []
    for start in [*ends, *sorted(around)]:
        for second in sorted(around[start]):
            if (min(start, second), max(start, second)) in left:
                chain = _follow(start, second, around, left, set(ends))
                if chain[-1] < chain[0]:
                    chain.reverse()
                chains.append(np.array(chain, dtype=np.int64))
    return sorted(chains, key=lambda chain: (int(chain[0]), int(chain[1])))


def _follow(
    start: int,
    second: int,
    around: dict[int, list[int]],
    left: set[tuple[int, int]],
    ends: set[int],
) -> list[int]:
    chain = [start]
    vertex = second
    while True:
        left.discard((min(chain[-1], vertex), max(chain[-1], vertex)))
        chain.append(vertex)
        if vertex in ends or vertex == start:
            return chain
        one, two = around[vertex]
        vertex = two if one == chain[-2] else one
