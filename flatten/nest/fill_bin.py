"""Filling a roll that ends or an offcut: as much area as goes in, by bisection on the area."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from shapely import Polygon

from .clock import Clock
from .fit import by_area, fill
from .flaws import off_flaws
from .frame import Frame, offcut_frame, roll_frame
from .part import Part, Spot
from .plan import Bin
from .search import library_present
from .shelf import FIT_MM, shelve
from .starts import STARTS, fill_best
from .strips import StripLayer

SHARES = (0.45, 0.97)  # of the area: this little nearly always goes in, this much hardly ever
FEW_STARTS = 2  # of laying one by one, where the search does better
FILLING = 0.4  # of the time at most goes into further starts of laying one by one
DOING = "nesting: filling what is left over first"
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
    filling = clock.part(FILLING)
    odd = bin_.shape if bin_.shape is not None and not _is_box(bin_.shape) else None
    best = fill_best(
        parts,
        counts,
        bin_.region,
        gap,
        order=order,
        starts=STARTS if odd else FEW_STARTS,
        go_on=lambda: clock.look(DOING),
        once_more=lambda: filling.look(DOING),
    )[0]
    frame = offcut_frame(odd, bin_.strip, gap) if odd else _with_flaws(bin_, gap)
    if odd is None:
        plain, _ = shelve(parts, counts, bin_.strip, gap)  # stands whatever the time
        best = max(best, plain, key=lambda spots: _area(parts, spots))
    if not library_present() or (odd and frame is None):
        return best
    low, high = max(SHARES[0], _area(parts, best) / bin_.region.area), SHARES[1]
    for _ in range(ROUNDS):
        if clock.over or not any(counts) or _all_in(best, counts) or low >= high:
            break
        share = (low + high) / 2
        first = {spot.part for spot in best} if odd else set()  # the others may be too bulky
        likely = sorted(order, key=lambda number: number not in first)
        subset = _subset(parts, counts, likely, share * bin_.region.area)
        slice_ = clock.part(min(1.0, max(1 / ROUNDS, ROUND_SECONDS / max(clock.left, 1e-9))))
        end = bin_.strip.length or 0.0
        spots = layer.lay(parts, subset, bin_.strip, slice_, enough=end, frame=frame)
        spots = off_flaws(parts, spots, bin_, gap, slice_)
        inside = within(parts, spots, bin_)
        fits = len(inside) == len(spots)
        inside = topped_up(parts, counts, inside, bin_, gap, order, slice_)
        low, high = (share, high) if fits else (low, share)
        if _area(parts, inside) > _area(parts, best):
            best = inside
    return best


def within(parts: Sequence[Part], spots: Sequence[Spot], bin_: Bin) -> list[Spot]:
    """Return the spots that lie on the bin's cloth: before its end, on an offcut of any shape."""
    if bin_.strip.length is None:
        return list(spots)
    end = bin_.strip.length + FIT_MM
    inside = [spot for spot in spots if parts[spot.part].at(spot).bounds[2] <= end]
    if bin_.shape is None or _is_box(bin_.shape):
        return inside
    cloth = bin_.shape.buffer(FIT_MM, join_style="mitre")
    return [spot for spot in inside if cloth.covers(parts[spot.part].at(spot))]


def topped_up(
    parts: Sequence[Part],
    counts: Sequence[int],
    spots: Sequence[Spot],
    bin_: Bin,
    gap: float,
    order: Sequence[int],
    clock: Clock,
) -> list[Spot]:
    """Return the spots and, in what they leave free, whatever else of the counts fits."""
    left = np.array(counts)
    for spot in spots:
        left[spot.part] -= 1
    shapes = [parts[spot.part].at(spot) for spot in spots]
    more, _ = fill(
        parts, left.tolist(), bin_.region, gap, shapes, order=order, go_on=lambda: clock.look(DOING)
    )
    return [*spots, *more]


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


def _with_flaws(bin_: Bin, gap: float) -> Frame | None:
    """Return the frame of a roll that ends and has flaws; None where it has none."""
    end = bin_.strip.length
    if end is None or not bin_.strip.blocked:
        return None
    return roll_frame(bin_.region_to(2 * end), bin_.strip, end, gap)


def _is_box(shape: Polygon) -> bool:
    return bool(shape.area > 0.9999 * shape.envelope.area)
