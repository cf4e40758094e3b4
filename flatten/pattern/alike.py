"""Identical pieces share one template: 'cut 4' instead of four drawings."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace

import numpy as np
from shapely import affinity

from ..arrays import Floats
from .pattern import EdgeRun, Mark, Notch, Pattern, Role

# Two pieces are the same when their outlines differ by no more: half of what a knife by hand does.
SAME_MM = 0.25


def merge_identical(patterns: Sequence[Pattern]) -> list[Pattern]:
    """Return the patterns with identical pieces of a ply as one, its count the sum of theirs.

    Pieces are alike when cut line, net line, edge kinds and notches agree within `SAME_MM`, as
    they lie or turned by half a turn (the fibres then run the same way). Mirror images are
    not alike. The notches of a shared template are numbered within each joint, since it is
    laid against different neighbours; pieces are counted anew.
    """
    groups: list[list[Pattern]] = []
    for pattern in patterns:
        home = next((group for group in groups if alike(group[0], pattern)), None)
        if home is None:
            groups.append([pattern])
        else:
            home.append(pattern)
    kinds = [(group[0].ply_id, group[0].role) for group in groups]  # patches count by themselves
    templates, placed = Counter(kinds), Counter[tuple[str, Role]]()
    merged = []
    for group, kind in zip(groups, kinds, strict=True):
        placed[kind] += 1
        merged.append(_shared(group, placed[kind], templates[kind]))
    return merged


def alike(one: Pattern, other: Pattern) -> bool:
    """Tell whether one template serves both pieces."""
    same_cloth = (one.ply_id, one.role, one.fabric, one.angle_deg, one.mirrored, one.side_up) == (
        other.ply_id,
        other.role,
        other.fabric,
        other.angle_deg,
        other.mirrored,
        other.side_up,
    )
    if not same_cloth or len(one.notches) != len(other.notches):
        return False
    if abs(one.cut.area - other.cut.area) > SAME_MM * one.cut.length:
        return False
    return any(_fits(one, other, turn) for turn in (0.0, 180.0))


def _fits(one: Pattern, other: Pattern, turn_deg: float) -> bool:
    """Tell whether the other lies on the one when turned and shifted."""
    turned = affinity.rotate(other.cut, turn_deg, origin=(0, 0))
    shift = np.array(one.cut.centroid.coords[0]) - np.array(turned.centroid.coords[0])

    def moved(points: Floats) -> Floats:
        angle = np.radians(turn_deg)
        turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
        return np.asarray(points @ turn.T + shift)

    for mine, theirs in (
        (one.cut, turned),
        (one.net, affinity.rotate(other.net, turn_deg, origin=(0, 0))),
    ):
        there = affinity.translate(theirs, *shift)
        if mine.exterior.hausdorff_distance(there.exterior) > SAME_MM:
            return False
        if mine.symmetric_difference(there).area > SAME_MM * mine.length:
            return False
    return _same_points(
        [notch.at for notch in one.notches], [moved(notch.at) for notch in other.notches]
    ) and _same_kinds(one.runs, other.runs, moved)


def _same_points(mine: Sequence[Floats], theirs: Sequence[Floats]) -> bool:
    return all(
        min((float(np.linalg.norm(a - b)) for b in theirs), default=np.inf) <= 2 * SAME_MM
        for a in mine
    )


def _same_kinds(
    mine: Sequence[EdgeRun], theirs: Sequence[EdgeRun], moved: Callable[[Floats], Floats]
) -> bool:
    """Tell whether edges of one kind lie on edges of the same kind: by the middle of each run."""
    if sorted(run.kind for run in mine) != sorted(run.kind for run in theirs):
        return False
    return all(
        any(
            run.kind == other.kind and _near_line(_middle(run), moved(other.points))
            for other in theirs
        )
        for run in mine
    )


def _middle(run: EdgeRun) -> Floats:
    return np.asarray(run.points[len(run.points) // 2])


def _near_line(point: Floats, line: Floats) -> bool:
    a, along = line[:-1], np.diff(line, axis=0)
    length2 = np.maximum((along**2).sum(axis=1), 1e-300)
    share = np.clip(((point - a) * along).sum(axis=1) / length2, 0, 1)
    away = np.linalg.norm(a + share[:, None] * along - point, axis=1)
    return bool(away.min() <= 2 * SAME_MM)


def _shared(group: list[Pattern], piece: int, pieces: int) -> Pattern:
    """Return the template of a group of identical pieces."""
    first, count = group[0], sum(pattern.count for pattern in group)
    if len(group) == 1 and (first.piece, first.pieces) == (piece, pieces):
        return first
    old = first.title
    shared = replace(first, piece=piece, pieces=pieces, count=count)
    words = {
        f"cut {first.count}": f"cut {count}",
        f"x{first.count}": f"x{count}",
        old: shared.title,
        f" ({first.piece} of {first.pieces})": f" ({piece} of {pieces})" if pieces > 1 else "",
    }
    return replace(
        shared,
        marks=tuple(_reworded(mark, words) for mark in first.marks),
        notches=tuple(_within_joint(first.notches)) if len(group) > 1 else first.notches,
    )


def _reworded(mark: Mark, words: dict[str, str]) -> Mark:
    if mark.kind != "label":
        return mark
    lines = []
    for line in mark.lines:
        for old, new in words.items():
            line = line.replace(old, new) if old else line
        lines.append(line)
    return replace(mark, lines=tuple(lines))


def _within_joint(notches: Iterable[Notch]) -> list[Notch]:
    """Return notches numbered from 1 within each joint."""
    notches = list(notches)
    numbers: dict[int, list[int]] = {}
    for notch in notches:
        numbers.setdefault(notch.joint, []).append(notch.number)
    rank = {joint: sorted(set(given)) for joint, given in numbers.items()}
    return [replace(n, number=rank[n.joint].index(n.number) + 1) for n in notches]
