"""Laps over the other side of a dart: cut along that side, and on from its end to the rim."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import shapely
from shapely import LineString, Point
from shapely.geometry.base import BaseGeometry

from ..arrays import Floats
from .corner import unit
from .outline import Outline
from .pattern import EdgeRun
from .slits import KERF_MM, dart_pairs

TOUCH_MM = 1e-3  # what is no further apart than this touches
ALONG_MM = 3.0  # the way on from an edge's end is that of so much of it: not of one triangle


def without_strays(
    laps: Sequence[tuple[int, BaseGeometry]], outline: Outline, rest: BaseGeometry
) -> list[BaseGeometry]:
    """Return the laps, given as (joint, area), without what lies beyond the other side's line.

    Cut off along that line it would hang on the other side's trim. `rest` is what else is cut.
    """
    sides = {under.joint: (over, under) for over, under in _lapped(outline)}
    kept = []
    for joint, lap in laps:
        if joint in sides:
            over, under = sides[joint]
            knife = LineString(_carried_on(under, outline, lap))
            alone = lap.difference(rest).difference(knife.buffer(TOUCH_MM / 2))
            edge = LineString(over.points)
            strays = [part for part in shapely.get_parts(alone) if part.distance(edge) > TOUCH_MM]
            lap = lap.difference(shapely.unary_union(strays).buffer(TOUCH_MM))
        kept.append(lap)
    return kept


def under_slits(outline: Outline, cloth: BaseGeometry) -> list[BaseGeometry]:
    """Return the slits along the under side of lapped darts, where the lap may reach across.

    From its end at the rim the knife goes straight on, to where it leaves the cloth.
    """
    # One strip: quads would leave bridges at its bends. A lap without strays ends at this line.
    near = cloth.buffer(KERF_MM)
    lines = [LineString(_carried_on(under, outline, near)) for _, under in _lapped(outline)]
    return [line.buffer(-KERF_MM, single_sided=True, join_style="mitre") for line in lines]


def _lapped(outline: Outline) -> Iterator[tuple[EdgeRun, EdgeRun]]:
    """Yield the over and the under side of each lapped joint of the piece with itself."""
    for pair in dart_pairs(outline.rim_runs):
        for over, under in (pair, pair[::-1]):
            if under.kind == "lap_under":
                yield over, under


def _carried_on(run: EdgeRun, outline: Outline, area: BaseGeometry) -> Floats:
    """Return a run's points (k, 2), from its ends at the rim carried straight on out of an area."""
    tips = np.concatenate([loop.points[loop.tips] for loop in outline.rims])
    left, bottom, right, top = area.bounds
    far = (right - left) + (top - bottom)
    line, parts = LineString(run.points), [run.points]
    for at in (0, -1):
        end = run.points[at]
        if (tips == end).all(axis=1).any():
            continue  # the end of the dart
        back = line.interpolate(ALONG_MM if at == 0 else -ALONG_MM)
        on = unit(end - np.array(back.coords[0]))
        inside = shapely.get_parts(LineString([end, end + far * on]).intersection(area))
        first = [part.length for part in inside if part.distance(Point(end)) <= TOUCH_MM]
        parts.insert(0 if at == 0 else len(parts), (end + max(first, default=0.0) * on)[None])
    return np.vstack(parts)
