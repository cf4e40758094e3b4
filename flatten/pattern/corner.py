"""Strips along edges and what fills the corners between them: the parts an allowance is made of."""

from __future__ import annotations

from typing import Literal

import numpy as np
from shapely import Polygon

from ..arrays import Floats

Corner = Literal["mitre", "round"]
MITRE_LIMIT = 2.0  # a mitre reaches out this many widths at most; sharper corners are cut off
ROUND_MM = 0.02  # the height of a round corner's chords; their ends lie on the circle


def strip(a: Floats, b: Floats, wide_a: float, wide_b: float) -> Polygon | None:
    """Return the strip outside one edge, (2,) to (2,) mm, as wide as told at its ends."""
    if np.linalg.norm(b - a) <= 0 or max(wide_a, wide_b) <= 0:
        return None
    out = outward(unit(b - a))
    return _filled([a, a + wide_a * out, b + wide_b * out, b])


def fill(
    before: Floats, here: Floats, after: Floats, w_in: float, w_out: float, corner: Corner
) -> Polygon | None:
    """Return what fills an outer corner between two strips; None at inner and straight ones.

    `before`, `here`, `after` are (2,) mm: the corner and its neighbours along the outline.

    Round corners only join strips of one width; others are mitred, so that laps fit.
    """
    d_in, d_out = unit(here - before), unit(after - here)
    turn = float(np.arctan2(cross(d_in, d_out), d_in @ d_out))
    if turn <= 1e-9 or max(w_in, w_out) <= 0:
        return None
    start, end = here + w_in * outward(d_in), here + w_out * outward(d_out)
    if corner == "round" and w_in == w_out:
        return _filled([here, start, *_arc(here, w_in, d_in, turn), end])
    if turn > np.pi - 1e-6:
        return None
    reach = cross(end - start, d_out) / cross(d_in, d_out)
    tip = start + reach * d_in  # where the two cut lines meet
    if reach < 0 or (tip - end) @ d_out > 1e-6:
        return None
    limit = MITRE_LIMIT * max(w_in, w_out)
    if np.linalg.norm(tip - here) <= limit:
        return _filled([here, start, tip, end])
    return _filled([here, start, *_cut_off(here, start, tip, end, limit), end])


def outward(direction: Floats) -> Floats:
    """Return the normal (2,) to the right: outside, with the piece on the left."""
    return np.array([direction[1], -direction[0]])


def unit(vector: Floats) -> Floats:
    """Return the unit vector (2,) along another; zero for zero."""
    length = float(np.linalg.norm(vector))
    return np.asarray(vector / length) if length > 0 else np.zeros(2)


def cross(a: Floats, b: Floats) -> float:
    """Return the cross product of two flat vectors (2,)."""
    return float(a[0] * b[1] - a[1] * b[0])


def _cut_off(here: Floats, start: Floats, tip: Floats, end: Floats, limit: float) -> list[Floats]:
    """Return where a mitre too long is cut off, at right angles to its middle, at `limit`."""
    middle = unit(tip - here)
    level = max(limit, float((start - here) @ middle), float((end - here) @ middle))
    cut = []
    for foot in (start, end):
        low, high = float((foot - here) @ middle), float((tip - here) @ middle)
        share = (level - low) / (high - low) if high > low else 0.0
        cut.append(foot + min(max(share, 0.0), 1.0) * (tip - foot))
    return cut


def _arc(middle: Floats, radius: float, d_in: Floats, turn: float) -> list[Floats]:
    """Return the inner corners of a polyline whose corners lie on a round corner."""
    step = 2 * np.arccos(max(1 - ROUND_MM / radius, 0.0))
    count = int(np.ceil(turn / step))
    angles = np.arctan2(*outward(d_in)[::-1]) + np.arange(1, count) * turn / count
    return [middle + radius * np.array([np.cos(a), np.sin(a)]) for a in angles]


def _filled(corners: list[Floats]) -> Polygon | None:
    area = Polygon(corners)
    return area if area.is_valid and area.area > 0 else None
