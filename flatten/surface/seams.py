"""Marked seam edges as joints: chains of them, drawn on the sheet."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import Bools, Ints, frozen_ints
from ..errors import InputError
from .chains import chains_of
from .edges import Edges
from .mesh import MouldMesh
from .patch import JointKind
from .split import Worksheet


@dataclass(frozen=True, slots=True, kw_only=True)
class SeamJoint:
    """How marked seams are joined: all of a ply's in the same way."""

    joint: JointKind = "lap"
    lap_mm: float = 25.0

    def __post_init__(self) -> None:
        if not 0 <= self.lap_mm < np.inf:
            raise InputError(f"The lap of the seams is {self.lap_mm} mm.", "Enter 0 mm or more.")


def mark_seams(
    work: Worksheet, mould: MouldMesh, seams: ArrayLike, first_joint: int
) -> list[list[int]]:
    """Mark the seam edges inside the sheet as joints and return their chains of vertices.

    Chains are numbered from `first_joint` on. Seams elsewhere on the mould, and on the sheet's
    rim, are left out of account.

    Raises
    ------
    InputError : a pair that is no edge of the mould; a seam that touches itself
    """
    pairs = frozen_ints("seams", seams, (None, 2))
    if not len(pairs):
        return []
    _check_pairs(mould, pairs)
    edges = work.mesh.edges
    marked = _marked(work, edges, pairs, len(mould.vertices))
    chains: list[list[int]] = []
    degree = np.bincount(edges.vertices[marked].ravel(), minlength=len(work.sheet.vertices))
    for chain in chains_of(edges.vertices[marked], work.on_rim):
        if chain[0] == chain[-1] and degree[chain[0]] == 3:
            raise work.touches_itself("A seam", int(chain[0]))
        work.mark(chain.tolist(), first_joint + len(chains), "A seam")
        chains.append(chain.tolist())
    return chains


def _check_pairs(mould: MouldMesh, pairs: Ints) -> None:
    count = len(mould.vertices)
    if pairs.min() < 0 or pairs.max() >= count:
        raise InputError(
            f"A seam names vertex {pairs.max()}, but the mould has {count}.",
            "Mark the seams again; the mould was changed.",
        )
    known = mould.edges.vertices @ [count, 1]
    stray = ~np.isin(np.sort(pairs, axis=1) @ [count, 1], known)
    if stray.any():
        a, b = pairs[stray][0]
        raise InputError(
            f"The seam between vertices {a} and {b} is not an edge of the mould.",
            "Mark the seams again; the mould was changed.",
        )


def _marked(work: Worksheet, edges: Edges, pairs: Ints, base: int) -> Bools:
    """(k,) the sheet's inner edges that are marked."""
    own = np.sort(work.sheet.source_vertices[edges.vertices], axis=1) @ [base, 1]
    marked: Bools = np.isin(own, np.sort(pairs, axis=1) @ [base, 1]) & (edges.count == 2)
    return marked
