"""The gate for outlines: what the search library would choke on is refused or put right here."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import ArrayLike
from shapely import LinearRing, Polygon
from shapely.geometry.polygon import orient
from shapely.validation import explain_validity

from ..arrays import Floats, frozen_floats
from ..errors import InputError

SAME_POINT_MM = 1e-6  # closer points are one: far below any cutter
SMALLEST_AREA_MM2 = 1.0  # a smaller piece is a slip of the outline, not cloth
FARTHEST_MM = 1e5  # the search library counts in single precision and stops beyond this


def sound_polygon(name: str, outline: ArrayLike | Polygon) -> Polygon:
    """Return a valid counter-clockwise polygon without repeated points, mm.

    Parameters
    ----------
    name : the thing it belongs to, for messages
    outline : (k, 2) points in order, closed or not, or a polygon that may have holes

    Raises
    ------
    InputError : fewer than three points, NaN, no area, crossing itself, beyond 100 m
    """
    if isinstance(outline, Polygon):
        outer = _ring(name, np.asarray(outline.exterior.coords)[:, :2])
        holes = [_ring(name, np.asarray(hole.coords)[:, :2]) for hole in outline.interiors]
    else:
        outer, holes = _ring(name, outline), []
    if not LinearRing(outer).is_simple:
        _refuse_crossing(name, Polygon(outer))
    polygon = Polygon(outer, _big_enough(holes))
    if not polygon.area > SMALLEST_AREA_MM2:
        raise InputError(
            f"{name}: its outline encloses {polygon.area:.3g} mm2.", "Draw it around some cloth."
        )
    if not polygon.is_valid:
        _refuse_crossing(name, polygon)
    return orient(polygon)


def _ring(name: str, points: ArrayLike) -> Floats:
    """Return (k, 2) points without repeats, not closed."""
    ring = frozen_floats(f"{name}: outline", points, (None, 2))
    if len(ring) and np.abs(ring).max() > FARTHEST_MM:
        raise InputError(
            f"{name}: its outline reaches {np.abs(ring).max():.3g} mm.",
            "Check the scale of the part; pieces beyond 100 m cannot be nested.",
        )
    step = np.linalg.norm(ring - np.roll(ring, 1, axis=0), axis=1)
    ring = np.array(ring[step > SAME_POINT_MM])
    if len(ring) < 3:
        raise InputError(
            f"{name}: its outline has {len(ring)} different points.", "Give at least three."
        )
    return ring


def _big_enough(holes: Iterable[Floats]) -> list[Floats]:
    return [hole for hole in holes if Polygon(hole).area > SMALLEST_AREA_MM2]


def _refuse_crossing(name: str, polygon: Polygon) -> None:
    where = explain_validity(polygon).partition("[")[2].rstrip("]").replace(" ", ", ")
    at = f" at ({where}) mm" if where else ""
    if polygon.is_valid:
        return
    raise InputError(
        f"{name}: its outline crosses or touches itself{at}.",
        "Untangle it there; a ply that overlaps itself needs a splice.",
    )
