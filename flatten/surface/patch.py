"""Patch: one piece of surface to be draped, that remembers where it came from and its edges."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from ..arrays import Bools, Floats, Ints
from ..errors import InputError
from .junctions import refuse_t_junctions
from .mesh import SurfaceMesh, components
from .topology import handle_faces, opening_faces

# trim: cut back after cure; hole: the same round an opening; lap_over and lap_under: the two
# sides of a lapped joint, the over side carries the lap; butt: edge to edge.
EdgeKind = Literal["trim", "hole", "lap_over", "lap_under", "butt"]
JointKind = Literal["lap", "butt"]
CutKind = Literal["splice", "dart"]
Side = Literal["left", "right"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Joint:
    """Where two edges of cloth meet again: the two sides of one cut.

    `number` is what `Patch.edge_joints` refers to; `cut_id` the drawn cut, "" for a marked seam.
    """

    number: int
    kind: CutKind
    joint: JointKind
    lap_mm: float
    cut_id: str = ""


@dataclass(frozen=True, eq=False, kw_only=True)
class Patch:
    """One piece of the mould's surface, cut free.

    `surface` n vertices and m faces, mm; `source_vertices` (n,) the mould's vertex, -1 for a new
    point; `source_faces` (m,) the mould's face; `inside` (m,) True in the net region, False in the
    strip that carries the trim allowance over neighbouring faces; `edge_vertices` (k, 2) boundary
    edges, the surface on their left, loop after loop, the outer loop first; `edge_kinds` (k,);
    `edge_joints` (k,) joint number or -1: the two sides of a cut share the number;
    `joints` of the whole ply.

    Raises
    ------
    InputError : several pieces, a closed surface, a handle
    """

    surface: SurfaceMesh
    source_vertices: Ints
    source_faces: Ints
    inside: Bools
    edge_vertices: Ints
    edge_kinds: tuple[EdgeKind, ...]
    edge_joints: Ints
    joints: tuple[Joint, ...] = field(default=())

    def __post_init__(self) -> None:
        check_opens_flat(self.surface, self.source_faces)
        for name in ("source_vertices", "source_faces", "inside", "edge_vertices", "edge_joints"):
            array = np.array(getattr(self, name))
            array.flags.writeable = False
            object.__setattr__(self, name, array)

    @property
    def loops(self) -> list[Ints]:
        """Boundary loops as positions in `edge_vertices`, the outer loop first."""
        starts, ends = self.edge_vertices[:, 0], self.edge_vertices[:, 1]
        last = np.flatnonzero(ends[:-1] != starts[1:]) + 1
        return np.split(np.arange(len(starts)), last)


def check_opens_flat(surface: SurfaceMesh, source_faces: Ints) -> None:
    """Refuse a surface that is not one piece with a rim and without handles.

    `source_faces` (m,): what its faces are called in the error.

    Raises
    ------
    InputError : saying where a cut would open it, with those mould faces; T-junctions
    """
    refuse_t_junctions(surface, source_faces)
    edges = surface.edges
    piece = components(surface.faces, edges)
    if piece.max():
        smaller = np.flatnonzero(piece != np.bincount(piece).argmax())
        raise InputError(
            f"The piece of cloth falls into {piece.max() + 1} parts.",
            "Make a ply of each.",
            faces=source_faces[smaller],
        )
    if not edges.boundary.any():
        faces, start, end = opening_faces(surface)
        raise InputError(
            "The region is closed all round, so no cloth can be laid on it in one piece.",
            f"Mark a seam or draw a cut across it, for example from {_show(start)} to "
            f"{_show(end)} mm, or take some faces out.",
            faces=source_faces[faces],
        )
    loops = edges.boundary_loops(surface.faces)
    used = len(np.unique(surface.faces))
    handles = (2 - len(loops) - (used - len(edges.count) + len(surface.faces))) // 2
    if handles:
        faces = handle_faces(surface)
        middle = surface.corners[faces].mean(axis=(0, 1))
        raise InputError(
            f"The region runs through itself like the handle of a cup ({handles} times).",
            f"Mark a seam or draw a cut across it, for example round the handle near "
            f"{_show(middle)} mm.",
            faces=source_faces[faces],
        )


def _show(point: Floats) -> str:
    return "(" + ", ".join(f"{value:.0f}" for value in point) + ")"
