"""Where on a sheet the aids disturb the drawing least: square, scales, name, words at an edge."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
import shapely
from shapely import LineString
from shapely.geometry.base import BaseGeometry

from ..arrays import Floats
from .drawing import Drawing, Line, Text
from .fonts import width_mm

EDGE_SHARES = (0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8, 0.12, 0.88)  # of an edge: places for words
GRAIN_MM, MOST_PLACES = 10.0, 24  # step of the places tried for the square, and how many a side
EDGE_FREE_MM = 5.0  # the square keeps off the edge
FRAME_MM = 3.0  # either side of the square's lines
STEP_MM = 1.0  # lines are counted in dots this far apart
HATCH_MM = 1.5  # to cover a text costs more than to cross a line
OVER_MARK = 50.0  # mm of crossed lines that an aid over a mark is as bad as

FINE_MM = 3.0  # step across a strip, of which more places are tried
MARK_MM = 5.0  # half the size of an alignment mark, and a little

Corner = tuple[float, float]
Box = tuple[float, float, float, float]  # left, bottom, right, top


class Quiet:
    """What is drawn on one sheet, as dots (k, 2) mm; answers where there is least of it."""

    def __init__(self, dots: Floats, size: tuple[float, float]) -> None:
        self.dots, self.size = dots, size

    def square(self, side: float) -> tuple[float, float] | None:
        """Return the left lower corner for a square whose frame crosses nothing, if any does."""
        places = [
            (x, y) for y in _places(self.size[1] - side) for x in _places(self.size[0] - side)
        ]
        return next((at for at in places if not self._in_frame(at[0], at[1], side)), None)

    def strip(self, size: Corner, end: float, marks: Sequence[Floats], taken: Sequence[Box]) -> Box:
        """Return where a strip of this size (mm) crosses least, above all within `end` of its ends.

        Off the middles of `marks` (2,) and off the boxes `taken`.
        """
        wide, tall = size
        flat = wide > tall
        step = (GRAIN_MM, FINE_MM) if flat else (FINE_MM, GRAIN_MM)
        places = [
            (x, y, x + wide, y + tall)
            for y in _places(self.size[1] - tall, step[1])
            for x in _places(self.size[0] - wide, step[0])
        ]

        def cost(spot: Box) -> float:
            left, bottom, right, top = spot
            tip = 2 * end
            ends: tuple[Box, Box] = (
                (left, bottom, left + tip, top),
                (right - tip, bottom, right, top),
            )
            if not flat:
                ends = ((left, bottom, right, bottom + tip), (left, top - tip, right, top))
            met = sum(_meet(spot, (*(m - MARK_MM), *(m + MARK_MM))) for m in marks)
            met += sum(_meet(spot, other) for other in taken)
            return self._inside(spot) + OVER_MARK * (met + sum(map(self._inside, ends)))

        return min(places, key=cost)

    def name(self, wide: float, tall: float, taken: Sequence[Box]) -> Corner:
        """Return the left lower corner for a name: in a corner or the middle, off what is taken.

        Inside a square it may stand.
        """
        rights, tops = self.size[0] - wide - 8, self.size[1] - tall - 8
        places = [(x, y) for y in (10.0, tops, tops / 2) for x in (10.0, rights, rights / 2)]

        def cost(at: Corner) -> float:
            spot = (at[0] - 2, at[1] - 2, at[0] + wide + 2, at[1] + tall + 2)
            met = sum(_meet(spot, box) and not _well_inside(spot, box) for box in taken)
            return self._inside(spot) + 2 * OVER_MARK * met

        return min(places, key=cost)

    def along_edge(
        self, edge: tuple[Floats, Floats], words: str, size: float, marks: Sequence[Floats]
    ) -> Floats:
        """Return the middle for words along an edge, upright or level, clear of its marks."""
        start, end = edge
        upright = bool(start[0] == end[0])
        half = width_mm(words, size) / 2 + 2
        reach = np.array([size, half] if upright else [half, size])

        def cost(share: float) -> float:
            at = start + share * (end - start)
            low, high = at - reach, at + reach
            close = [m for m in marks if (m > low - 4).all() and (m < high + 4).all()]
            return self._inside((*low, *high)) + OVER_MARK * len(close)

        middle: Floats = start + min(EDGE_SHARES, key=cost) * (end - start)
        return middle

    def _inside(self, spot: Box) -> int:
        x, y = self.dots.T
        return int(np.sum((x > spot[0]) & (x < spot[2]) & (y > spot[1]) & (y < spot[3])))

    def _in_frame(self, x: float, y: float, side: float) -> int:
        outer = (x - FRAME_MM, y - FRAME_MM, x + side + FRAME_MM, y + side + FRAME_MM)
        inner = (x + FRAME_MM, y + FRAME_MM, x + side - FRAME_MM, y + side - FRAME_MM)
        return self._inside(outer) - self._inside(inner)


def as_path(line: Line) -> LineString:
    """Return a line as shapely knows it, arcs as chords, closed ones with their end."""
    points = line.straightened()
    return LineString(np.vstack([points, points[:1]]) if line.closed else points)


def everything_drawn(drawings: Iterable[Drawing]) -> Floats:
    """Return all lines, and all texts as hatched boxes, as dots (k, 2) mm."""
    parts: list[BaseGeometry] = []
    for drawing in drawings:
        parts += [as_path(line) for line in drawing.lines]
        parts += [_hatched(text) for text in drawing.texts]
    dots: Floats = shapely.get_coordinates(shapely.segmentize(np.array(parts), STEP_MM))
    return dots


def _meet(one: Box, other: Box) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def _well_inside(spot: Box, box: Box) -> bool:
    """Whether a name is within a square, clear of the ticks on its left and lower sides."""
    low = box[0] + 12 < spot[0] and box[1] + 12 < spot[1]
    return low and spot[2] < box[2] and spot[3] < box[3]


def _places(last: float, step: float = GRAIN_MM) -> list[float]:
    """Return the places tried along one side, so many mm apart or more."""
    most = MOST_PLACES * GRAIN_MM / step
    count = int(np.clip((last - EDGE_FREE_MM) / step, 0, most)) + 1
    return [float(at) for at in np.linspace(EDGE_FREE_MM, max(last, EDGE_FREE_MM), count)]


def _hatched(text: Text) -> BaseGeometry:
    """Return the box of a text as close lines; text that stands aslant takes a square."""
    wide, tall = max(width_mm(text.text, text.height_mm) / 2, 0.1), text.height_mm
    if text.turn_deg % 180 == 90:
        wide, tall = tall, wide
    elif text.turn_deg % 180:
        wide = tall = max(wide, tall)
    x, y = text.at
    rows = np.arange(y - tall, y + tall + HATCH_MM, HATCH_MM)
    return shapely.MultiLineString([[(x - wide, row), (x + wide, row)] for row in rows])
