"""Nothing is drawn twice: equal lines go, stretches shared by two outlines are cut once."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np

from ..arrays import Floats
from .drawing import Drawing, Line

# Points closer than this are one: pieces laid edge to edge lie within 0.001 mm of a line they
# share, and no cutter repeats better than 0.02 mm.
SAME_MM = 0.005


def common_lines_once(drawing: Drawing) -> Drawing:
    """Return the drawing without lines drawn twice and without stretches cut twice.

    A line equal to another of its layer goes. Where two outlines of a cut layer share straight
    stretches, the later one opens there. Points within 0.005 mm are one.
    """
    seen_lines: set[tuple[object, ...]] = set()
    seen_stretches: set[tuple[object, ...]] = set()
    kept: list[Line] = []
    cuts = {layer.name for layer in drawing.layers if layer.cuts}
    corners = _Corners()
    for line in _split_at_each_other(drawing.lines, cuts):
        numbers = corners.numbers(line.points)
        name = (line.layer, line.closed, *_unordered(line, numbers))
        if name in seen_lines:
            continue
        seen_lines.add(name)
        kept += _unseen(line, numbers, seen_stretches) if line.layer in cuts else [line]
    return replace(drawing, lines=tuple(kept))


class _Corners:
    """Numbers points so that points within SAME_MM have one number."""

    def __init__(self) -> None:
        self._in_cell: dict[tuple[int, int], list[tuple[float, float, int]]] = {}
        self._count = 0

    def numbers(self, points: Floats) -> list[int]:
        """Return a number for each point (k, 2)."""
        return [self._number(x, y) for x, y in points.tolist()]

    def _number(self, x: float, y: float) -> int:
        column, row = round(x / (2 * SAME_MM)), round(y / (2 * SAME_MM))
        for cell in ((column + i, row + j) for i in (0, -1, 1) for j in (0, -1, 1)):
            for known_x, known_y, number in self._in_cell.get(cell, ()):
                if (x - known_x) ** 2 + (y - known_y) ** 2 <= SAME_MM**2:
                    return number
        self._count += 1
        self._in_cell.setdefault((column, row), []).append((x, y, self._count))
        return self._count


def _unordered(line: Line, keys: Sequence[int]) -> tuple[object, ...]:
    """Return a name equal for lines over the same points, whichever way and from wherever."""
    bulge = () if line.bulge is None else tuple(np.abs(line.bulge).round(6).tolist())
    if not line.closed:
        return (min(tuple(keys), tuple(keys[::-1])), tuple(sorted(bulge)))
    best = []
    for way in (list(keys), list(keys[::-1])):
        i = way.index(min(way))
        best.append(tuple(way[i:] + way[:i]))
    return (min(best), tuple(sorted(bulge)))


def _unseen(line: Line, keys: Sequence[int], seen: set[tuple[object, ...]]) -> list[Line]:
    """Return the parts of a line not cut before; remember all its stretches."""
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
        on = np.sort(at[(off < SAME_MM) & (at > SAME_MM) & (at < length - SAME_MM)])
        on = on[np.diff(on, prepend=-1.0) > SAME_MM]
        points += [start + unit * a for a in on]
    if not line.closed:
        points.append(line.points[-1])
    return line if len(points) == count else replace(line, points=np.array(points))
