"""A surface with one side only (a Moebius strip): is it one, and where a cut gives it two."""

from __future__ import annotations

import numpy as np

from ..arrays import Bools, Floats, Ints
from .joined import joined

__all__ = ["cut_ends", "two_sided_cut"]


def two_sided_cut(count: int, pairs: Ints, flipped: Bools) -> Bools:
    """Return (k,) which joints between faces to open so that the rest has two sides.

    `pairs` (k, 2) of `count` faces that share an edge, `flipped` (k,) where their windings
    disagree. False everywhere if turning faces round is enough.

    Each face is put twice, as it is and turned round, neighbours joined where their windings
    agree: where both hang together, the surface has one side (its orientation cover; Hatcher,
    Algebraic Topology, 2002, 3.3). From one face outwards the rest is wound alike, ring by ring;
    where the rings meet and disagree, it is to be cut.
    """
    turn = flipped * count
    first, second = pairs[:, 0], pairs[:, 1]
    both = np.concatenate(
        [
            np.column_stack([first, second + turn]),
            np.column_stack([first + count, second + count - turn]),
        ]
    )
    side = joined(2 * count, both)
    one_sided = side[:count] == side[count:]
    if not one_sided.any():
        return np.zeros(len(pairs), bool)
    turned = np.zeros(count, bool)
    known = ~one_sided
    while not known.all():
        known[int(known.argmin())] = True
        while True:
            ahead, back = known[first] & ~known[second], known[second] & ~known[first]
            if not (ahead | back).any():
                break
            turned[second[ahead]] = turned[first[ahead]] ^ flipped[ahead]
            known[second[ahead]] = True
            back &= ~known[first]
            turned[first[back]] = turned[second[back]] ^ flipped[back]
            known[first[back]] = True
    cut: Bools = one_sided[first] & (turned[first] ^ turned[second] ^ flipped)
    return cut


def cut_ends(points: Floats, edges: Ints) -> tuple[Floats, Floats]:
    """Return the ends (3,) mm of a cut along these edges (k, 2): those furthest apart."""
    vertex, times = np.unique(edges, return_counts=True)
    ends = points[vertex[times == 1]] if (times == 1).sum() > 1 else points[vertex]
    start = ends[0]
    end = ends[((ends - start) ** 2).sum(axis=1).argmax()]
    return start, end
