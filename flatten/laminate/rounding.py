"""Numbers as the scale shows them: rounded parts that add up to the rounded total."""

from __future__ import annotations

import math
from collections.abc import Sequence

DIGITS = 9  # of a multiple of the step: below any scale, above the noise of the arithmetic
SLACK = 1e-9  # of a step: a whole number of steps stays one


def add_up(parts: Sequence[float], step: float) -> tuple[tuple[float, ...], float]:
    """Return the parts and their total in whole steps; the parts add up to the total exactly.

    Each part is off by less than one step. Largest remainder method: the steps left over go to
    the parts that lost most, ties to the earlier one.
    """
    counts, total = _apportion(parts, step)
    return tuple(steps_to_value(count, step) for count in counts), steps_to_value(total, step)


def steps_to_value(count: int, step: float) -> float:
    """Return `count` steps as the number a person reads, without the noise of binary digits."""
    return round(count * step, DIGITS)


def nearest_step(value: float, step: float) -> int:
    """Return how many steps come nearest to `value`; half steps go up."""
    return math.floor(value / step + 0.5 + SLACK)


def _apportion(parts: Sequence[float], step: float) -> tuple[list[int], int]:
    total = nearest_step(math.fsum(parts), step)
    counts = [math.floor(part / step + SLACK) for part in parts]
    lost = [part / step - count for part, count in zip(parts, counts, strict=True)]
    for index in sorted(range(len(parts)), key=lambda i: (-lost[i], i))[: total - sum(counts)]:
        counts[index] += 1
    return counts, total
