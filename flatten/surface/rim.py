"""The rim between a region and its neighbouring faces, kept together while one side is refined."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from ..arrays import Floats, Ints
from .edges import Edges
from .locate import Locator
from .mesh import MouldMesh
from .sheet import Sheet
from .triangulation import Triangulation


@dataclass(frozen=True, eq=False, slots=True, kw_only=True)
class Rim:
    """`edges` (k, 2) sheet vertices, the region on their left; `mould_edges` the same in the mould.

    `corner` (k,) the half-edge 3 f + j of the sheet each is.
    """

    edges: Ints
    mould_edges: Ints
    corner: Ints
    source_vertices: Ints

    @classmethod
    def of(cls, mould: MouldMesh, sheet: Sheet) -> Rim:
        """Return the rim of a sheet."""
        edges = Edges(sheet.faces)
        half = np.flatnonzero(edges.boundary[edges.of_face.ravel()])
        following = half - half % 3 + (half % 3 + 1) % 3
        flat = sheet.faces.ravel()
        own = np.column_stack([flat[half], flat[following]])
        return cls(
            edges=own,
            mould_edges=sheet.source_vertices[own],
            corner=half,
            source_vertices=sheet.source_vertices,
        )

    def locator(self, mould: MouldMesh) -> Locator:
        """Return a look-up of nearest rim points: its edges as triangles of no width."""
        a, b = self.mould_edges.T
        return Locator(MouldMesh(mould.vertices, np.column_stack([a, b, b])))

    def distance(self, mould: MouldMesh, points: Floats) -> Floats:
        """Return (q,) mm as the crow flies from points (q, 3) to the rim."""
        if not len(self.edges):
            return np.full(len(points), np.inf)
        return self.locator(mould).locate(points).distances

    def sheet_vertex(self, mould_vertices: Ints) -> Ints:
        """Return (k,) the sheet's vertex for each of the mould's, -1 where it has none."""
        place = np.searchsorted(self.source_vertices, mould_vertices)
        place = np.minimum(place, len(self.source_vertices) - 1)
        found: Ints = np.where(self.source_vertices[place] == mould_vertices, place, -1)
        return found


def follow_rim(work: Triangulation, used: Ints, rim: Rim) -> list[list[int]]:
    """Return for each rim edge its vertices in `work`, in the rim's direction; [] where none.

    `used` (n,) are the mould's numbers of the first vertices of `work`.
    """
    half = np.flatnonzero(work.twin < 0)
    following = half - half % 3 + (half % 3 + 1) % 3
    flat = work.faces.ravel()
    after: dict[int, list[int]] = {}
    for a, b in zip(flat[half].tolist(), flat[following].tolist(), strict=True):
        after.setdefault(a, []).append(b)
    place = {vertex: k for k, vertex in enumerate(used.tolist())}
    parts = []
    for start, end in rim.mould_edges.tolist():
        parts.append(_walk(work, after, place.get(end, -1), place.get(start, -1))[::-1])
    return parts


def _walk(work: Triangulation, after: dict[int, list[int]], start: int, end: int) -> list[int]:
    """Vertices on the straight boundary from start to end; [] if it is no boundary of `work`."""
    if start < 0 or end < 0 or start not in after:
        return []
    way = work.vertices[end] - work.vertices[start]
    length = float(np.linalg.norm(way))
    chain = [start]
    while chain[-1] != end:
        here = work.vertices[chain[-1]]
        straight = [
            v
            for v in after.get(chain[-1], [])
            if _ahead(work.vertices[v] - here, way / length) and len(chain) <= len(after)
        ]
        if not straight:
            return []
        chain.append(min(straight, key=lambda v: float(np.linalg.norm(work.vertices[v] - here))))
    return chain


def _ahead(step: Floats, along: Floats) -> bool:
    length = float(np.linalg.norm(step))
    off = float(np.linalg.norm(step / length - along))
    return off < 1e-6


def fan_rim(faces: Ints, rim: Rim, parts: list[list[int]], number: Ints) -> tuple[Ints, Ints, Ints]:
    """Split a sheet's faces at the new rim vertices, each as a fan from the corner opposite.

    Returns
    -------
    (m, 3) faces; (m,) the old face of each; (k, 2) the rim's edges, parts counted singly
    """
    rows: list[list[int]] = faces.tolist()
    owner = list(range(len(rows)))
    children: dict[int, list[int]] = {}
    edges = []
    for (a, b), corner, part in zip(rim.edges.tolist(), rim.corner.tolist(), parts, strict=True):
        chain = [a, *(int(v) for v in number[part[1:-1]]), b] if part else [a, b]
        edges += list(itertools.pairwise(chain))
        if len(chain) == 2:
            continue
        family = children.setdefault(corner // 3, [corner // 3])
        face = next(f for f in family if _has(rows[f], a, b))
        apex = next(v for v in rows[face] if v not in (a, b))
        rows[face] = [chain[0], chain[1], apex]
        for one, two in itertools.pairwise(chain[1:]):
            family.append(len(rows))
            rows.append([one, two, apex])
            owner.append(corner // 3)
    return np.array(rows), np.array(owner), np.array(edges, dtype=np.int64).reshape(-1, 2)


def _has(row: list[int], a: int, b: int) -> bool:
    return a in row and row[(row.index(a) + 1) % 3] == b
