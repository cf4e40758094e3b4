"""In which order a machine draws: marks before cuts, holes before outlines, no stretch twice."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from ..arrays import Floats
from .drawing import Drawing, Line

SAME_MM = 0.001  # no cutter tells closer points apart
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


def common_lines_once(drawing: Drawing) -> Drawing:
    """Return the drawing without lines drawn twice and without stretches cut twice.

    A line equal to another of its layer goes. Where two outlines of a cut layer share straight
    stretches, the later one opens there. Stretches are compared at 0.001 mm.
    """
    seen_lines: set[tuple[object, ...]] = set()
    seen_stretches: set[tuple[object, ...]] = set()
    kept: list[Line] = []
    cuts = {layer.name for layer in drawing.layers if layer.cuts}
    for line in _split_at_each_other(drawing.lines, cuts):
        name = (line.layer, line.closed, *_unordered_points(line))
        if name in seen_lines:
            continue
        seen_lines.add(name)
        kept += _unseen(line, seen_stretches) if line.layer in cuts else [line]
    return replace(drawing, lines=tuple(kept))


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


def _keys(points: Floats) -> list[tuple[int, int]]:
    return [(int(x), int(y)) for x, y in np.round(points / SAME_MM).astype(np.int64)]


def _unordered_points(line: Line) -> tuple[object, ...]:
    """Return a name equal for lines over the same points, whichever way and from wherever."""
    keys = _keys(line.points)
    bulge = () if line.bulge is None else tuple(np.abs(line.bulge).round(6).tolist())
    if not line.closed:
        return (min(tuple(keys), tuple(keys[::-1])), tuple(sorted(bulge)))
    best = []
    for way in (keys, keys[::-1]):
        i = way.index(min(way))
        best.append(tuple(way[i:] + way[:i]))
    return (min(best), tuple(sorted(bulge)))


def _unseen(line: Line, seen: set[tuple[object, ...]]) -> list[Line]:
    """Return the parts of a line not cut before; remember all its stretches."""
    keys = _keys(line.points)
    count = len(keys) if line.closed else len(keys) - 1
    bulge = np.zeros(len(keys)) if line.bulge is None else line.bulge
    names = []
    for i in range(count):
        pair = sorted((keys[i], keys[(i + 1) % len(keys)]))
        names.append((*pair, round(abs(float(bulge[i])), 6)))
    fresh = [name not in seen for name in names]
    seen.update(names)
    if all(fresh):
        return [line]
    if not any(fresh):
        return []
    return _open_parts(line, fresh)


def _open_parts(line: Line, fresh: list[bool]) -> list[Line]:
    """Return the runs of fresh stretches as open lines; a run may pass the start of a ring."""
    count, total = len(fresh), len(line.points)
    first = next(i for i in range(count) if fresh[i] and not (line.closed and fresh[i - 1]))
    parts, run = [], []
    for step in range(count):
        i = (first + step) % count
        if fresh[i]:
            run.append(i)
        if run and (not fresh[i] or step == count - 1):
            index = [*run, (run[-1] + 1) % total]
            bulge = None if line.bulge is None else np.append(line.bulge[run], 0.0)
            parts.append(replace(line, points=line.points[index], bulge=bulge, closed=False))
            run = []
    return parts


def _split_at_each_other(lines: Iterable[Line], cuts: set[str]) -> list[Line]:
    """Put corners of cut outlines into the straight stretches of others they lie on."""
    every = list(lines)
    ours = [line for line in every if line.layer in cuts and line.bulge is None]
    if len(ours) < 2:
        return every
    corners = np.concatenate([line.points for line in ours])
    owner = np.repeat(np.arange(len(ours)), [len(line.points) for line in ours])
    number = {id(line): i for i, line in enumerate(ours)}
    split = []
    for line in every:
        if id(line) in number:
            low, high = line.points.min(axis=0), line.points.max(axis=0)
            near = ((corners > low - SAME_MM) & (corners < high + SAME_MM)).all(axis=1)
            others = corners[near & (owner != number[id(line)])]
            split.append(_with_corners(line, others) if len(others) else line)
        else:
            split.append(line)
    return split


def _with_corners(line: Line, near: Floats) -> Line:
    points: list[Floats] = []
    count = len(line.points)
    for i in range(count if line.closed else count - 1):
        start, end = line.points[i], line.points[(i + 1) % count]
        points.append(start)
        along = end - start
        length = float(np.linalg.norm(along))
        if length < 2 * SAME_MM:
            continue
        unit = along / length
        offset = near - start
        at = offset @ unit
        off = np.abs(offset[:, 1] * unit[0] - offset[:, 0] * unit[1])
        on = np.sort(at[(off < SAME_MM / 2) & (at > SAME_MM) & (at < length - SAME_MM)])
        on = on[np.diff(on, prepend=-1.0) > SAME_MM]
        points += [start + unit * a for a in on]
    if not line.closed:
        points.append(line.points[-1])
    return line if len(points) == count else replace(line, points=np.array(points))
