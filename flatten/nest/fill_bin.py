"""Filling a roll that ends or an offcut: as much area as goes in, by bisection on the area."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from shapely import Polygon

from .clock import Clock
from .fit import FreeCloth, by_area, fill
from .join import turned_round
from .part import Part, Spot
from .plan import Bin
from .search import library_present
from .shelf import FIT_MM, Strip
from .strips import StripLayer, reach

SHARES = (0.45, 0.97)  # of the area: this little nearly always goes in, this much hardly ever
ROUNDS = 6  # of bisection: to 1 % of the area
ROUND_SECONDS = 2.0  # below this a searched round is not worth its start


def fill_bin(
    parts: Sequence[Part],
    counts: Sequence[int],
    bin_: Bin,
    layer: StripLayer,
    clock: Clock,
    gap: float,
    order: Sequence[int] | None = None,
) -> list[Spot]:
    """Return spots for as much of the parts as goes into a bin that has an end.

    `order`: numbers of the parts, those to be used first in front; largest first otherwise.
    """
    counts = [count if bin_.takes(part) else 0 for part, count in zip(parts, counts, strict=True)]
    order = list(order or by_area(parts))
    best, _ = fill(parts, counts, bin_.region, gap, order=order)
    if bin_.shape is not None and not _is_box(bin_.shape):
        return best
    if not library_present():
        return best
    low, high = SHARES
    for _ in range(ROUNDS):
        if clock.over or not any(counts) or _all_in(best, counts):
            break
        share = (low + high) / 2
        subset = _subset(parts, counts, order, share * bin_.region.area)
        slice_ = clock.part(min(1.0, max(1 / ROUNDS, ROUND_SECONDS / max(clock.left, 1e-9))))
        spots = layer.lay(parts, subset, bin_.strip, slice_, enough=bin_.strip.length)
        spots = off_flaws(parts, spots, bin_, gap)
        inside = within(parts, spots, bin_.strip)
        fits = len(inside) == len(spots)
        inside = topped_up(parts, counts, inside, bin_, gap, order)
        low, high = (share, high) if fits else (low, share)
        if _area(parts, inside) > _area(parts, best):
            best = inside
    return best


def within(parts: Sequence[Part], spots: Sequence[Spot], strip: Strip) -> list[Spot]:
    """Return the spots that end before the strip does."""
    if strip.length is None:
        return list(spots)
    end = strip.length + FIT_MM
    return [spot for spot in spots if parts[spot.part].at(spot).bounds[2] <= end]


def topped_up(
    parts: Sequence[Part],
    counts: Sequence[int],
    spots: Sequence[Spot],
    bin_: Bin,
    gap: float,
    order: Sequence[int],
) -> list[Spot]:
    """Return the spots and, in what they leave free, whatever else of the counts fits."""
    left = np.array(counts)
    for spot in spots:
        left[spot.part] -= 1
    shapes = [parts[spot.part].at(spot) for spot in spots]
    more, _ = fill(parts, left.tolist(), bin_.region, gap, shapes, order=order)
    return [*spots, *more]


def off_flaws(parts: Sequence[Part], spots: Sequence[Spot], bin_: Bin, gap: float) -> list[Spot]:
    """Return the layout with every part that lies on a flaw lifted and laid where cloth is free.

    The layout is tried both ways round; the shorter result is taken.
    """
    zones = bin_.strip.blocked
    if not zones or not spots:
        return list(spots)
    options = []
    for layout in (list(spots), turned_round(parts, spots, bin_.strip)):
        shapes = [parts[spot.part].at(spot) for spot in layout]
        hit = [any(zone.intersects(shape) for zone in zones) for shape in shapes]
        stays = [spot for spot, on in zip(layout, hit, strict=True) if not on]
        lifted = [spot for spot, on in zip(layout, hit, strict=True) if on]
        if lifted:
            stays += _laid_elsewhere(parts, stays, lifted, bin_, gap)
        options.append(stays)
    return min(options, key=lambda option: round(reach(parts, option), 3))


def _laid_elsewhere(
    parts: Sequence[Part], stays: Sequence[Spot], lifted: Sequence[Spot], bin_: Bin, gap: float
) -> list[Spot]:
    """Return new spots for the lifted parts, beside what stays or behind it."""
    shapes = [parts[spot.part].at(spot) for spot in stays]
    lengths = [max(_diagonal(parts[spot.part]), 1.0) + gap for spot in lifted]
    flaws = max(zone.bounds[2] for zone in bin_.strip.blocked)
    end = max([reach(parts, stays), flaws]) + sum(lengths) + gap
    cloth = FreeCloth(bin_.region_to(end), gap, shapes)
    spots = []
    for spot in sorted(lifted, key=lambda s: (-parts[s.part].outline.area, s.part, s.x_mm)):
        found = cloth.take(parts, spot.part)
        if found is None:
            raise ValueError("a strip with room behind all flaws took no part")
        spots.append(found)
    return spots


def _diagonal(part: Part) -> float:
    x0, y0, x1, y1 = part.outline.bounds
    return float(np.hypot(x1 - x0, y1 - y0))


def _subset(
    parts: Sequence[Part], counts: Sequence[int], order: Sequence[int], area: float
) -> list[int]:
    """Return copies of the parts, first ones first, up to an area."""
    chosen = [0] * len(parts)
    for number in order:
        each = parts[number].outline.area
        chosen[number] = min(counts[number], int(area // each))
        area -= chosen[number] * each
    return chosen


def _area(parts: Sequence[Part], spots: Sequence[Spot]) -> float:
    return round(sum(parts[spot.part].area_mm2 for spot in spots), 3)


def _all_in(spots: Sequence[Spot], counts: Sequence[int]) -> bool:
    return len(spots) == sum(counts)


def _is_box(shape: Polygon) -> bool:
    return bool(shape.area > 0.9999 * shape.envelope.area)
