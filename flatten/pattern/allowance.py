"""What is added round the net before it is cut: trim and laps outwards, butted edges bare."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import NamedTuple

import numpy as np
import shapely
from shapely import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from ..arrays import Floats
from ..errors import InputError
from .corner import MITRE_LIMIT, Corner, cross, fill, outward, strip, unit
from .dart_laps import under_slits, without_strays
from .outline import Loop, Outline, run_starts
from .slits import dart_slits, largest
from .smooth import smooth_outward
from .snips import relief_slits

GAP_MM = 0.5  # a crack in the cut outline narrower than this is closed: no knife follows it
GRID_MM = 1e-7  # areas that touch along an edge are joined on it: rounding leaves no crack there
STRIP_MM = 0.3  # how far the strip's outer edge may be off: it is found to 1 % of its width
FULL_SHARE = 0.95  # a strip this near to the full width is full: it is known to 1 % or so


def allowance(
    outline: Outline,
    *,
    trim_mm: float,
    lap_mm: float | Mapping[int, float],
    corner: Corner = "round",
    relieve: bool = False,
    smooth_mm: float = 0.0,
    faces: Iterable[int] = (),
) -> Polygon:
    """Return the cut outline: the net, its draped trim strip, and the flat allowances.

    Trim goes outwards and, around openings, inwards by `trim_mm`, over the mould as far as
    the drape covers it and flat beyond its edge; a lap of `lap_mm` (one for all joints, or by
    joint number) stands on the over side of a joint only; butted and under edges stay on the
    net line, and the neighbouring allowance ends on their continuation. It cannot cross itself,
    since it is a union; where it lies over the other side of a dart, a slit of `KERF_MM` keeps
    the two apart. `relieve`: slit the trim at tight concave curves; `smooth_mm`: how far the
    line may be moved outwards to have fewer corners; `faces` of the mould go with an error.

    Raises
    ------
    InputError : the lap is wider than the piece
    """
    joints = {run.joint for run in outline.rim_runs if run.kind in ("lap_over", "lap_under")}
    laps = {
        joint: lap_mm if isinstance(lap_mm, float | int) else lap_mm.get(joint, 0.0)
        for joint in joints
    }
    _refuse_wide_laps(outline, laps, faces)
    areas: list[BaseGeometry] = [outline.net, outline.covered]
    over: list[tuple[int, BaseGeometry]] = []
    for loop in outline.rims:
        for edge, area in _loop_areas(loop, _widths(loop, trim_mm, laps), corner):
            if loop.kinds[edge] == "lap_over":
                over.append((int(loop.joints[edge]), area))
            else:
                areas.append(area)
    areas += without_strays(over, outline, shapely.unary_union(areas))
    added = _close_cracks(shapely.unary_union(areas, grid_size=GRID_MM))
    added = smooth_outward(largest(added), smooth_mm)
    if smooth_mm > 0 and outline.covered is not outline.net:
        added = _calm_strip(outline, added)
    slits = [*dart_slits(outline.rim_runs), *under_slits(outline, added)]
    if relieve:
        slits += relief_slits(outline, trim_mm)
    if slits:
        added = largest(added.difference(shapely.unary_union(slits)).union(outline.net))
    return shapely.orient_polygons(added)


def _calm_strip(outline: Outline, cut: Polygon) -> Polygon:
    """Return the cut line without the small steps of the draped strip's outer edge.

    They are filled outwards by no more than `STRIP_MM`, and only away from joints: trim may be
    a little wider, a lap may not.
    """
    joints = [LineString(run.points) for run in outline.rim_runs if run.joint >= 0]
    keep_off = shapely.union_all(joints).buffer(1.0)
    filled = smooth_outward(cut, STRIP_MM).difference(cut)
    steps = [part for part in shapely.get_parts(filled) if not part.intersects(keep_off)]
    calm = cut.union(shapely.unary_union(steps)) if steps else cut
    return largest(calm)


def _widths(loop: Loop, trim_mm: float, laps: Mapping[int, float]) -> Floats:
    """Return the allowance (k, 2) mm at the start and the end of each edge of a loop."""
    left = np.maximum(trim_mm - loop.beyond / FULL_SHARE, 0.0)
    ends = np.column_stack([left, np.roll(left, -1)])
    for i, (kind, joint) in enumerate(zip(loop.kinds, loop.joints.tolist(), strict=True)):
        if kind not in ("trim", "hole"):
            ends[i] = laps[joint] if kind == "lap_over" else 0.0
    return np.maximum(ends, 0.0)


def _refuse_wide_laps(outline: Outline, laps: Mapping[int, float], faces: Iterable[int]) -> None:
    """Refuse a lap that reaches further than the piece itself does from the joint."""
    corners = np.array(outline.net.exterior.coords)
    for run in outline.runs:
        chord = run.points[-1] - run.points[0]
        if run.joint not in laps or not np.linalg.norm(chord) > 0:
            continue
        inward = -outward(unit(chord))
        depth = float(((corners - run.points[0]) @ inward).max())
        if laps[run.joint] > depth > 0:
            raise InputError(
                f"The lap is {laps[run.joint]:g} mm, but the piece is only {depth:.1f} mm wide.",
                "Reduce the lap, or move the cut.",
                faces=sorted(set(faces)),
            )


def _loop_areas(loop: Loop, widths: Floats, corner: Corner) -> list[tuple[int, BaseGeometry]]:
    """Return each stretch of a loop, by its first edge, and its flat allowance.

    That is cut off at its neighbours.
    """
    starts, count, areas = run_starts(loop), len(loop.kinds), []
    for start, stop in zip(starts, [*starts[1:], starts[0] + count], strict=True):
        edges = np.arange(start, stop) % count
        if not widths[edges].any():
            continue
        ends = np.stack([loop.points[edges], loop.points[(edges + 1) % count]])
        walked = np.concatenate([[0.0], np.cumsum(np.linalg.norm(ends[1] - ends[0], axis=1))])
        left = walked[-1] - walked
        pieces = [
            _Piece(strip(*ends[:, k], *widths[edge]), walked[k], left[k + 1])
            for k, edge in enumerate(edges)
        ]
        whole = len(starts) == 1
        for k, edge in enumerate(edges):
            if k or whole:
                before, here, beyond = (loop.points[(edge + i) % count] for i in (-1, 0, 1))
                wide = float(widths[edge, 0])
                shape = fill(before, here, beyond, wide, wide, corner)
                pieces.append(_Piece(shape, walked[k], left[k]))
        if not whole:
            pieces = _joined(loop, pieces, widths, start, ends=False)
            pieces = _joined(loop, pieces, widths, stop % count, ends=True)
        shapes = [piece.shape for piece in pieces if piece.shape is not None]
        areas.append((start, shapely.unary_union(shapes)))
    return areas


class _Piece(NamedTuple):
    """A part of a stretch's allowance, and how far from its start and its end it begins, mm."""

    shape: BaseGeometry | None
    from_start: float
    from_end: float


