"""Fewer corners in a cut line, never inside of it: what a knife need not follow is left out."""

from __future__ import annotations

import numpy as np
import shapely
from shapely import Polygon

from ..arrays import Floats

LONGEST_STRETCH = 32  # corners one straight cut may replace at a time
# Which corners lie between the first and each end tried, and which steps lead there.
BETWEEN = np.tri(LONGEST_STRETCH + 1, dtype=bool)
STEPS = np.tri(LONGEST_STRETCH + 1, k=1, dtype=bool)
ROUND_SHARES = (0.5, 0.3, 0.1, 0.05, 0.03, 0.02)  # of the deviation allowed, round by round


def smooth_outward(polygon: Polygon, within_mm: float) -> Polygon:
    """Return a polygon that covers the given one and stays within `within_mm` of it.

    Corners that lie inside of a straight line between two others, and no further from it, are
    left out: the jitter of a triangulated edge goes, true corners and the points of outward
    arcs stay as they are. Where the result would cross itself the polygon is returned as given.
    """
    if within_mm <= 0 or polygon.is_empty:
        return polygon
    turned = shapely.orient_polygons(polygon)
    rings = [_smooth(np.array(ring.coords)[:-1], within_mm) for ring in _rings(turned)]
    smooth = Polygon(rings[0], rings[1:])
    return smooth if smooth.is_valid else polygon


def _rings(polygon: Polygon) -> list[shapely.LinearRing]:
    return [polygon.exterior, *polygon.interiors]


def _smooth(ring: Floats, within_mm: float) -> Floats:
    """Return the corners of a ring that are kept; all of those left out lie `within_mm`."""
    for part in ROUND_SHARES:
        fewer = _one_round(ring, part * within_mm)
        if len(fewer) == len(ring):
            break
        ring = fewer
    return ring


def _one_round(ring: Floats, within_mm: float) -> Floats:
    """Return the corners of a ring (material on its left) that are kept."""
    first = _outermost(ring)
    closed = np.vstack([ring[first:], ring[:first], ring[first : first + 1]])
    kept, here = [0], 0
    while here < len(closed) - 1:
        here += _reach(closed[here : here + LONGEST_STRETCH + 1], within_mm)
        kept.append(here)
    return closed[kept[:-1]] if len(kept) > 3 else ring


def _outermost(ring: Floats) -> int:
    """Return a corner no straight line may replace: the lowest, then leftmost."""
    return int(np.lexsort([ring[:, 0], ring[:, 1]])[0])


def _reach(points: Floats, within_mm: float) -> int:
    """Return the furthest point a straight line from the first may go to; at least the next.

    The points between must lie to its left, close to it and in order.
    """
    if len(points) < 3 or _turns_out(points):
        return 1
    chord = points[2:] - points[0]  # (j,) to each end tried
    length = np.maximum(np.hypot(chord[:, 0], chord[:, 1]), 1e-300)
    offset = points[1:-1] - points[0]  # (k,) the points left out
    left = chord[:, :1] * offset[:, 1] - chord[:, 1:] * offset[:, 0]
    left = left / length[:, None]
    ahead = np.diff(points, axis=0) @ chord.T  # (step, j)
    between = BETWEEN[: len(chord), : len(offset)]
    steps = STEPS[: len(chord), : len(points) - 1]
    fine = (((left >= -1e-9) & (left <= within_mm)) | ~between).all(axis=1)
    fine &= length > 1e-9
    fine &= ((ahead.T >= 0) | ~steps).all(axis=1)
    reached = np.flatnonzero(fine)
    return int(reached[-1]) + 2 if len(reached) else 1


def _turns_out(points: Floats) -> bool:
    """Tell whether the next few corners all turn left: an outward arc, nothing to leave out."""
    a, b, c, d = points[0], points[1], points[2], points[min(3, len(points) - 1)]
    first = (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
    second = (b[0] - a[0]) * (d[1] - a[1]) - (b[1] - a[1]) * (d[0] - a[0])
    size = 1e-9 * max(abs(c - a).max(), abs(d - a).max(), 1e-9)
    return bool(first > size and second > size)
