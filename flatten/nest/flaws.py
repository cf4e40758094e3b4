"""Flaws of a roll: told to the cutter; what lies on one is lifted and laid where cloth is free."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from .clock import Clock
from .fit import FreeCloth
from .join import turned_round
from .layout import Sheet
from .part import Part, Spot, reach
from .plan import Bin
from .roll import Stock
from .shelf import FIT_MM

TAILS = 12  # pieces at the far end that are tried farther in
FEW_PIECES = 150  # more make each trial slow, and one tail matters less


def flaws_on(sheet: Sheet, stock: Stock) -> tuple[tuple[float, float, float], ...]:
    """Return x, y, radius of the flaws on the cloth a sheet takes, for those who cut it."""
    return tuple(
        (flaw.x_mm, flaw.y_mm, flaw.radius_mm)
        for roll in stock.rolls
        if (sheet.kind, sheet.stock_id) == ("roll", roll.id)
        for flaw in roll.defects
        if flaw.x_mm - flaw.radius_mm < sheet.used_length_mm
    )


def off_flaws(
    parts: Sequence[Part], spots: Sequence[Spot], bin_: Bin, gap: float, clock: Clock
) -> list[Spot]:
    """Return the layout with every part that lies on a flaw lifted and laid where cloth is free.

    So is a part that begins before the strip does. The layout is tried both ways round; the
    shorter result is taken.
    """
    zones = bin_.strip.blocked
    if not zones or not spots:
        return list(spots)
    options = []
    for layout in (list(spots), turned_round(parts, spots, bin_.strip)):
        shapes = [parts[spot.part].at(spot) for spot in layout]
        hit = [
            shape.bounds[0] < -FIT_MM or any(zone.intersects(shape) for zone in zones)
            for shape in shapes
        ]
        stays = [spot for spot, on in zip(layout, hit, strict=True) if not on]
        lifted = [spot for spot, on in zip(layout, hit, strict=True) if on]
        if not lifted:
            return layout
        options.append(stays + _laid_elsewhere(parts, stays, lifted, bin_, gap))
    best = min(options, key=lambda option: round(reach(parts, option), 3))
    return _tails_in(parts, best, bin_, gap, clock)


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


def _tails_in(
    parts: Sequence[Part], spots: Sequence[Spot], bin_: Bin, gap: float, clock: Clock
) -> list[Spot]:
    """Return the layout with its farthest parts laid farther in, as long as that shortens it."""
    spots = list(spots)
    if len(spots) > FEW_PIECES:
        return spots
    for _ in range(TAILS):
        if not clock.look("nesting: laying the last pieces farther in"):
            break
        end = reach(parts, spots)
        last = max(spots, key=lambda spot: parts[spot.part].at(spot).bounds[2])
        rest = [spot for spot in spots if spot is not last]
        shapes = [parts[spot.part].at(spot) for spot in rest]
        found = FreeCloth(bin_.region_to(end), gap, shapes).take(parts, last.part)
        if found is None or reach(parts, [*rest, found]) > end - 0.1:
            break
        spots = [*rest, found]
    return spots


def _diagonal(part: Part) -> float:
    x0, y0, x1, y1 = part.outline.bounds
    return float(np.hypot(x1 - x0, y1 - y0))
