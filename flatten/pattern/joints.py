"""Joints on the mould: one curve per joint, so that both its sides measure from one start."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from ..arrays import Floats, Ints

if TYPE_CHECKING:
    from ..surface.patch import Patch

# Two corners of the mould closer than this are the same one: the sides of a joint are copies
# of the same vertices, so they differ by rounding only.
SAME_POINT_MM = 1e-6
# A point this near to a segment lies on it: it was made by parting the segment's other copy.
ON_LINE_MM = 1e-5


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class JointCurve:
    """The mould curve of a joint: `points` (k, 3) mm, `at_mm` (k,) distance from its start.

    Where the joint leaves the part and comes back the distance goes on counting; a `closed`
    joint ends where it starts, at `length_mm`.
    """

    points: Floats
    at_mm: Floats
    length_mm: float
    closed: bool

    def between(self, start_mm: float, end_mm: float) -> Floats:
        """Return (k, 3) the stretch of the curve between two distances."""
        order = np.argsort(self.at_mm, kind="stable")
        at, points = self.at_mm[order], self.points[order]
        inner = at[(at > start_mm) & (at < end_mm)]
        want = np.concatenate([[start_mm], inner, [end_mm]])
        return np.column_stack([np.interp(want, at, points[:, i]) for i in range(3)])

    def distance(self, points: Floats, walked: Floats) -> Floats:
        """Return (k,) the distance of points (k, 3) along the joint.

        `walked` (k,) is their own running length: it decides where points do not lie on the
        curve, and which end of a closed joint is meant.
        """
        gap = np.linalg.norm(points[:, None] - self.points[None], axis=2)
        nearest = gap.argmin(axis=1)
        found = self.at_mm[nearest].copy()
        if self.closed and len(points) > 1:
            for end, neighbour in ((0, 1), (-1, -2)):
                if found[end] < SAME_POINT_MM and found[neighbour] > self.length_mm / 2:
                    found[end] = self.length_mm
        if gap.min(axis=1).max() > max(SAME_POINT_MM, 1e-9 * self.length_mm):
            return walked
        return np.asarray(found)


def joint_curves(patches: Iterable[Patch]) -> dict[int, JointCurve]:
    """Return the curve of every joint of a ply, from all the patches that meet in it."""
    segments: dict[int, list[Floats]] = {}
    for patch in patches:
        vertices = patch.surface.vertices
        for (start, end), joint in zip(patch.edge_vertices, patch.edge_joints, strict=True):
            if joint >= 0:
                segments.setdefault(int(joint), []).append(vertices[[start, end]])
    return {joint: _curve(np.array(ends)) for joint, ends in sorted(segments.items())}


def _curve(segments: Floats) -> JointCurve:
    """Return segments (k, 2, 3), each given by one or both sides, as one measured curve."""
    corners = segments.reshape(-1, 3)
    points, number = _merge(corners)
    pairs = np.sort(number.reshape(-1, 2), axis=1)
    pairs = np.unique(pairs[pairs[:, 0] != pairs[:, 1]], axis=0)
    pairs = np.unique(np.sort(_split_at_points(pairs, points), axis=1), axis=0)
    beside: dict[int, list[int]] = {}
    for a, b in pairs.tolist():
        beside.setdefault(a, []).append(b)
        beside.setdefault(b, []).append(a)
    chains = _chains(beside, points)
    chains.sort(key=lambda chain: points[chain[0]].tolist())
    at, offset = np.zeros(len(points)), 0.0
    for chain in chains:
        steps = np.linalg.norm(np.diff(points[chain], axis=0), axis=1)
        at[chain[1:]] = offset + np.cumsum(steps)
        at[chain[0]] = offset
        offset += float(steps.sum())
    closed = len(chains) == 1 and chains[0][0] == chains[0][-1]
    return JointCurve(points=points, at_mm=at, length_mm=offset, closed=closed)


def _split_at_points(pairs: Ints, points: Floats) -> Ints:
    """Return segments (k, 2) parted where another point lies on them.

    The trim strip divides the two sides of a joint in different places; parted, they are the
    same short segments again.
    """
    parts = []
    for a, b in pairs.tolist():
        along = points[b] - points[a]
        share = (points - points[a]) @ along / float(along @ along)
        off = np.linalg.norm(points - points[a] - share[:, None] * along, axis=1)
        inner = np.flatnonzero((share > 0) & (share < 1) & (off <= ON_LINE_MM))
        inner = inner[(inner != a) & (inner != b)]
        chain = [a, *inner[np.argsort(share[inner])].tolist(), b]
        parts += list(pairwise(chain))
    return np.array(parts, np.int64).reshape(-1, 2)


def _merge(corners: Floats) -> tuple[Floats, Ints]:
    """Return the different points among corners, and each corner's number in that list."""
    points: list[Floats] = []
    number = np.full(len(corners), -1)
    for i, corner in enumerate(corners):
        if number[i] >= 0:
            continue
        same = np.abs(corners - corner).max(axis=1) <= SAME_POINT_MM
        number[same & (number < 0)] = len(points)
        points.append(corner)
    return np.array(points), number


def _chains(beside: dict[int, list[int]], points: Floats) -> list[list[int]]:
    """Return the vertices walked end to end; each chain starts at the end with lower x, y, z."""
    ends = sorted((v for v, n in beside.items() if len(n) == 1), key=lambda v: _rank(points[v]))
    rest = sorted(beside, key=lambda v: _rank(points[v]))
    left = {v: set(n) for v, n in beside.items()}
    chains = []
    for start in [*ends, *rest]:
        chain = [start]
        while left[chain[-1]]:
            here = chain[-1]
            step = min(left[here], key=lambda v: _rank(points[v]))
            left[here].discard(step)
            left[step].discard(here)
            chain.append(step)
        if len(chain) > 1:
            chains.append(chain)
    return chains


def _rank(point: Floats) -> tuple[float, ...]:
    """Return a sorting key that rounding errors do not change."""
    return tuple(round(float(x), 4) for x in point)
