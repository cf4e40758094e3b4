"""What is added round the net before it is cut: trim and laps outwards, butted edges bare."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np
import shapely
from shapely import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from ..arrays import Floats
from ..errors import InputError
from .corner import Corner, cross, fill, outward, strip, unit
from .outline import Loop, Outline, run_starts
from .pattern import EdgeRun
from .slits import KERF_MM, dart_pairs, dart_slits, largest
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
    parts = [
        area
        for loop in outline.rims
        for area in _loop_areas(loop, _widths(loop, trim_mm, laps), corner)
    ]
    areas = [outline.net, outline.covered, *parts]
    added = _close_cracks(shapely.unary_union(areas, grid_size=GRID_MM))
    added = smooth_outward(largest(added), smooth_mm)
    if smooth_mm > 0 and outline.covered is not outline.net:
        added = _calm_strip(outline, added)
    slits = [*dart_slits(outline.rim_runs), *_under_slits(outline.rim_runs)]
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


def _loop_areas(loop: Loop, widths: Floats, corner: Corner) -> list[BaseGeometry]:
    """Return the flat allowance of each stretch of a loop, cut off at its neighbours."""
    starts, count, areas = run_starts(loop), len(loop.kinds), []
    for start, stop in zip(starts, [*starts[1:], starts[0] + count], strict=True):
        edges = np.arange(start, stop) % count
        if not widths[edges].any():
            continue
        pieces = []
        for edge in edges:
            after = (edge + 1) % count
            pieces.append(strip(loop.points[edge], loop.points[after], *widths[edge]))
        whole = len(starts) == 1
        for edge in edges if whole else edges[1:]:
            before, here, beyond = (loop.points[(edge + i) % count] for i in (-1, 0, 1))
            wide = float(widths[edge, 0])
            pieces.append(fill(before, here, beyond, wide, wide, corner))
        area = shapely.unary_union([piece for piece in pieces if piece is not None])
        if not whole:
            area = _joined(loop, area, widths, start, ends=False)
            area = _joined(loop, area, widths, stop % count, ends=True)
        areas.append(area)
    return areas


def _joined(
    loop: Loop, area: BaseGeometry, widths: Floats, vertex: int, *, ends: bool
) -> BaseGeometry:
    """Return a run's area mitred with the run it meets at a vertex, and cut off beyond it."""
    count = len(loop.kinds)
    before, here, after = (loop.points[(vertex + i) % count] for i in (-1, 0, 1))
    w_in, w_out = float(widths[vertex - 1, 1]), float(widths[vertex, 0])
    wedge = fill(before, here, after, w_in, w_out, "mitre")
    if wedge is not None:
        area = area.union(wedge)
    guard = _guard(before, here, after, w_in, w_out, ends=ends)
    return area.difference(guard) if guard is not None else area


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


def _under_slits(runs: tuple[EdgeRun, ...]) -> list[BaseGeometry]:
    """Return the slits along the under side of lapped darts, where the lap may reach across."""
    slits: list[BaseGeometry] = []
    for pair in dart_pairs(runs):
        for run in pair:
            if run.kind == "lap_under":
                edge = LineString(run.points)  # one strip: quads would leave bridges at its bends
                slits.append(edge.buffer(-KERF_MM, single_sided=True, join_style="mitre"))
    return slits
