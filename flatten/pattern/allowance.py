"""What is added round the net before it is cut: trim and laps outwards, butted edges bare."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise
from typing import Literal

import numpy as np
import shapely
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from ..arrays import Floats
from ..errors import InputError
from .outline import Loop, Outline, run_starts
from .pattern import EdgeRun
from .slits import KERF_MM, dart_pairs, dart_slits, largest

Corner = Literal["mitre", "round"]
MITRE_LIMIT = 2.0  # a mitre reaches out this many widths at most; sharper corners are cut off
GAP_MM = 0.5  # a crack in the cut outline narrower than this is closed: no knife follows it
ROUND_MM = 0.02  # how far a round corner's chords may stand outside its arc


def allowance(
    outline: Outline,
    *,
    trim_mm: float,
    lap_mm: float | Mapping[int, float],
    corner: Corner = "round",
) -> Polygon:
    """Return the cut outline: the net, its draped trim strip, and the flat allowances.

    Trim goes outwards and, around openings, inwards by `trim_mm`; a lap of `lap_mm` (one for
    all joints, or by joint number) stands on the over side of a joint only; butted and under
    edges stay on the net line, and the neighbouring allowance ends on their continuation. It
    cannot cross itself, since it is a union; where it lies over the other side of a dart, a
    slit of `KERF_MM` keeps the two apart.

    Raises
    ------
    InputError : the lap is wider than the piece
    """
    laps = {
        run.joint: lap_mm if isinstance(lap_mm, float | int) else lap_mm.get(run.joint, 0.0)
        for run in outline.runs
        if run.kind == "lap_over"
    }
    _refuse_wide_lap(outline, max(laps.values(), default=0.0))
    widths = [_widths(loop, trim_mm, laps) for loop in outline.loops]
    parts = [
        area
        for loop, width in zip(outline.loops, widths, strict=True)
        for area in _loop_areas(loop, width, corner)
    ]
    added = _close_cracks(shapely.unary_union([outline.covered, *parts]))
    slits = [*dart_slits(outline.runs), *_under_slits(outline.runs)]
    if slits:
        added = added.difference(shapely.unary_union(slits))
    return shapely.orient_polygons(largest(added.union(outline.net)))


def _widths(loop: Loop, trim_mm: float, laps: Mapping[int, float]) -> Floats:
    """Return the allowance (k,) mm of each edge of a loop."""
    trimmed = ("trim", "hole")
    return np.array(
        [
            trim_mm if kind in trimmed else laps[joint] if kind == "lap_over" else 0.0
            for kind, joint in zip(loop.kinds, loop.joints.tolist(), strict=True)
        ]
    )


def _refuse_wide_lap(outline: Outline, lap_mm: float) -> None:
    box = shapely.minimum_rotated_rectangle(outline.net)
    narrow = np.linalg.norm(np.diff(np.array(box.exterior.coords), axis=0), axis=1).min()
    if lap_mm > narrow:
        raise InputError(
            f"The lap is {lap_mm:g} mm, but the piece is only {narrow:.1f} mm wide.",
            "Reduce the lap, or move the cut.",
        )


def _loop_areas(loop: Loop, width: Floats, corner: Corner) -> list[BaseGeometry]:
    """Return the flat allowance of each stretch of a loop, cut off at its neighbours."""
    starts, count, areas = run_starts(loop), len(loop.kinds), []
    for start, stop in zip(starts, [*starts[1:], starts[0] + count], strict=True):
        wide = float(width[start])
        if wide <= 0:
            continue
        whole = len(starts) == 1
        at = np.arange(start, stop + 1) % count
        points = loop.points[at]
        pieces = [_quad(a, b, wide) for a, b in pairwise(points)]
        ring = np.vstack([points[-2:-1], points]) if whole else points
        for before, here, after in zip(ring, ring[1:], ring[2:], strict=False):
            pieces.append(_corner(before, here, after, wide, wide, corner))
        area = shapely.unary_union([piece for piece in pieces if piece is not None])
        if not whole:
            area = _join(loop, area, width, start, wide, ends=False)
            area = _join(loop, area, width, stop % count, wide, ends=True)
        areas.append(area)
    return areas


def _join(
    loop: Loop,
    area: BaseGeometry,
    width: Floats,
    vertex: int,
    wide: float,
    *,
    ends: bool,
) -> BaseGeometry:
    """Return a run's area mitred with the run it meets at a vertex, and cut off beyond it."""
    count = len(loop.kinds)
    before, here, after = (loop.points[(vertex + i) % count] for i in (-1, 0, 1))
    other = float(width[vertex if ends else vertex - 1])
    w_in, w_out = (wide, other) if ends else (other, wide)
    wedge = _corner(before, here, after, w_in, w_out, "mitre")
    if wedge is not None:
        area = area.union(wedge)
    guard = _guard(before, here, after, wide, other, ends=ends)
    return area.difference(guard) if guard is not None else area


