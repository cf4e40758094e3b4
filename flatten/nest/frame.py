"""What stands still in a search: flaws of a roll, and what an odd offcut lacks of a rectangle.

The library packs a plain strip and knows nothing that is fixed. So what must stay free goes along
as one more item, a frame as high as the strip: a wall at the left end, thin rails along both
edges, and all that is not cloth joined to them, flaws by thin stems. The frame has no room to move
across the strip, and hardly any along it where its rails are nearly as long as the layout;
wherever it ends up is taken as the place of the wall.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from shapely import Polygon, box
from shapely.geometry.base import BaseGeometry
from shapely.ops import unary_union

from .shelf import Strip

RAIL_MM = 0.02  # height of a rail: beyond its end a piece may lie this much over the margin
WALL_MM = 2.0
STEM_MM = 0.1
SPARE_MM = 0.006  # pieces are grown by this much more, so that single precision costs no gap
OPENING_MM = 0.05  # the frame of an offcut ends this much early: it must not close to a ring


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Frame:
    """A frame in the strip's coordinates: the wall's inner side is at x = `-grow`.

    Pieces are grown by `grow` mm all round before they are searched; the frame is not.
    """

    outline: Polygon
    grow: float

    def height(self, strip: Strip) -> float:
        """Return the height of the strip to search: that of the frame."""
        return strip.height + 2 * (self.grow + RAIL_MM)

    def grown(self, outline: Polygon) -> Polygon:
        """Return an outline half the gap larger; corners are mitred, never cut short."""
        return Polygon(_grown(outline, self.grow).exterior)


def roll_frame(free: BaseGeometry, strip: Strip, length: float, gap: float) -> Frame | None:
    """Return the frame of a roll with flaws, None where none is or one parts the strip.

    Parameters
    ----------
    free : the strip without its flaws, farther than `length`
    length : of the rails: hardly less than the layout will be
    """
    if not isinstance(free, Polygon) or free.area > 0.999999 * free.envelope.area:
        return None
    return _frame(free, strip, length, gap)


def offcut_frame(shape: Polygon, strip: Strip, gap: float) -> Frame | None:
    """Return the frame of an offcut that is no rectangle: what its bounding box has beside it."""
    grow = _grow(gap)
    return _frame(shape, strip, shape.bounds[2] + grow - OPENING_MM, gap)


def _frame(free: Polygon, strip: Strip, end: float, gap: float) -> Frame | None:
    grow = _grow(gap)
    low, high, left = strip.low_y - grow - RAIL_MM, strip.high_y + grow + RAIL_MM, -grow - WALL_MM
    bars = [
        box(left, low, -grow, high),
        box(left, low, end, low + RAIL_MM),
        box(left, high - RAIL_MM, end, high),
    ]
    rails = unary_union(bars)
    # Half the spare on this side: what touches the frame must not touch the flaw by rounding.
    taken = box(-grow, low, end, high).difference(_grown(free, grow - SPARE_MM / 2))
    for part in _polygons(taken):
        bars.append(part)
        if part.distance(rails) > 0:
            bars.append(_stem(part, low, high))
    outline = unary_union(bars)
    if not isinstance(outline, Polygon):
        return None
    return Frame(outline=Polygon(outline.exterior), grow=grow)


def _grow(gap: float) -> float:
    return gap / 2 + RAIL_MM + SPARE_MM


def _grown(shape: Polygon, by: float) -> Polygon:
    grown = shape.buffer(by, join_style="mitre", mitre_limit=3.0)
    return max(_polygons(grown), key=lambda polygon: polygon.area)


def _stem(part: Polygon, low: float, high: float) -> Polygon:
    """Return what hangs a flaw on the nearer edge."""
    x, y = part.representative_point().coords[0]
    end = low if y - low < high - y else high
    return box(x - STEM_MM / 2, min(y, end), x + STEM_MM / 2, max(y, end))


def _polygons(shape: BaseGeometry) -> Iterator[Polygon]:
    for part in getattr(shape, "geoms", [shape]):
        if isinstance(part, Polygon) and not part.is_empty:
            yield part
