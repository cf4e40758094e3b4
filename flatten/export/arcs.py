"""Arcs where arcs are: runs of short chords that lie on one circle become one arc."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..arrays import Floats
from .drawing import Line

FEWEST_CHORDS = 4  # fewer points lie on some circle by chance
STEEPEST_CHORD = np.radians(30.0)  # a longer chord was drawn as a straight edge
LARGEST_RADIUS_MM = 5000.0  # beyond, a cutter follows chords as well
WIDEST_ARC = np.radians(175.0)  # of one arc: half a circle has two centres


def with_arcs(line: Line, within_mm: float = 0.002) -> Line:
    """Return the line with runs of chords on one circle replaced by arcs.

    Every point left out lies within `within_mm` of its arc, and so do the middles of the
    chords but for the chord's own height. The start of a closed line moves to a corner.
    """
    if line.bulge is not None or len(line.points) < FEWEST_CHORDS + 1:
        return line
    points = line.points
    if line.closed:
        points = np.roll(points, -_corner(points), axis=0)
        points = np.vstack([points, points[:1]])
    kept, bulge, i = [points[0]], [], 0
    while i < len(points) - 1:
        j, value = _arc_from(points, i, within_mm)
        bulge.append(value)
        kept.append(points[j])
        i = j
    if line.closed:
        kept.pop()
    else:
        bulge.append(0.0)
    if not any(bulge):
        return line
    return replace(line, points=np.array(kept), bulge=np.array(bulge))


def _arc_from(points: Floats, i: int, within_mm: float) -> tuple[int, float]:
    """Return the end of the longest arc from point i and its bulge; (i + 1, 0) for none."""
    best = (i + 1, 0.0)
    j = i + FEWEST_CHORDS
    while j < len(points):
        fit = _one_arc(points[i : j + 1], within_mm)
        if fit is None:
            break
        best = (j, fit)
        j += 1
    return best


def _one_arc(points: Floats, within_mm: float) -> float | None:
    """Return the bulge of the arc through the ends and the middle, if all points lie on it."""
    centre = _centre(points[0], points[len(points) // 2], points[-1])
    if centre is None:
        return None
    spokes = points - centre
    radius = float(np.linalg.norm(spokes[0]))
    turns = np.arctan2(
        spokes[:-1, 0] * spokes[1:, 1] - spokes[:-1, 1] * spokes[1:, 0],
        (spokes[:-1] * spokes[1:]).sum(axis=1),
    )
    arc = float(turns.sum())
    fits = (
        radius <= LARGEST_RADIUS_MM
        and abs(arc) <= WIDEST_ARC
        and np.abs(np.linalg.norm(spokes, axis=1) - radius).max() <= within_mm
        and np.abs(turns).max() <= STEEPEST_CHORD
        and (np.sign(turns) == np.sign(arc)).all()
    )
    return float(np.tan(arc / 4)) if fits else None


def _centre(a: Floats, b: Floats, c: Floats) -> Floats | None:
    """Return the centre of the circle through three points; None where they lie on a line."""
    ab, ac = b - a, c - a
    double = 2 * float(ab[0] * ac[1] - ab[1] * ac[0])
    if abs(double) < 1e-9 * float(ac @ ac):
        return None
    ab2, ac2 = float(ab @ ab), float(ac @ ac)
    offset = np.array([ac[1] * ab2 - ab[1] * ac2, ab[0] * ac2 - ac[0] * ab2]) / double
    centre: Floats = a + offset
    return centre


def _corner(points: Floats) -> int:
    """Return the point after the longest edge: never in the middle of an arc, if one exists."""
    edges = np.linalg.norm(np.roll(points, -1, axis=0) - points, axis=1)
    return (int(edges.argmax()) + 1) % len(points)
