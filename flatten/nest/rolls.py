"""Laying on the rolls, in their order: each is filled before the next is touched."""

from __future__ import annotations

from collections.abc import Sequence

from .clock import Clock
from .fill_bin import fill_bin
from .fit import fill
from .flaws import FEW_PIECES, off_flaws
from .frame import roll_frame
from .part import Part, Spot, reach
from .plan import Bin
from .shelf import FIT_MM, shelve
from .strips import StripLayer

ONE_BY_ONE, MENDED = 0.1, 0.15  # of the time on a roll with flaws, before the search knows them
RAILS = 0.96  # of the length of the layout so far: the next will not be much shorter
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
    *,
    trial: int = 0,
) -> tuple[list[tuple[Spot, ...]], list[int]]:
    """Return a searched layout on each roll, and the copies that found no place.

    `trial`: another number, another layout.
    """
    left, laid = list(counts), []
    for bin_ in bins:
        now = [n if bin_.takes(part) else 0 for part, n in zip(parts, left, strict=True)]
        spots: list[Spot] = []
        if any(now):
            spots = _lay_on_roll(parts, now, bin_, layer, clock, gap, trial)
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
    trial: int,
) -> list[Spot]:
    """Return everything on this roll where that fits, or as much as goes on it."""
    length = bin_.strip.length
    area = sum(part.outline.area * n for part, n in zip(parts, counts, strict=True))
    needed = area / FULL / bin_.strip.height
    if length is None or needed <= length:
        share = 1.0 if length is None or needed < 0.7 * length else 0.5
        spots = _lay_clear(parts, counts, bin_, layer, clock.part(share), gap, trial)
        if length is None or reach(parts, spots) <= length + FIT_MM:
            return spots
    share = min(0.8, max(0.2, (length or needed) / needed))
    return fill_bin(parts, counts, bin_, layer, clock.part(share), gap)


def _lay_clear(
    parts: Sequence[Part],
    counts: Sequence[int],
    bin_: Bin,
    layer: StripLayer,
    clock: Clock,
    gap: float,
    trial: int,
) -> list[Spot]:
    """Return a layout clear of flaws: one that knows none, mended, or one that knows them.

    The first tells how long the second will be about, which it must know beforehand.
    """
    if not bin_.strip.blocked:
        return layer.lay(parts, counts, bin_.strip, clock, trial=trial)
    few = sum(counts) <= FEW_PIECES  # more are searched in chunks, which know no flaws
    found = [_one_by_one(parts, counts, bin_, gap, clock.part(ONE_BY_ONE))]
    part = clock.part(MENDED if few else 1.0)
    plain = layer.lay(parts, counts, bin_.strip, part, trial=trial)
    found.append(off_flaws(parts, plain, bin_, gap, part))
    if not clock.over and few:
        rails = RAILS * reach(parts, plain)
        frame = roll_frame(bin_.region_to(2 * rails), bin_.strip, rails, gap)
        spots = layer.lay(parts, counts, bin_.strip, clock, trial=trial + 1, frame=frame)
        found.append(off_flaws(parts, spots, bin_, gap, clock))
    return min((spots for spots in found if spots), key=lambda spots: reach(parts, spots))


def _one_by_one(
    parts: Sequence[Part], counts: Sequence[int], bin_: Bin, gap: float, clock: Clock
) -> list[Spot]:
    """Return a layout around the flaws, each part where it ends farthest left; [] if too many."""
    if sum(counts) > FEW_PIECES:
        return []
    spots, _ = shelve(parts, counts, bin_.strip, gap)
    if len(spots) < sum(counts):
        return []
    region = bin_.region_to(reach(parts, spots))
    closer, left = fill(
        parts, counts, region, gap, go_on=lambda: clock.look("nesting: around flaws")
    )
    return spots if any(left) else closer
