"""Fewer corners in a cut line, never inside of it: what a knife need not follow is left out."""

from __future__ import annotations

import numpy as np
import shapely
from shapely import Polygon

from ..arrays import Floats

LONGEST_STRETCH = 64  # corners one straight cut may replace


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
    """Return the corners of a ring (material on its left) that are kept."""
    first = _outermost(ring)
    closed = np.vstack([ring[first:], ring[:first], ring[first : first + 1]])
    kept, here = [0], 0
    while here < len(closed) - 1:
        reach = here + 1
        for there in range(here + 2, min(here + LONGEST_STRETCH, len(closed))):
            if not _lies_within(closed[here : there + 1], within_mm):
                break
            reach = there
        kept.append(reach)
        here = reach
    return closed[kept[:-1]] if len(kept) > 3 else ring


def _outermost(ring: Floats) -> int:
    """Return a corner no straight line may replace: the lowest, then leftmost."""
    return int(np.lexsort([ring[:, 0], ring[:, 1]])[0])


def _lies_within(points: Floats, within_mm: float) -> bool:
    """Tell whether inner points lie left of the line between the ends, close and in order."""
    along = points[-1] - points[0]
    length = float(np.hypot(*along))
    if length == 0:
        return False
    offset = points[1:-1] - points[0]
    left = (along[0] * offset[:, 1] - along[1] * offset[:, 0]) / length
    ahead = np.diff((points - points[0]) @ along)
    return bool((left >= -1e-9).all() and (left <= within_mm).all() and (ahead >= 0).all())
