"""Laying on the rolls, in their order: each is filled before the next is touched."""

from __future__ import annotations

from collections.abc import Sequence

from .clock import Clock
from .fill_bin import fill_bin, off_flaws
from .part import Part, Spot
from .plan import Bin
from .shelf import FIT_MM, shelve
from .strips import StripLayer, reach

FULL = 0.93  # share of a strip that no layout fills: more than this is not tried on one roll


def shelve_on_rolls(
    parts: Sequence[Part], counts: Sequence[int], bins: Sequence[Bin], gap: float
) -> tuple[list[tuple[Spot, ...]], list[int]]:
    """Return the simple layout on each roll, and the copies that found no place."""
    left, laid = list(counts), []
    for bin_ in bins:
        spots, left = shelve(parts, left, bin_.strip, gap)
        laid.append(tuple(spots))
    return laid, left


def lay_on_rolls(
    parts: Sequence[Part],
    counts: Sequence[int],
    bins: Sequence[Bin],
    layer: StripLayer,
    clock: Clock,
    gap: float,
) -> tuple[list[tuple[Spot, ...]], list[int]]:
    """Return a searched layout on each roll, and the copies that found no place."""
    left, laid = list(counts), []
    for bin_ in bins:
        now = [n if bin_.takes(part) else 0 for part, n in zip(parts, left, strict=True)]
        spots: list[Spot] = []
        if any(now):
            spots = _lay_on_roll(parts, now, bin_, layer, clock, gap)
        for spot in spots:
            left[spot.part] -= 1
        laid.append(tuple(spots))
    return laid, left


def _lay_on_roll(
    parts: Sequence[Part],
    counts: Sequence[int],
    bin_: Bin,
    layer: StripLayer,
    clock: Clock,
    gap: float,
) -> list[Spot]:
    """Return everything on this roll where that fits, or as much as goes on it."""
    length = bin_.strip.length
    area = sum(part.outline.area * n for part, n in zip(parts, counts, strict=True))
    needed = area / FULL / bin_.strip.height
    if length is None or needed <= length:
        share = 1.0 if length is None or needed < 0.7 * length else 0.5
        spots = layer.lay(parts, counts, bin_.strip, clock.part(share))
        spots = off_flaws(parts, spots, bin_, gap)
        if length is None or reach(parts, spots) <= length + FIT_MM:
            return spots
    share = min(0.8, max(0.2, (length or needed) / needed))
    return fill_bin(parts, counts, bin_, layer, clock.part(share), gap)