def _joined(
    loop: Loop, pieces: list[_Piece], widths: Floats, vertex: int, *, ends: bool
) -> list[_Piece]:
    """Return a run's pieces mitred with the run it meets at a vertex, and cut off beyond it.

    Only those near the vertex: the run may come back on the other side of a dart.
    """
    count = len(loop.kinds)
    before, here, after = (loop.points[(vertex + i) % count] for i in (-1, 0, 1))
    w_in, w_out = float(widths[vertex - 1, 1]), float(widths[vertex, 0])
    kinds = loop.kinds[vertex - 1], loop.kinds[vertex]
    if kinds[not ends] == "lap_over" or "lap_over" not in kinds:  # a lap's corner is its own
        there = (np.inf, 0.0) if ends else (0.0, np.inf)
        pieces = [*pieces, _Piece(fill(before, here, after, w_in, w_out, "mitre"), *there)]
    guard = _guard(before, here, after, w_in, w_out, ends=ends)
    if guard is None:
        return pieces
    near = MITRE_LIMIT * (w_in + w_out)  # no piece further on reaches back to the corner
    return [
        piece._replace(shape=piece.shape.difference(guard))
        if piece.shape is not None and (piece.from_end if ends else piece.from_start) <= near
        else piece
        for piece in pieces
    ]


def _guard(
    before: Floats, here: Floats, after: Floats, w_in: float, w_out: float, *, ends: bool
) -> Polygon | None:
    """Return the ground beyond the neighbour's own cut line that a run must not spread on to."""
    d_in, d_out = unit(here - before), unit(after - here)
    if cross(d_in, d_out) <= 1e-9:
        return None
    along = -d_out if ends else d_in  # the neighbour's edge, carried on past the corner
    out = outward(d_out if ends else d_in)
    other, wide = (w_out, w_in) if ends else (w_in, w_out)
    reach = 4 * wide + other
    base = here + other * out
    return Polygon([base, base + reach * along, base + reach * (along + out), base + reach * out])


def _close_cracks(area: BaseGeometry) -> BaseGeometry:
    """Return an area with cracks narrower than `GAP_MM` filled; nothing is taken away."""
    half = GAP_MM / 2
    closed = area.buffer(half, join_style="mitre", mitre_limit=2).buffer(
        -half, join_style="mitre", mitre_limit=2
    )
    cracks = [part for part in shapely.get_parts(closed.difference(area)) if part.area > 1e-9]
    return area.union(shapely.unary_union(cracks)) if cracks else area
