"""Slits: where two edges of one piece lie on each other in the flat, the knife still goes."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
import shapely
from shapely import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from ..arrays import Bools, Floats, Ints
from .pattern import EdgeRun

# What a knife takes out: a slit is this wide in the outline, so that the outline stays a
# valid polygon and a cutter follows both sides of the slit.
KERF_MM = 0.2

LEAST_OPENING_MM2 = 1e-3  # rounding of a union leaves openings of 1e-9 mm2; no cloth has one

# Points of the flat this share of its size apart are one: the two sides of a closed dart differ by
# rounding, and their union would keep hairlines that part small pieces off where a slit is cut.
GRID_SHARE = 1e-11

SAME_AREA = 1e-9  # of an area summed up in two ways


def area_of(triangles: Floats) -> BaseGeometry:
    """Return the area covered by flat triangles (m, 3, 2), overlaps counted once."""
    ring = np.concatenate([triangles, triangles[:, :1]], axis=1)
    grid = GRID_SHARE * float(np.ptp(triangles.reshape(-1, 2), axis=0).max(initial=0.0))
    return shapely.set_precision(shapely.unary_union(shapely.polygons(ring)), grid)


def net_polygon(rings: Sequence[Floats], triangles: Floats, runs: Iterable[EdgeRun]) -> Polygon:
    """Return the net as a valid polygon: its rings, or its triangles slit where edges touch.

    `rings` (k, 2) mm, the outer one first; `triangles` (m, 3, 2) mm.

    A ring inside the first is an opening only where its edges run the other way round: cloth that
    lies twice over itself has rings inside each other too.
    """
    net = Polygon(rings[0], [ring for ring in rings[1:] if len(ring) > 2])
    slits = dart_slits(runs)
    signed = abs(sum(ring_area(ring) for ring in rings))
    if net.is_valid and net.area > 0 and abs(net.area - signed) <= SAME_AREA * signed:
        return shapely.orient_polygons(net)
    covered = area_of(triangles)
    if slits:
        covered = covered.difference(shapely.unary_union(slits))
    return shapely.orient_polygons(largest(covered))


def ring_area(points: Floats) -> float:
    """Return the signed area of a closed ring (k, 2), positive counter-clockwise."""
    x, y = points[:, 0], points[:, 1]
    return float(0.5 * (x * np.roll(y, -1) - y * np.roll(x, -1)).sum())


def largest(area: BaseGeometry) -> Polygon:
    """Return the largest polygon of an area, without openings no knife could cut."""
    parts = [part for part in shapely.get_parts(area) if isinstance(part, Polygon)]
    if not parts:
        return Polygon()
    piece = max(parts, key=lambda part: part.area)
    holes = [ring for ring in piece.interiors if Polygon(ring).area > LEAST_OPENING_MM2]
    return Polygon(piece.exterior, holes)


def dart_pairs(runs: Iterable[EdgeRun]) -> list[tuple[EdgeRun, EdgeRun]]:
    """Return the two sides of every joint that both lie on this piece."""
    sides: dict[int, list[EdgeRun]] = {}
    for run in runs:
        if run.joint >= 0:
            sides.setdefault(run.joint, []).append(run)
    return [(pair[0], pair[1]) for pair in sides.values() if len(pair) == 2]


def lips(runs: Iterable[EdgeRun]) -> list[tuple[EdgeRun, Floats, Floats, Floats]]:
    """Return one side of each joint of this piece with itself, and its `midline`.

    The two ends of a strip that runs once round a tube look away from each other, as two sides
    do that overlap, and where they step they are level, as two sides are that touch; they are
    told apart by how often the flat covers the middle between them.
    """
    runs = list(runs)
    found = []
    for pair in dart_pairs(runs):
        middle, opening, at = midline(pair)
        behind = np.flatnonzero((opening < -KERF_MM) | _level_but_apart(pair, middle, opening))
        single = behind[_layers(middle[behind], runs) < 2]
        opening[single] = np.maximum(np.abs(opening[single]), 2 * KERF_MM)
        found.append((pair[0], middle, opening, at))
    return found


def _level_but_apart(pair: tuple[EdgeRun, EdgeRun], middle: Floats, opening: Floats) -> Bools:
    """Return (k,) where two sides do not open across their line, and do not touch either."""
    points = shapely.points(middle)
    away = np.max([shapely.distance(points, LineString(run.points)) for run in pair], axis=0)
    return np.asarray((np.abs(opening) <= KERF_MM) & (away > KERF_MM))


def _layers(points: Floats, runs: Iterable[EdgeRun]) -> Ints:
    """Return (k,) how often the piece covers points: how often its edges run round them."""
    turned = np.zeros(len(points))
    for run in runs:
        x, y = (run.points[None] - points[:, None]).transpose(2, 0, 1)
        x0, x1, y0, y1 = x[:, :-1], x[:, 1:], y[:, :-1], y[:, 1:]
        turned += np.arctan2(x0 * y1 - x1 * y0, x0 * x1 + y0 * y1).sum(axis=1)
    return np.asarray(np.rint(turned / (2 * np.pi)), np.int64)


def midline(pair: tuple[EdgeRun, EdgeRun]) -> tuple[Floats, Floats, Floats]:
    """Return the middle (k, 2) between two sides, their opening (k,) mm and mould distance (k,).

    The opening is negative where the sides overlap in the flat.
    """
    at = np.unique(np.concatenate([run.mould_mm for run in pair]))
    sides = [_at_distance(run, at) for run in pair]
    across = sides[1] - sides[0]
    along = _direction(pair[0])
    outward = np.column_stack([along[:, 1], -along[:, 0]])  # the piece lies on the left
    order = np.argsort(pair[0].mould_mm)
    normal = np.column_stack(
        [np.interp(at, pair[0].mould_mm[order], outward[order, i]) for i in (0, 1)]
    )
    return (sides[0] + sides[1]) / 2, (across * normal).sum(axis=1), at


def dart_slits(runs: Iterable[EdgeRun]) -> list[BaseGeometry]:
    """Return the strips the knife takes where the two sides of a dart touch or overlap."""
    strips: list[BaseGeometry] = []
    for _, middle, opening, _ in lips(runs):
        tight = opening < KERF_MM
        for start, stop in stretches(tight):
            line = middle[max(start - 1, 0) : stop + 1]
            if len(line) > 1 and LineString(line).length > 0:
                strips.append(LineString(line).buffer(KERF_MM / 2, cap_style="square"))
    return strips


def stretches(true: Bools) -> list[tuple[int, int]]:
    """Return (start, stop) of each stretch of True."""
    edge = np.flatnonzero(np.diff(np.concatenate([[0], true.astype(int), [0]])))
    return [(int(a), int(b)) for a, b in zip(edge[::2], edge[1::2], strict=True)]


def _at_distance(run: EdgeRun, at: Floats) -> Floats:
    """Return the flat points (k, 2) of a run at mould distances."""
    order = np.argsort(run.mould_mm, kind="stable")
    return np.column_stack(
        [np.interp(at, run.mould_mm[order], run.points[order, i]) for i in (0, 1)]
    )


def _direction(run: EdgeRun) -> Floats:
    """Return the unit direction (k, 2) of a run at its points, as it is walked."""
    step = np.gradient(run.points, axis=0)
    length = np.linalg.norm(step, axis=1)
    return np.asarray(step / np.where(length > 0, length, 1)[:, None])
