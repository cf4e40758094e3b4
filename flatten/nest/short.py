"""Not enough cloth: the pieces left over, and what length of roll they would take."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from ..errors import InputError
from ..finding import Finding
from .clock import Clock, Stop, never
from .part import Part, reach
from .plan import Bin, Plan
from .roll import Stock
from .settings import NestSettings
from .shelf import Strip, lying_turn, shelve
from .strips import StripLayer

NAMED = 8  # pieces in a message; more are counted
ESTIMATING = (0.2, 2.0)  # share of the search's time, and seconds at most, for what is missing


class StockShort(InputError):
    """The stock takes some of the pieces only.

    `pieces`: those left over, and how many of each; `more_mm`: the roll they take by themselves,
    as well as a short search lays them, so a little less may do.
    """

    def __init__(self, message: str, hint: str, pieces: dict[str, int], more_mm: float) -> None:
        """Take the sentence for the user and the figures behind it."""
        super().__init__(message, hint)
        self.pieces = pieces
        self.more_mm = more_mm

    def finding(self) -> Finding:
        """Return it as a finding that stops the cutting files of this cloth."""
        return Finding(code="stock_short", severity="stop", message=self.message, hint=self.hint)


def stock_short(
    plan: Plan, cloth: str, stock: Stock, settings: NestSettings, *, stop: Stop = never
) -> StockShort:
    """Return the error for a plan with pieces left over; `cloth`: its name."""
    left: Counter[str] = Counter()
    for part, count in zip(plan.parts, plan.left, strict=True):
        for member in part.members:
            left[member.piece] += count
    pieces = {name: count for name, count in sorted(left.items()) if count}
    more = _length_of(plan, settings, stop)
    there = ", ".join(
        f"'{roll.id}' {roll.length_mm / 1000:.2f} m" for roll in stock.rolls if roll.length_mm
    )
    ways = ["Add a roll or a longer one"]
    ways += ["nest fewer kits"] * (settings.kits + settings.mirrored_kits > 1)
    ways += ["let it search for some seconds"] * (settings.seconds == 0)
    return StockShort(
        f"The stock of cloth '{cloth}' is too short by about {more / 1000:.2f} m: "
        f"{_named(pieces)} found no place (there is {there}).",
        ", or ".join(ways) + ".",
        pieces,
        more,
    )


def _named(pieces: dict[str, int]) -> str:
    names = [f"'{name}'" + f" ({count} x)" * (count > 1) for name, count in pieces.items()]
    if len(names) > NAMED:
        names = [*names[:NAMED], f"{len(names) - NAMED} more"]
    number = sum(pieces.values())
    return f"{number} piece{'s' * (number > 1)}, {', '.join(names)},"


def _length_of(plan: Plan, settings: NestSettings, stop: Stop) -> float:
    """Return the roll length that what is left takes, on the last roll that is wide enough."""
    rolls = [bin_ for bin_ in plan.bins if bin_.kind == "roll"]
    seconds = min(ESTIMATING[0] * settings.seconds, ESTIMATING[1])
    left, length = list(plan.left), 0.0
    for bin_ in reversed(rolls):
        now = [
            n if _wide_enough(bin_, part) else 0 for part, n in zip(plan.parts, left, strict=True)
        ]
        if any(now):
            length += _laid_alone(plan.parts, now, bin_, settings, Clock(seconds, stop=stop))
            left = [n - m for n, m in zip(left, now, strict=True)]
    return length


def _wide_enough(bin_: Bin, part: Part) -> bool:
    return lying_turn(part, bin_.strip.height) is not None


def _laid_alone(
    parts: Sequence[Part], counts: Sequence[int], bin_: Bin, settings: NestSettings, clock: Clock
) -> float:
    endless = Strip(low_y=bin_.strip.low_y, high_y=bin_.strip.high_y)
    spots, _ = shelve(parts, counts, endless, settings.gap_mm)
    if clock.left > 0:
        found = StripLayer(settings).lay(parts, counts, endless, clock)
        spots = min(spots, found, key=lambda layout: reach(parts, layout))
    return reach(parts, spots) + settings.gap_mm
