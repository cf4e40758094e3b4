"""The mould thinned out for looking at: bare faces, faces under cloth, where findings are."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from ..arrays import Floats, Ints
from .thinned import STEPS, lit_faces, packed, short, thin

LONGEST = 1 / 14  # of the part's size: faces are drawn far to near, so none may be large
MOST_SPLIT = 12_000  # faces of the bare mould, and of what lies under cloth


@dataclass(frozen=True, slots=True, eq=False)
class _Half:
    """Some faces of the mould, and the fewer ones drawn for them."""

    ids: Ints  # (m,) the mould's faces, ascending
    faces: Ints  # (m, 3)
    group: Ints  # of each vertex
    few: Ints  # (j, 3) of groups
    vertices: Floats  # drawn
    drawn: Ints  # (k, 3) of drawn vertices
    parent: Ints  # (k,) the one of the few it is cut from

    def lit(self, place: Ints | Sequence[int]) -> Ints:
        """Return the drawn faces that stand for these faces of the mould."""
        few = lit_faces(self.group, self.faces, self.few, np.isin(self.ids, np.array(place, int)))
        return np.flatnonzero(np.isin(self.parent, few))


def thinned_mould(
    vertices: Floats, faces: Ints, pieces: Sequence[Ints], places: Sequence[Sequence[int]]
) -> dict[str, Any]:
    """Return what the viewer draws of the mould, its numbers as base64 of little-endian.

    `vertices` (n, 3) mm, `faces` (m, 3); `pieces` are the faces under each piece, `places` those
    of each finding. The first `bare` drawn faces lie under no piece; `over` says which of the
    others each piece covers, `lit` which drawn faces each finding is about.
    """
    points, number = np.unique(vertices, axis=0, return_inverse=True)
    joined = number.reshape(-1)[faces]
    under = np.isin(np.arange(len(faces)), np.concatenate([np.empty(0, int), *pieces]))
    longest = LONGEST * float(np.linalg.norm(np.ptp(points, axis=0)))
    halves = [_half(points, joined, np.flatnonzero(side), longest) for side in (~under, under)]
    bare, covered = halves
    shift = len(bare.drawn)
    drawn = np.vstack([bare.drawn, covered.drawn + len(bare.vertices)])
    every = np.vstack([bare.vertices, covered.vertices])
    wide = len(every) > STEPS
    return {
        "vertices": short(every),
        "faces": packed(drawn, "<u4" if wide else "<u2"),
        "wide": wide,
        "bare": shift,
        "over": [(covered.lit(piece) + shift).tolist() for piece in pieces],
        "lit": [
            [*bare.lit(place).tolist(), *(covered.lit(place) + shift).tolist()] for place in places
        ],
    }


def _half(points: Floats, faces: Ints, ids: Ints, longest: float) -> _Half:
    used, own = np.unique(faces[ids], return_inverse=True)
    own = own.reshape(-1, 3)
    group, few, kept = thin(points[used], own)
    vertices, drawn, parent = _split(points[used[kept]], few, longest)
    return _Half(ids, own, group, few, vertices, drawn, parent)


def _split(vertices: Floats, faces: Ints, longest: float) -> tuple[Floats, Ints, Ints]:
    """Return faces, each halved at its longest edge until none is longer, and what each was."""
    parent = np.arange(len(faces))
    while len(faces) < MOST_SPLIT:
        edges = vertices[faces[:, [1, 2, 0]]] - vertices[faces]
        lengths = np.linalg.norm(edges, axis=2)
        large = np.flatnonzero(lengths.max(axis=1, initial=0.0) > longest)
        if not len(large):
            break
        first = lengths[large].argmax(axis=1)
        a, b, c = (faces[large, (first + turn) % 3] for turn in range(3))
        middle = len(vertices) + np.arange(len(large))
        vertices = np.vstack([vertices, (vertices[a] + vertices[b]) / 2])
        faces = np.vstack([faces, np.column_stack([middle, b, c])])
        faces[large] = np.column_stack([a, middle, c])
        parent = np.append(parent, parent[large])
    return vertices, faces, parent
