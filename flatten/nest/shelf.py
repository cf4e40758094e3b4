"""The simple layout that stands at once: bounding boxes in columns across the roll."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from shapely import Polygon

from ..arrays import Floats
from .geometry import cos_sin
from .part import Part, Spot
from .turns import flush_turns

Box = tuple[float, float, float, float]
FIT_MM = 1e-6  # rounding of sums; what fits exactly fits


@dataclass(slots=True, kw_only=True)
class Strip:
    """A band to lay on: y from `low_y` to `high_y`, x from 0 to `length` (None: no end)."""

    low_y: float
    high_y: float
    length: float | None = None
    blocked: tuple[Polygon, ...] = field(default=())  # no-go zones

    @property
    def height(self) -> float:
        """Extent across the roll."""
        return self.high_y - self.low_y


def shelve(
    parts: Sequence[Part], left: Sequence[int], strip: Strip, gap: float
) -> tuple[list[Spot], list[int]]:
    """Lay as many copies as fit, longest first, in columns across the strip.

    Parameters
    ----------
    left : copies still to lay, for each part

    Returns
    -------
    the spots, and how many copies of each part did not fit
    """
    left = list(left)
    spots: list[Spot] = []
    wanted = [i for i in range(len(parts)) if left[i]]
    order = sorted(wanted, key=lambda i: _by_length(parts[i], strip.height))
    column = _Column(strip, gap)
    for i in order:
        turn = lying_turn(parts[i], strip.height)
        if turn is None:
            continue
        box = turned_box(parts[i], turn)
        while left[i] and (at := column.take(box[2] - box[0], box[3] - box[1])):
            spots.append(Spot(i, at[0] - box[0], at[1] - box[1], turn))
            left[i] -= 1
    return spots, left


def lying_turn(part: Part, height: float) -> float | None:
    """Return the allowed turn that takes least length and fits the height, None where none."""
    turns = part.turns.to_try() or (0.0, 90.0, *flush_turns(part.outline))
    low_x, low_y, high_x, high_y = _turned_boxes(part, turns)
    length = np.where(high_y - low_y <= height + FIT_MM, np.round(high_x - low_x, 6), np.inf)
    best = int(np.argmin(length))  # the first of equals
    return turns[best] if np.isfinite(length[best]) else None


def turned_box(part: Part, turn: float) -> Box:
    """Return the bounding box of the part's outline, turned about its origin."""
    x0, y0, x1, y1 = (float(side[0]) for side in _turned_boxes(part, (turn,)))
    return x0, y0, x1, y1


def _turned_boxes(part: Part, turns: Sequence[float]) -> tuple[Floats, Floats, Floats, Floats]:
    """Return low x, low y, high x, high y, each (n,), at every turn."""
    points = np.asarray(part.outline.convex_hull.exterior.coords).T
    cosine, sine = np.array([cos_sin(turn) for turn in turns]).T[:, :, None]
    x, y = cosine * points[0] - sine * points[1], sine * points[0] + cosine * points[1]
    return x.min(axis=1), y.min(axis=1), x.max(axis=1), y.max(axis=1)


def _by_length(part: Part, height: float) -> tuple[float, float, str]:
    turn = lying_turn(part, height)
    x0, y0, x1, y1 = turned_box(part, turn or 0.0)
    return -round(x1 - x0, 6), -round(y1 - y0, 6), part.members[0].piece


class _Column:
    """Hands out places: up the column, then the next column."""

    def __init__(self, strip: Strip, gap: float) -> None:
        self._strip = strip
        self._gap = gap
        self._blocked: list[Box] = [zone.bounds for zone in strip.blocked]
        self._x = 0.0
        self._next_x = 0.0
        self._y = strip.low_y

    def take(self, length: float, height: float) -> tuple[float, float] | None:
        """Return the low corner of a free box of this size, None where the strip is full."""
        while True:
            end = self._strip.length
            if end is not None and self._x + length > end + FIT_MM:
                return None
            y = self._free_y(length, height)
            if y is not None:
                x = self._x
                self._y = y + height + self._gap
                self._next_x = max(self._next_x, x + length + self._gap)
                return x, y
            self._start_column(length)

    def _free_y(self, length: float, height: float) -> float | None:
        y = self._y
        while y + height <= self._strip.high_y + FIT_MM:
            hit = self._hit(self._x, y, self._x + length, y + height)
            if hit is None:
                return y
            y = hit[3]
        return None

    def _hit(self, x0: float, y0: float, x1: float, y1: float) -> Box | None:
        for zone in self._blocked:
            if x0 < zone[2] and zone[0] < x1 and y0 < zone[3] and zone[1] < y1:
                return zone
        return None

    def _start_column(self, length: float) -> None:
        """Move on past the column's longest piece; in an empty column, past the nearest flaw."""
        if self._next_x > self._x:
            self._x = self._next_x
        else:
            ahead = [zone[2] for zone in self._blocked if zone[2] > self._x]
            self._x = min(ahead) if ahead else self._x + length
        self._next_x = self._x
        self._y = self._strip.low_y
