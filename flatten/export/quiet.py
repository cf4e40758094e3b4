"""Where on a sheet the aids disturb the drawing least: the square, the name, words at an edge."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
import shapely
from shapely import LineString, box
from shapely.affinity import translate
from shapely.geometry.base import BaseGeometry
from shapely.ops import substring

from .drawing import Drawing, Line, Text
from .fonts import width_mm

EDGE_SHARES = (0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8, 0.12, 0.88)  # of an edge: places for words
GRAIN_MM, MOST_PLACES = 10.0, 24  # step of the places tried for the square, and how many a side
EDGE_FREE_MM = 5.0  # the square keeps off the edge
HATCH_MM = 1.5  # to cover a text costs more than to cross a line
OVER_MARK = 50.0  # mm of crossed lines that an aid over a mark is as bad as


class Quiet:
    """What is drawn on one sheet; answers where there is least of it. Lengths in mm."""

    def __init__(self, busy: BaseGeometry, size: tuple[float, float]) -> None:
        self.busy, self.size = busy, size

    def square(self, side: float) -> tuple[float, float]:
        """Return the left lower corner for a square whose frame crosses least."""
        around = box(0, 0, side, side).exterior.buffer(3.0, join_style="mitre")
        places = [
            (x, y) for y in _places(self.size[1] - side) for x in _places(self.size[0] - side)
        ]
        return min(places, key=lambda at: self._crossed(translate(around, *at)))

    def name(self, wide: float, tall: float, frame: BaseGeometry) -> tuple[float, float]:
        """Return the left lower corner for a name, in a corner or the middle, off the `frame`."""
        rights, tops = self.size[0] - wide - 8, self.size[1] - tall - 8
        places = [(x, y) for y in (10.0, tops, tops / 2) for x in (10.0, rights, rights / 2)]

        def cost(at: tuple[float, float]) -> float:
            spot = box(at[0] - 2, at[1] - 2, at[0] + wide + 2, at[1] + tall + 2)
            return self._crossed(spot) + 2 * OVER_MARK * float(frame.intersects(spot))

        return min(places, key=cost)

    def along_edge(
        self, edge: LineString, words: str, size: float, marks: Sequence[shapely.Point]
    ) -> shapely.Point:
        """Return the middle for words along an edge, clear of its marks."""
        half = width_mm(words, size) / 2 + 2
        length = edge.length

        def cost(share: float) -> float:
            ends = [max(share * length - half, 0.0), min(share * length + half, length)]
            spot = substring(edge, *ends).buffer(size, cap_style="flat")
            covered = [mark for mark in marks if spot.distance(mark) < 4.0]
            return self._crossed(spot) + OVER_MARK * len(covered)

        return edge.interpolate(min(EDGE_SHARES, key=cost), normalized=True)

    def _crossed(self, spot: BaseGeometry) -> float:
        return round(float(spot.intersection(self.busy).length), 6)


def as_path(line: Line) -> LineString:
    """Return a line as shapely knows it, arcs as chords, closed ones with their end."""
    points = line.straightened()
    return LineString(np.vstack([points, points[:1]]) if line.closed else points)


def everything_drawn(drawings: Iterable[Drawing]) -> BaseGeometry:
    """Return all lines, and all texts as hatched boxes, as one geometry."""
    parts: list[BaseGeometry] = []
    for drawing in drawings:
        parts += [as_path(line) for line in drawing.lines]
        parts += [_hatched(text) for text in drawing.texts]
    return shapely.union_all(parts)


def _places(last: float) -> list[float]:
    """Return the places tried along one side."""
    count = int(np.clip((last - EDGE_FREE_MM) / GRAIN_MM, 0, MOST_PLACES)) + 1
    return [float(at) for at in np.linspace(EDGE_FREE_MM, max(last, EDGE_FREE_MM), count)]


def _hatched(text: Text) -> BaseGeometry:
    """Return the box of a text as close lines; turned text takes a square."""
    wide, tall = width_mm(text.text, text.height_mm) / 2, text.height_mm
    if text.turn_deg % 180:
        wide = tall = max(wide, tall)
    x, y = text.at
    rows = np.arange(y - tall, y + tall + HATCH_MM, HATCH_MM)
    return shapely.MultiLineString([[(x - wide, row), (x + wide, row)] for row in rows])
