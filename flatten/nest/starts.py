"""Laying piece by piece from several starts: the order of the pieces decides how full it gets."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

import numpy as np
from shapely import Polygon

from .fit import FreeCloth, always, by_area, fill_in
from .part import Part, Spot

STARTS = 8
MIX = 0.35  # how far a shuffled order strays from largest first: spread of the areas' logarithm


def fill_best(
    parts: Sequence[Part],
    left: Sequence[int],
    region: Polygon,
    gap: float,
    *,
    order: Sequence[int] | None = None,
    starts: int = STARTS,
    go_on: Callable[[], bool] = always,
    once_more: Callable[[], bool] | None = None,
) -> tuple[list[Spot], list[int]]:
    """Lay what fits into a region, in several orders; return the fullest layout and what is left.

    `order`: the one to begin with, and the one to take where none is fuller. The first start goes
    on as `go_on` says, further ones as `once_more` does (None: alike); one that was cut off
    counts as far as it got.
    """
    best, best_left, most = [], list(left), -1.0
    cloth = FreeCloth(region, gap)
    for number, one in enumerate(_orders(parts, left, order or by_area(parts), starts)):
        go_on = (once_more or go_on) if number else go_on
        if number and not go_on():
            break
        spots, rest = fill_in(cloth.again(), parts, left, one, go_on)
        area = round(sum(parts[spot.part].area_mm2 for spot in spots), 3)
        if area > most:
            best, best_left, most = spots, rest, area
        if not any(rest):
            break
    return best, best_left


def _orders(
    parts: Sequence[Part], left: Sequence[int], first: Sequence[int], starts: int
) -> Iterator[list[int]]:
    """Yield the first order, then shuffled ones, always the same."""
    yield list(first)
    wanted = [i for i in by_area(parts) if left[i]]
    size = np.log([parts[i].outline.area for i in wanted])
    rng = np.random.default_rng(1)
    for _ in range(starts - 1 if len(wanted) > 1 else 0):
        yield [wanted[i] for i in np.argsort(-(size + rng.normal(0, MIX, len(wanted))))]
