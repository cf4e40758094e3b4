"""Which sheets of a grid an area shows on."""

from __future__ import annotations

import shapely
from shapely import Polygon

GRID_MM = 1e-3
LEAST_MM2 = 0.01  # of a piece; a sheet that shows less is left out
LARGE = 60  # sheets: from here on a strip cut out first saves time

Pair = tuple[float, float]


def filled(
    area: Polygon, rows: int, columns: int, room: Pair, step: Pair
) -> list[tuple[int, int, float, float]]:
    """Return row, column and left lower corner of each sheet that shows some of the area.

    To each sheet counts what no lap strip of another already shows: `step` of its `room`, all of
    it in the last column and in row 0, the top one. A large grid is looked at strip by strip: the
    whole outline against each of its places takes minutes.
    """
    sound = area.buffer(0)  # moved by a rounding, lines that touched may cross
    _, low, _, high = sound.bounds
    large = rows * columns > LARGE
    found = []
    for column in range(columns):
        x = column * step[0]
        right = x + (room[0] if column == columns - 1 else step[0])
        strip = _inside(sound, x, low - 1, right, high + 1) if large else [sound]
        bottom = min((part.bounds[1] for part in strip), default=high)
        top = max((part.bounds[3] for part in strip), default=low)
        first = max(rows - 2 - int(top / step[1]), 0)  # one more each way: steps are rounded
        last = min(rows - int(max(bottom - room[1], 0) / step[1]), rows)
        for row in range(first, last):
            y = (rows - 1 - row) * step[1]
            upper = y + (room[1] if row == 0 else step[1])
            if y > top or upper < bottom:
                continue
            parts = (part for one in strip for part in _inside(one, x, y, right, upper))
            if sum(part.area for part in parts) > LEAST_MM2:
                found.append((row, column, x, y))
    return sorted(found)


def _inside(area: Polygon, left: float, bottom: float, right: float, top: float) -> list[Polygon]:
    """Return what is inside, on a grid: neither slits nor parts that touch in a point upset it."""
    box = shapely.box(left, bottom, right, top)
    inside = shapely.intersection(area, box, grid_size=GRID_MM)
    parts = shapely.get_parts(inside)  # of nothing: one polygon that is empty, without bounds
    return [part for part in parts if isinstance(part, Polygon) and not part.is_empty]
