"""Sheet: a region taken out of the mould, on its way to becoming patches."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..arrays import Bools, Floats, Ints
from .edges import Edges
from .junctions import refuse_t_junctions
from .mesh import MouldMesh, SurfaceMesh, components
from .patch import EdgeKind, Joint, Patch
from .region import Region, check_region
from .topology import open_along

__all__ = ["Sheet", "open_along", "part", "rim_half_edges", "take_out"]


@dataclass(frozen=True, eq=False, slots=True, kw_only=True)
class Sheet:
    """Triangles with their source, still in one; may be closed, or hang together by a point.

    `vertices` (n, 3) mm; `faces` (m, 3); `source_vertices` (n,) the mould's vertex or -1;
    `source_faces` (m,); `inside` (m,) in the net region.
    """

    vertices: Floats
    faces: Ints
    source_vertices: Ints
    source_faces: Ints
    inside: Bools


def take_out(mould: MouldMesh, region: Region) -> Sheet:
    """Return the region's faces as a sheet of its own, in the region's order.

    Raises
    ------
    InputError : region in several pieces or not on this mould; zero-area faces, edges in three
        faces, faces that look to opposite sides, T-junctions: all by the mould's face numbers
    """
    check_region(mould, region)
    used, numbers = np.unique(mould.faces[region.faces], return_inverse=True)
    faces = numbers.reshape(-1, 3)
    surface = SurfaceMesh(mould.vertices[used], faces, source_faces=region.faces)
    refuse_t_junctions(surface, region.faces)
    return Sheet(
        vertices=surface.vertices,
        faces=surface.faces,
        source_vertices=used,
        source_faces=region.faces,
        inside=np.ones(len(faces), bool),
    )


def part(
    sheet: Sheet,
    edges: Edges,
    cut: Bools,
    *,
    half_joint: Ints,
    half_kind: list[EdgeKind],
    joints: tuple[Joint, ...],
) -> list[Patch]:
    """Open the sheet along the cut edges and return its pieces, lowest mould face first.

    `half_joint` (3 m,) the joint at each half-edge (3 f + j: corner j to j + 1 of face f), -1
    where it is not cut; `half_kind` the kind each of them has if it is.
    """
    faces, old = open_along(sheet.faces, edges, cut)
    piece = components(faces)
    patches = []
    for number in range(int(piece.max()) + 1):
        members = np.flatnonzero(piece == number)
        used, local = np.unique(faces[members], return_inverse=True)
        surface = SurfaceMesh(
            sheet.vertices[old[used]],
            local.reshape(-1, 3),
            source_faces=sheet.source_faces[members],
        )
        half = (3 * members[:, None] + np.arange(3)).ravel()
        rim = rim_half_edges(surface)
        joint = half_joint[half[rim]]
        outer = _outer_loop(surface, rim)
        kinds: list[EdgeKind] = [
            half_kind[half[h]] if j >= 0 else "trim" if out else "hole"
            for h, j, out in zip(rim.tolist(), joint.tolist(), outer.tolist(), strict=True)
        ]
        patches.append(
            Patch(
                surface=surface,
                source_vertices=sheet.source_vertices[old[used]],
                source_faces=sheet.source_faces[members],
                inside=sheet.inside[members],
                edge_vertices=_half_vertices(surface.faces, rim),
                edge_kinds=tuple(kinds),
                edge_joints=joint,
                joints=joints,
            )
        )
    return sorted(patches, key=_place)


def _place(patch: Patch) -> tuple[int, int]:
    """Lowest mould face, then, where a cut runs through it, lowest mould vertex."""
    known = patch.source_vertices[patch.source_vertices >= 0]
    return int(patch.source_faces.min()), int(known.min()) if len(known) else 2**62


def rim_half_edges(surface: SurfaceMesh) -> Ints:
    """Return (k,) the boundary half-edges 3 f + j, loop after loop, the outer loop first.

    The outer loop is the one that encloses most area, seen along its own mean normal.
    """
    edges = surface.edges
    half = np.flatnonzero(edges.boundary[edges.of_face.ravel()])
    if not len(half):
        return half
    at = dict(zip(surface.faces.ravel()[half].tolist(), half.tolist(), strict=True))
    loops = edges.boundary_loops(surface.faces)
    enclosed = [_enclosed(surface.vertices[loop]) for loop in loops]
    first = int(np.argmax(enclosed))
    ordered = [loops[first], *loops[:first], *loops[first + 1 :]]
    rolled = [np.roll(loop, -int(loop.argmin())) for loop in ordered]
    return np.array([at[vertex] for loop in rolled for vertex in loop.tolist()], dtype=np.int64)


def _outer_loop(surface: SurfaceMesh, rim: Ints) -> Bools:
    ends = _half_vertices(surface.faces, rim)
    breaks = np.flatnonzero(ends[:-1, 1] != ends[1:, 0])
    first = breaks[0] + 1 if len(breaks) else len(rim)
    outer: Bools = np.arange(len(rim)) < first
    return outer


def _enclosed(loop: Floats) -> float:
    centred = loop - loop.mean(axis=0)
    return float(np.linalg.norm(np.cross(centred, np.roll(centred, -1, axis=0)).sum(axis=0)))


def _half_vertices(faces: Ints, half: Ints) -> Ints:
    flat = faces.ravel()
    return np.column_stack([flat[half], flat[_next(half)]])


def _next(half: Ints) -> Ints:
    following: Ints = half - half % 3 + (half % 3 + 1) % 3
    return following
