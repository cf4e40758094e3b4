"""Relief of tight concave curves: slits in the trim there, so that it can be turned over an edge.

They end short of the net line: only trim is slit, never a fibre of the part.
"""

from __future__ import annotations

import numpy as np
import shapely
from shapely import LineString
from shapely.geometry.base import BaseGeometry

from ..arrays import Floats
from .corner import cross, outward, unit
from .outline import Loop, Outline
from .slits import KERF_MM

# Common practice, no source: a slit for each 30 degrees a trim is turned round an inner curve
# tighter than three trim widths, ending 3 mm off the net; trims under 8 mm give way by themselves.
EACH_DEG = 30.0
TIGHT_WIDTHS = 3.0
SHORT_OF_NET_MM = 3.0
NARROWEST_MM = 8.0


def relief_slits(outline: Outline, trim_mm: float) -> list[BaseGeometry]:
    """Return the strips the knife takes out of the trim at tight concave curves of the net.

    Only the flat allowance beyond the mould's edge is slit; where the trim is draped over the
    mould the cloth shears to fit.
    """
    if trim_mm < NARROWEST_MM:
        return []
    keep = outline.net.buffer(SHORT_OF_NET_MM)
    if not outline.covered.equals(outline.net):
        keep = keep.union(outline.covered)
    slits = []
    for loop in outline.loops:
        for here, out in _tight_places(loop, trim_mm):
            line = LineString([here, here + 2 * trim_mm * out])
            strip = line.buffer(KERF_MM / 2, cap_style="flat").difference(keep)
            parts = [part for part in shapely.get_parts(strip) if part.distance(line) < KERF_MM]
            if parts:
                slits.append(min(parts, key=lambda part: part.distance(shapely.Point(here))))
    return slits


def _tight_places(loop: Loop, trim_mm: float) -> list[tuple[Floats, Floats]]:
    """Return points of the net and the way out, where the trim wants a slit."""
    points, count = loop.points, len(loop.points)
    steps = np.roll(points, -1, axis=0) - points
    lengths = np.linalg.norm(steps, axis=1)
    trimmed = np.array([kind in ("trim", "hole") for kind in loop.kinds])
    turn = np.zeros(count)
    for i in range(count):
        if trimmed[i] and trimmed[i - 1] and lengths[i] > 0 and lengths[i - 1] > 0:
            a, b = unit(steps[i - 1]), unit(steps[i])
            turn[i] = np.arctan2(cross(a, b), a @ b)
    window = TIGHT_WIDTHS * trim_mm * np.radians(EACH_DEG) / 2
    places, owed = [], 0.0
    for i in range(count):
        inner = max(-turn[i], 0.0)
        owed = owed + inner if inner else owed * (lengths[i - 1] < window)
        if owed >= np.radians(EACH_DEG) - 1e-9 and _turned_near(turn, lengths, i, window):
            out = unit(outward(unit(steps[i - 1])) + outward(unit(steps[i])))
            places.append((points[i], out))
            owed = 0.0
    return places


def _turned_near(turn: Floats, lengths: Floats, at: int, window: float) -> bool:
    """Tell whether the edge turns in by the full angle within a window either side."""
    total, count = -turn[at], len(turn)
    for step in (1, -1):
        walked, i = 0.0, at
        while True:
            walked += float(lengths[i if step > 0 else i - 1])
            i = (i + step) % count
            if walked > window or i == at:
                break
            total -= turn[i]
    return bool(total >= np.radians(EACH_DEG) - 1e-9)
