"""Notches: marks at equal lengths on the mould, of one number on both sides of a joint."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import shapely
from shapely import LineString, Polygon

from ..arrays import Floats
from .joints import JointCurve
from .outline import Outline
from .pattern import EdgeRun, Notch
from .settings import Dressing
from .slits import KERF_MM, lips

# How far a tab's foot reaches into the piece, so that both are one outline on a curved edge too.
FOOT_MM = 0.5
NO_SLIT = (np.zeros(0), np.zeros((0, 2)), np.zeros(0))
# A joint turns a corner where it bends by more within this far of a notch: the notch is moved off.
BEND_DEG, BEND_MM = 30.0, 8.0


def notch_distances(length_mm: float, every_mm: float) -> Floats:
    """Return where notches sit along a joint: equal steps of at most `every_mm`, ends left out.

    A joint shorter than one step gets one notch, off the middle, so that it cannot be laid
    the wrong way round.
    """
    if length_mm <= every_mm:
        return np.array([0.4 * length_mm])
    count = int(np.ceil(length_mm / every_mm))
    return np.arange(1, count) * (length_mm / count)


def off_corners(wanted: Floats, curve: JointCurve) -> Floats:
    """Return notch distances (k,) mm off a bent joint's corners, the same for both sides."""
    order = np.argsort(curve.at_mm, kind="stable")
    at, points = curve.at_mm[order], curve.points[order]
    step = np.diff(points, axis=0)
    length = np.linalg.norm(step, axis=1)
    if curve.closed or (length <= 0).any():
        return wanted
    ahead = step / length[:, None]
    bend = np.degrees(np.arccos(np.clip((ahead[1:] * ahead[:-1]).sum(axis=1), -1, 1)))
    moved = wanted.copy()
    for corner in at[1:-1][bend > BEND_DEG]:
        near = np.abs(moved - corner) < BEND_MM
        moved[near] = corner + BEND_MM
    inside = (moved > 0) & (moved < curve.length_mm)
    return np.where(inside, moved, wanted)


def place_notches(
    outline: Outline, cut: Polygon, curves: Mapping[int, JointCurve], dressing: Dressing
) -> tuple[Notch, ...]:
    """Return the notches of a piece, on its cut line; numbers run through all joints of a ply."""
    first, number = 1, {}
    for joint, curve in sorted(curves.items()):
        number[joint] = first
        first += len(notch_distances(curve.length_mm, dressing.notch_every_mm))
    notches = []
    closed = {
        side.joint: (at_mm, middle, opening) for side, middle, opening, at_mm in lips(outline.runs)
    }
    for run in outline.runs:
        if run.joint not in number:
            continue
        wanted = off_corners(
            notch_distances(curves[run.joint].length_mm, dressing.notch_every_mm),
            curves[run.joint],
        )
        low, high = run.mould_mm.min(), run.mould_mm.max()
        for k, distance in enumerate(wanted):
            if low < distance < high:
                notch = _notch(run, distance, number[run.joint] + k, cut, dressing)
                notches.append(_on_slit(notch, distance, *closed.get(run.joint, NO_SLIT)))
    return tuple(notches)


def _on_slit(
    notch: Notch, distance: float, at_mm: Floats, middle: Floats, opening: Floats
) -> Notch:
    """Return the notch where the two sides of a dart touch or overlap: at the knife's own line.

    That runs in the middle. The way out from the net crosses the cloth of the other side there,
    and would end at the far edge of the piece.
    """
    if not len(at_mm) or np.interp(distance, at_mm, opening) >= KERF_MM:
        return notch
    knife = np.array([np.interp(distance, at_mm, middle[:, i]) for i in (0, 1)])
    return replace(notch, at=knife - notch.outward * KERF_MM / 2)


def with_tabs(cut: Polygon, notches: Sequence[Notch]) -> tuple[Polygon, tuple[Notch, ...]]:
    """Return the cut outline with its notch tabs, and the notches as they can be made.

    A tab must stand on cloth that is left over: where it would lie on the piece itself, as over
    the other side of a closed dart, or on another tab, the notch is drawn as a mark instead.
    """
    grown, made = cut, []
    for notch in notches:
        if notch.style == "tab":
            tab = _tab(notch)
            free = tab.difference(cut.buffer(FOOT_MM))
            clear = tab.intersection(grown).area <= FOOT_MM * notch.length_mm + 0.1 * tab.area
            together = grown.union(tab)
            if clear and not free.is_empty and isinstance(together, Polygon):
                grown = together
            else:
                notch = replace(notch, style="mark")
        made.append(notch)
    return shapely.orient_polygons(grown), tuple(made)


def _tab(notch: Notch) -> Polygon:
    """Return a tab: as wide as it is long at its foot, half as wide at its tip."""
    out, length = notch.outward, notch.length_mm
    side = np.array([-out[1], out[0]]) * length / 2
    foot, tip = notch.at - FOOT_MM * out, notch.at + out * length
    left, right = notch.at - side, notch.at + side
    return Polygon([foot - side, left, tip - side / 2, tip + side / 2, right, foot + side])


def _notch(run: EdgeRun, distance: float, number: int, cut: Polygon, dressing: Dressing) -> Notch:
    """Return one notch: on the net at its mould distance, carried straight out to the cut line."""
    order = np.argsort(run.mould_mm, kind="stable")
    mould = run.mould_mm[order]
    points = run.points[order]
    k = int(np.clip(np.searchsorted(mould, distance) - 1, 0, len(mould) - 2))
    share = (distance - mould[k]) / (mould[k + 1] - mould[k])
    on_net = points[k] + share * (points[k + 1] - points[k])
    along = points[k + 1] - points[k]
    if order[0] > order[-1]:
        along = -along
    along = along / max(float(np.linalg.norm(along)), 1e-12)
    outward = np.array([along[1], -along[0]])
    return Notch(
        at=on_net + outward * _to_cut_line(on_net, outward, cut),
        outward=outward,
        number=number,
        joint=run.joint,
        style=dressing.notch_style,
        length_mm=dressing.notch_length_mm,
    )


def _to_cut_line(on_net: Floats, outward: Floats, cut: Polygon) -> float:
    """Return how far outwards from the net the piece goes on, mm."""
    x0, y0, x1, y1 = cut.bounds
    reach = float(np.hypot(x1 - x0, y1 - y0))
    ray = LineString([on_net - 0.01 * outward, on_net + reach * outward])
    inside = ray.intersection(cut)
    parts = getattr(inside, "geoms", [inside])
    start = LineString([on_net - 0.01 * outward, on_net + 0.01 * outward])
    for part in parts:
        if isinstance(part, LineString) and part.length and part.distance(start) < 1e-3:
            ends = (np.array(part.coords) - on_net) @ outward
            return max(float(ends.max()), 0.0)
    return 0.0
