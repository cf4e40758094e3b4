"""From the simple plan to the best found: holes, offcuts, rolls; scored by roll length saved."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

from .chains import Fits, chained
from .clock import Clock
from .fill_bin import fill_bin
from .fit import by_area
from .holes import with_guests
from .pairs import paired
from .part import Part, Spot
from .plan import Bin, Plan
from .rolls import lay_on_rolls, shelve_on_rolls
from .search import library_present
from .settings import NestSettings
from .strips import StripLayer, Watch
from .turned_over import turned_over

FILLING_HOLES = 0.3  # of the time at most
TRYING = 0.55  # of the time goes into finding the best way, the rest into the layout
OFFCUTS_WEIGH = 4  # a way that fills offcuts first gets so much more time than one that does not
FILLING_OFFCUTS = 0.7  # of that
NO_LIBRARY = (
    "The nesting library is not installed: pieces are laid one by one, which takes more cloth."
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Shelf:
    """The bins of one cloth."""

    rolls: tuple[Bin, ...]
    offcuts: tuple[Bin, ...]  # smallest first: what fits a small one may be needed nowhere else

    def takes(self, part: Part) -> bool:
        """Return whether a part goes on every roll by its bounding box."""
        return all(bin_.takes(part) for bin_ in self.rolls)


def simple_plan(parts: Sequence[Part], shelf: Shelf, gap: float) -> Plan:
    """Return the layout that stands at once: bounding boxes on the rolls."""
    counts = [part.count for part in parts]
    laid, left = shelve_on_rolls(parts, counts, shelf.rolls, gap)
    return _plan(parts, shelf, [()] * len(shelf.offcuts), laid, left)


def improve(
    simple: Plan,
    shelf: Shelf,
    settings: NestSettings,
    clock: Clock,
    *,
    may_turn: bool,
    watch: Watch | None = None,
) -> tuple[Plan, tuple[str, ...]]:
    """Return the best plan found in the time, at worst the simple one, and notes for the user.

    Where there is more than one way, each gets a short search and the best one the rest.
    """
    gap, layer = settings.gap_mm, StripLayer(settings, watch)
    filling = clock.part(FILLING_HOLES)
    variants = _variants(simple.parts, settings, filling, shelf.takes, may_turn=may_turn)
    orders = ORDERS if shelf.offcuts else ()
    plans, ways = [simple], len(variants) + len(orders) * OFFCUTS_WEIGH
    trying = clock.part(TRYING if ways > 1 else 1.0)
    for parts in variants:
        counts, part = [part.count for part in parts], trying.part(1 / ways)
        laid, left = lay_on_rolls(parts, counts, shelf.rolls, layer, part, gap)
        plans.append(_plan(parts, shelf, [()] * len(shelf.offcuts), laid, left))
        ways -= 1
        if clock.stopped:
            return _best(plans, gap), _notes(layer)
    best = _best(plans, gap).parts
    for order in orders:
        part = trying.part(OFFCUTS_WEIGH / ways)
        plans.append(_offcuts_first(best, shelf, order(best), layer, part, gap))
        ways -= OFFCUTS_WEIGH
        if clock.stopped:
            return _best(plans, gap), _notes(layer)
    if not clock.over:
        plans.append(_rolls_again(_best(plans, gap), shelf, layer, clock, gap))
    return _best(plans, gap), _notes(layer)


def _variants(
    parts: Sequence[Part], settings: NestSettings, clock: Clock, fits: Fits, *, may_turn: bool
) -> list[list[Part]]:
    """Return the ways to see the pieces as parts that are worth a search of their own."""
    gap, filled = settings.gap_mm, [*parts]
    if any(part.holes for part in parts):
        filled = with_guests(parts, gap, lambda: clock.look("nesting: filling holes"))
    variants = [filled]
    if settings.common_edges:
        pairs = paired(filled, gap)
        chains = chained(filled, gap, fits, lambda: clock.look("nesting: joining common edges"))
        for joined in (pairs, chains) if _members(chains) != _members(pairs) else (pairs,):
            if _members(joined) != _members(filled):
                variants.append(joined)
    if settings.turn_over and may_turn:
        variants.append(turned_over(filled))
    return variants


def _members(parts: Sequence[Part]) -> list[tuple[int, int]]:
    """Return how many pieces move together, and in how many copies."""
    return sorted((len(part.members), part.count) for part in parts)


def _most_awkward_first(parts: Sequence[Part]) -> list[int]:
    """Return the parts by their area as a share of their box: the awkward are dear on the roll."""

    def solid(number: int) -> float:
        outline = parts[number].outline
        return round(float(outline.area / outline.minimum_rotated_rectangle.area), 4)

    return sorted(by_area(parts), key=solid)


ORDERS = (by_area, _most_awkward_first)  # in which offcuts are filled


def _rolls_again(plan: Plan, shelf: Shelf, layer: StripLayer, clock: Clock, gap: float) -> Plan:
    """Return the plan with what lies on the rolls searched once more, in another way."""
    on_offcuts = plan.spots[: len(shelf.offcuts)]
    left = [part.count for part in plan.parts]
    for spot in itertools.chain(*on_offcuts):
        left[spot.part] -= 1
    laid, left = lay_on_rolls(plan.parts, left, shelf.rolls, layer, clock, gap, trial=1)
    return _plan(plan.parts, shelf, on_offcuts, laid, left)


def _offcuts_first(
    parts: Sequence[Part],
    shelf: Shelf,
    order: Sequence[int],
    layer: StripLayer,
    clock: Clock,
    gap: float,
) -> Plan:
    """Return the plan that fills every offcut first and lays the rest on the rolls."""
    left, laid = [part.count for part in parts], []
    filling = clock.part(FILLING_OFFCUTS)
    for number, bin_ in enumerate(shelf.offcuts):
        time = filling.part(1 / (len(shelf.offcuts) - number))
        spots = fill_bin(parts, left, bin_, layer, time, gap, order)
        for spot in spots:
            left[spot.part] -= 1
        laid.append(tuple(spots))
    on_rolls, left = lay_on_rolls(parts, left, shelf.rolls, layer, clock, gap)
    return _plan(parts, shelf, laid, on_rolls, left)


def _plan(
    parts: Sequence[Part],
    shelf: Shelf,
    on_offcuts: Sequence[tuple[Spot, ...]],
    on_rolls: Sequence[tuple[Spot, ...]],
    left: Sequence[int],
) -> Plan:
    return Plan(
        parts=tuple(parts),
        bins=shelf.offcuts + shelf.rolls,
        spots=(*on_offcuts, *on_rolls),
        left=tuple(left),
    )


def _best(plans: Sequence[Plan], gap: float) -> Plan:
    """Return the plan that takes least; the earlier of equals."""
    return min(plans, key=lambda plan: plan.taken(gap))


def _notes(layer: StripLayer) -> tuple[str, ...]:
    if not library_present():
        return (NO_LIBRARY,)
    return tuple(
        f"The search gave up on a strip and the simple layout was kept there ({complaint})."
        for complaint in layer.complaints
    )
