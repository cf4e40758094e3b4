"""In which order a machine draws: marks before cuts, holes before outlines, the nearest next."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..arrays import Floats
from .drawing import Drawing, Line

MOST_TO_SORT = 4000  # lines of a layer; beyond, the order given is kept: it is by piece already


def in_pen_order(drawing: Drawing) -> Drawing:
    """Return the drawing with its lines in the order a machine should draw them.

    Layer by layer by their pen; on a cut layer the pieces from the left to the right, a piece's
    holes before its outline, so that it still lies firm; otherwise always the nearest next.
    """
    ordered: list[Line] = []
    at = np.zeros(2)
    for layer in sorted(drawing.layers, key=lambda layer: layer.pen):
        lines = [line for line in drawing.lines if line.layer == layer.name]
        run = _piece_by_piece(lines) if layer.cuts else _nearest_next(lines, at)
        ordered += run
        if run:
            at = run[-1].points[0 if run[-1].closed else -1]
    return replace(drawing, lines=tuple(ordered))


def _piece_by_piece(lines: list[Line]) -> list[Line]:
    left: dict[str, float] = {}
    for line in lines:
        start = float(line.points[:, 0].min())
        left[line.piece] = min(start, left.get(line.piece, start))

    def rank(line: Line) -> tuple[float, str, float]:
        size = float(np.prod(np.ptp(line.points, axis=0)))
        return (round(left[line.piece], 3), line.piece, size)

    return sorted(lines, key=rank)


def _nearest_next(lines: list[Line], start: Floats) -> list[Line]:
    """Order greedily; open lines may be drawn from either end. Ties: the earlier line."""
    if not lines or len(lines) > MOST_TO_SORT:
        return lines
    first = np.array([line.points[0] for line in lines])
    last = np.array([line.points[0 if line.closed else -1] for line in lines])
    open_ = np.ones(len(lines), bool)
    at, ordered = start, []
    for _ in lines:
        to_first = np.where(open_, np.linalg.norm(first - at, axis=1), np.inf)
        to_last = np.where(open_, np.linalg.norm(last - at, axis=1), np.inf)
        i = int(np.minimum(to_first, to_last).round(3).argmin())
        line = lines[i]
        if to_last[i] < to_first[i] and line.bulge is None:
            line = replace(line, points=line.points[::-1])
            at = first[i]
        else:
            at = last[i]
        ordered.append(line)
        open_[i] = False
    return ordered