def _guard(
    before: Floats, here: Floats, after: Floats, wide: float, other: float, *, ends: bool
) -> BaseGeometry | None:
    """Return the ground beyond the neighbour's own cut line that a run must not spread on to."""
    d_in, d_out = _unit(here - before), _unit(after - here)
    if _cross(d_in, d_out) <= 1e-9:
        return None
    along = -d_out if ends else d_in  # the neighbour's edge, carried on past the corner
    out = _outward(d_out if ends else d_in)
    reach = 4 * wide + other
    base = here + other * out
    return Polygon([base, base + reach * along, base + reach * (along + out), base + reach * out])


def _quad(a: Floats, b: Floats, wide: float) -> BaseGeometry | None:
    """Return the strip outside one edge."""
    if np.linalg.norm(b - a) <= 0:
        return None
    out = wide * _outward(_unit(b - a))
    return Polygon([a, a + out, b + out, b])


def _corner(
    before: Floats, here: Floats, after: Floats, w_in: float, w_out: float, corner: Corner
) -> BaseGeometry | None:
    """Return what fills an outer corner between two strips; None at inner and straight ones."""
    d_in, d_out = _unit(here - before), _unit(after - here)
    turn = float(np.arctan2(_cross(d_in, d_out), d_in @ d_out))
    if turn <= 1e-9 or max(w_in, w_out) <= 0:
        return None
    start, end = here + w_in * _outward(d_in), here + w_out * _outward(d_out)
    if corner == "round" and w_in == w_out:
        return Polygon([here, start, *_arc(here, w_in, d_in, turn), end])
    if turn > np.pi - 1e-6:
        return None
    # the two cut lines meet at start + a d_in
    reach = _cross(end - start, d_out) / _cross(d_in, d_out)
    tip = start + reach * d_in
    if reach < 0 or _cross(tip - end, d_out) > 1e-6:
        return None
    limit = MITRE_LIMIT * max(w_in, w_out)
    if np.linalg.norm(tip - here) <= limit:
        return _filled([here, start, tip, end])
    return _filled([here, start, *_cut_off(here, start, tip, end, limit), end])


def _cut_off(here: Floats, start: Floats, tip: Floats, end: Floats, limit: float) -> list[Floats]:
    """Return where a mitre too long is cut off, at right angles to its middle, at `limit`."""
    middle = _unit(tip - here)
    level = max(limit, float((start - here) @ middle), float((end - here) @ middle))
    cut = []
    for foot in (start, end):
        low, high = float((foot - here) @ middle), float((tip - here) @ middle)
        share = (level - low) / (high - low) if high > low else 0.0
        cut.append(foot + min(max(share, 0.0), 1.0) * (tip - foot))
    return cut


def _filled(corners: list[Floats]) -> BaseGeometry | None:
    area = Polygon(corners)
    return area if area.is_valid and area.area > 0 else None


def _arc(middle: Floats, radius: float, d_in: Floats, turn: float) -> list[Floats]:
    """Return the corners of a polyline that touches a round corner from outside."""
    step = 2 * np.arccos(radius / (radius + ROUND_MM))
    count = int(np.ceil(turn / step))
    angles = np.arctan2(*_outward(d_in)[::-1]) + (np.arange(count) + 0.5) * turn / count
    outside = radius / np.cos(turn / count / 2)
    return [middle + outside * np.array([np.cos(a), np.sin(a)]) for a in angles]


def _close_cracks(area: BaseGeometry) -> BaseGeometry:
    """Return an area with cracks narrower than `GAP_MM` filled; nothing is taken away."""
    half = GAP_MM / 2
    closed = area.buffer(half, join_style="mitre", mitre_limit=2).buffer(
        -half, join_style="mitre", mitre_limit=2
    )
    filled = closed.difference(area)
    cracks = [part for part in shapely.get_parts(filled) if part.area > 1e-9]
    return area.union(shapely.unary_union(cracks)) if cracks else area


def _under_slits(runs: tuple[EdgeRun, ...]) -> list[BaseGeometry]:
    """Return the slits along the under side of lapped darts, where the lap may reach across."""
    slits: list[BaseGeometry] = []
    for pair in dart_pairs(runs):
        for run in pair:
            if run.kind == "lap_under" and len(run.points) > 1:
                slits += [
                    strip
                    for a, b in pairwise(run.points)
                    if (strip := _quad(a, b, KERF_MM)) is not None
                ]
    return slits


def _outward(direction: Floats) -> Floats:
    """Return the normal to the right of a direction: outside, with the piece on the left."""
    return np.array([direction[1], -direction[0]])


def _unit(vector: Floats) -> Floats:
    length = float(np.linalg.norm(vector))
    return np.asarray(vector / length) if length > 0 else np.zeros(2)


def _cross(a: Floats, b: Floats) -> float:
    return float(a[0] * b[1] - a[1] * b[0])
