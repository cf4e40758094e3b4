"""Which length of a dart to try next, from the lengths tried and by how much each locked."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

# A length is approached from above, where the cloth lies down and its shear changes smoothly with
# the length; just below, it may buckle in several ways.
ONWARD, APART_SHARE, APART_MM = 1.08, 0.08, 3.0  # while it locks; to the second point of the line
NEAR_MM = 5.0  # a line through two drapes is trusted so far beyond them
# From a length far above the second is a shorter one, short of where it locks by so many degrees
# were the fall as steep as on the steepest of trays, degrees a mm; with `CLEARLY_DEG` it is above.
SHY_DEG, STEEP, CLEARLY_DEG = 3.0, 2.5, 6.0
FALLS_DEG = 0.01  # a dart longer by `APART_MM` lowers the shear by more than this
LEAST_SHARE = 0.8  # of the shorter one it is followed to at most: far above, shear falls slowly
SHARPLY = 0.95  # no more is asked between a length that locks and one that lies, so near to it
NEVER_DEG = 180.0  # an excess no cloth has: nothing is known

Tried = Sequence[tuple[float, float]]


def next_grown(
    tried: Tried, shortest_mm: float, longest_mm: float, growth: float
) -> tuple[float, bool]:
    """Return the next dart length to try, or about the one looked for and True, mm.

    `tried` holds lengths and the excess of each, degrees. Longer by `growth` while all lock,
    shorter while none does; then a line between a length that locks and one that lies, or
    through two that lie and a little beyond them, tells where it is zero.
    """
    points = sorted(tried)
    lies = [point for point in points if point[1] <= 0]
    if not lies:
        longest = points[-1][0]
        return min(longest * growth, longest_mm), longest >= longest_mm
    short, root = lies[0], _root(lies)
    low = max((point for point in points if point[0] < short[0]), default=None)
    if low is not None and low[1] < NEVER_DEG:
        return _between(low, short), True
    least = short[0] / growth if low is None else low[0]
    if root >= max(least, short[0] / np.sqrt(growth)):
        return root, True
    if low is None:
        return max(root, least, shortest_mm), short[0] <= shortest_mm
    middle = float(np.sqrt(least * short[0]))
    return middle, middle > SHARPLY * short[0]


def _between(low: tuple[float, float], short: tuple[float, float]) -> float:
    """Return where the line from a length that locks to one that lies is zero."""
    return low[0] + (short[0] - low[0]) * low[1] / (low[1] - short[1])


def _root(lies: Tried) -> float:
    """Return where the line through the two shortest that lie is zero; 0 where it does not fall."""
    if len(lies) < 2 or lies[0][1] - lies[1][1] < FALLS_DEG:
        return 0.0
    (a, at_a), (b, at_b) = lies[:2]
    return a - at_a * (b - a) / (at_b - at_a)


def shortest_that_lies(tried: Tried, otherwise_mm: float) -> float:
    """Return the shortest length tried at which the cloth lies, mm."""
    return min((length for length, excess in tried if excess <= 0), default=otherwise_mm)


def next_length(tried: Tried, longest_mm: float) -> tuple[float, bool]:
    """Return the next dart length to try, and whether it is the one looked for, mm.

    `tried` holds lengths and the excess of each, degrees. Two that lie give a line; it is trusted
    `NEAR_MM` beyond the shorter one, and never below a length at which the cloth locked. Where the
    shorter one only just lies its end may sit badly among its triangles: three give the line.
    """
    points = sorted(tried)
    lies = [point for point in points if point[1] <= 0]
    if not lies:
        longest = points[-1][0]
        return min(longest * ONWARD, longest_mm), longest >= longest_mm
    short = lies[0]
    locked = [p for p in points if 0 < p[1] < NEVER_DEG and p[0] < short[0]]
    if len(lies) == 1 and locked and short[0] - locked[-1][0] > NEAR_MM:
        root = _between(locked[-1], short)
        return min(root + 0.5 * NEAR_MM, 0.5 * (root + short[0])), False
    shorter = min((-short[1] - SHY_DEG) / STEEP, (1 - LEAST_SHARE) * short[0])
    if len(lies) == 1 and shorter > APART_MM:
        return short[0] - shorter, False
    beyond = [p for p in lies[1:] if p[1] < short[1] - FALLS_DEG]
    if not beyond and len(lies) > 1 and short[1] < -CLEARLY_DEG:
        return LEAST_SHARE * short[0], False  # far above where it begins to fall
    if not beyond:
        onward = points[-1][0] + max(APART_MM, APART_SHARE * short[0])
        if points[-1][0] >= longest_mm or len(lies) > 2:
            return short[0], True  # making it longer changes nothing
        return min(onward, longest_mm), False
    long = beyond[0]
    if short[1] > -SHY_DEG and long[0] - short[0] > NEAR_MM:
        return 0.5 * (short[0] + long[0]), False
    root = short[0] - short[1] * (long[0] - short[0]) / (long[1] - short[1])
    if short[1] > -SHY_DEG and len(beyond) > 1 and beyond[1][0] - short[0] < 2 * NEAR_MM:
        length, excess = np.array([short, *beyond[:2]]).T
        slope, at_zero = np.polyfit(length, excess, 1)
        root = min(-float(at_zero / slope), short[0])
    least = max((length for length, excess in points if excess > 0), default=0.0)
    root = max(root, least, LEAST_SHARE * short[0])
    if short[0] - root <= NEAR_MM:
        return root, True
    return root + 0.5 * NEAR_MM, False
