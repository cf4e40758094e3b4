"""Refinement: triangles small and well shaped enough for cloth to bend over, mapped back."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ..arrays import Bools, Floats, Ints
from ..errors import InputError
from .locate import locate
from .mesh import MouldMesh, SurfaceMesh
from .patch import Patch
from .triangulation import EQUAL, Triangulation

# Edges of the refined mesh are at most this long ...
EDGE_MM, EDGE_SHARE = 5.0, 1 / 60  # ... in mm, or as a share of the size, whichever is shorter.
# ... unless that made more triangles than this: a whole hull is draped with longer edges.
MOST_TRIANGLES = 40_000
# Fillets and strips take far more than their area asks for. Beyond this (or twice the faces given)
# edges are made twice as long, until it is less: a gutter of a kilometre drapes in seconds.
MOST_REFINED = 100_000
MOST_ASKED = 2_000_000  # where an edge length was asked for
EQUILATERAL = 0.433  # area of a triangle of unit edge
# A flip may lift the surface off its facets by this share of the edge: 0.0125 mm at 5 mm. Four
# times that bends flat walls enough to lead a thread 0.6 mm astray on a tray with slivers.
LIFT_SHARE = 1 / 400
# Triangles sharper than this are improved, as long as their edges are longer than the floor.
MIN_ANGLE_DEG = 18.0
FLOOR_SHARE = 1 / 2
# Good enough to be left alone: no edge longer than this many times the wanted one, and slivers
# (sharper than this) on no more than this share of the area.
LONG_ENOUGH, SLIVER_DEG, SLIVER_SHARE = 1.5, 10.0, 0.01
ROUNDS = 60
WALK = 40  # coarse faces a triangle may be away from the one it descends from


@dataclass(frozen=True, eq=False, kw_only=True)
class Refined:
    """A refined surface and the way back.

    `surface`: its first vertices are those of `coarse`, with the same numbers; `face_source`
    (m_fine,) the coarse face each triangle lies on (the larger part of it, where it bridges two).
    """

    coarse: SurfaceMesh
    surface: SurfaceMesh
    face_source: Ints

    @property
    def unchanged(self) -> bool:
        """The surface was good enough and was left alone."""
        return self.surface is self.coarse

    @cached_property
    def stand_in(self) -> Ints:
        """(m_coarse,) for each coarse face a fine one on it, or nearest to its middle."""
        fine = np.full(len(self.coarse.faces), -1)
        fine[self.face_source[::-1]] = np.arange(len(self.face_source))[::-1]
        gone = np.flatnonzero(fine < 0)
        if len(gone):
            fine[gone] = locate(self.surface, self.coarse.corners[gone].mean(axis=1)).faces
        return fine

    def mean_per_face(self, values: Floats, weights: Floats | None = None) -> Floats:
        """Return (m_coarse, ...) the mean of fine values (m_fine, ...) on each coarse face.

        `weights` (m_fine,) are areas unless said otherwise. A coarse face that no fine triangle
        calls its own takes the value at its middle.
        """
        weight = self.surface.areas if weights is None else weights
        count = len(self.coarse.faces)
        total = np.bincount(self.face_source, weight, count)
        columns = values.reshape(len(values), -1).T
        sums = [np.bincount(self.face_source, weight * column, count) for column in columns]
        mean = np.array(sums).T / np.where(total > 0, total, 1)[:, None]
        gone = total <= 0
        mean[gone] = columns.T[self.stand_in[gone]]
        result: Floats = mean.reshape(count, *values.shape[1:])
        return result


def refine(
    surface: SurfaceMesh,
    *,
    max_edge_mm: float | None = None,
    groups: Ints | None = None,
    force: bool = False,
    rank: Floats | None = None,
) -> Refined:
    """Return the surface with triangles small and well shaped enough to drape.

    Points are put in the middle of the longest edges and edges are flipped towards Delaunay
    where the facets either side are level (within `LIFT_SHARE` of the edge). New points so lie
    on the facets; corners, creases and the rim stay where they are.

    Parameters
    ----------
    surface : any triangles, slivers included
    max_edge_mm : longest edge wanted; see `default_edge_mm`
    groups : (m,) numbers; the line between faces of different number is kept
    force : refine even where the mesh is good enough to be left alone
    rank : (n,) linear in the place, decides between equal edges; None: the vertices' numbers do.
        With a rank that moves along with the part, turning and renumbering it change nothing

    Raises
    ------
    InputError : the edge length is not above zero, or would need more than two million triangles

    Source: Rivara, New longest-edge algorithms, Int. J. Numer. Meth. Eng. 40, 1997.
    """
    edge_mm = default_edge_mm(surface) if max_edge_mm is None else max_edge_mm
    _check_edge(surface, edge_mm)
    most = max(MOST_REFINED, 2 * len(surface.faces)) if max_edge_mm is None else MOST_ASKED
    group = np.zeros(len(surface.faces), np.int64) if groups is None else groups
    while True:
        if not force and good_enough(surface, edge_mm):
            source = np.arange(len(surface.faces))
            return Refined(coarse=surface, surface=surface, face_source=source)
        work = _refined(Triangulation(surface.vertices, surface.faces, group, rank), edge_mm, most)
        if work is not None:
            break
        if max_edge_mm is not None:
            raise InputError(
                f"Edges of {edge_mm:g} mm would need more than {MOST_ASKED / 1e6:g} million "
                "triangles on this shape.",
                f"Enter {2 * edge_mm:.2g} mm or more.",
            )
        edge_mm *= 2
    fine = SurfaceMesh(work.vertices, work.faces)
    source = _settled(surface, fine.corners.mean(axis=1), work.source, group)
    return Refined(coarse=surface, surface=fine, face_source=source)


def _refined(work: Triangulation, edge_mm: float, most: int) -> Triangulation | None:
    """Return the triangulation refined in place; None where that took more than `most` faces."""
    lift_mm = LIFT_SHARE * min(edge_mm, EDGE_MM)
    changed = np.arange(len(work.faces))
    work.flip_all(changed, lift_mm)
    longest = np.zeros(0, np.int64)
    bad = np.zeros(0, bool)
    for _ in range(ROUNDS):
        longest, bad = _judge(work, changed, longest, bad, edge_mm)
        if not bad.any():
            break
        if len(work.faces) > most:
            return None
        changed = work.split(work.terminal_edges(np.flatnonzero(bad), longest))
        changed = np.concatenate([changed, work.flip_all(changed, lift_mm)])
    return work


def refine_patch(
    patch: Patch, *, max_edge_mm: float | None = None, force: bool = False
) -> tuple[Patch, Refined]:
    """Return the patch refined, its edges keeping kind and joint, and the way back.

    See `refine`; the net line stays an edge line.
    """
    refined = refine(
        patch.surface, max_edge_mm=max_edge_mm, groups=patch.inside.astype(np.int64), force=force
    )
    if refined.unchanged:
        return patch, refined
    edges, owner = _split_rim(patch, refined)
    added = len(refined.surface.vertices) - len(patch.source_vertices)
    fine = Patch(
        surface=refined.surface,
        source_vertices=np.concatenate([patch.source_vertices, np.full(added, -1)]),
        source_faces=patch.source_faces[refined.face_source],
        inside=patch.inside[refined.face_source],
        edge_vertices=edges,
        edge_kinds=tuple(patch.edge_kinds[k] for k in owner.tolist()),
        edge_joints=patch.edge_joints[owner],
        joints=patch.joints,
    )
    return fine, refined


def default_edge_mm(surface: MouldMesh) -> float:
    """Return the longest edge wanted: 5 mm or 1/60 of the size, more on very large parts."""
    wanted = min(EDGE_MM, EDGE_SHARE * surface.spread_mm)
    coarsest = np.sqrt(float(surface.areas.sum()) / (EQUILATERAL * MOST_TRIANGLES))
    return max(wanted, float(coarsest))


def good_enough(surface: MouldMesh, max_edge_mm: float) -> bool:
    """Tell whether the mesh can be draped as it is: see `LONG_ENOUGH` and `SLIVER_SHARE`."""
    longest2 = surface.longest2
    if np.sqrt(longest2.max()) > LONG_ENOUGH * max_edge_mm * (1 + EQUAL):
        return False
    # The height over the longest side is at most that times the smallest angle's tangent.
    thin = 2 * surface.areas < np.tan(np.radians(SLIVER_DEG)) * longest2
    sides = np.sqrt((surface.sides[:, :, thin] ** 2).sum(axis=1)).T
    slivers = np.flatnonzero(thin)[smallest_angles(sides) < np.radians(SLIVER_DEG)]
    return bool(surface.areas[slivers].sum() <= SLIVER_SHARE * surface.areas.sum())


def smallest_angles(sides: Floats) -> Floats:
    """Return (m,) radians: the smallest angle of triangles with these sides (m, 3)."""
    a, b, c = np.sort(sides, axis=1).T
    cosine = (b**2 + c**2 - a**2) / np.maximum(2 * b * c, 1e-300)
    angle: Floats = np.arccos(np.clip(cosine, -1, 1))
    return angle


def _check_edge(surface: SurfaceMesh, edge_mm: float) -> None:
    if not 0 < edge_mm < np.inf:
        raise InputError(f"The edge length is {edge_mm} mm.", "Enter a length above zero.")
    needed = float(surface.areas.sum()) / (EQUILATERAL * edge_mm**2)
    if needed > MOST_ASKED:
        raise InputError(
            f"Edges of {edge_mm:g} mm would need {needed / 1e6:.1f} million triangles.",
            f"Enter {np.sqrt(needed / MOST_ASKED) * edge_mm:.2g} mm or more.",
        )


def _judge(
    work: Triangulation, changed: Ints, longest: Ints, bad: Bools, edge_mm: float
) -> tuple[Ints, Bools]:
    """The longest half-edge of each face, and whether the face is too long or too sharp."""
    grown = len(work.faces) - len(longest)
    longest = np.concatenate([longest, np.zeros(grown, np.int64)])
    bad = np.concatenate([bad, np.zeros(grown, bool)])
    changed = np.unique(changed)
    sides = work.side_lengths(changed)
    longest[changed] = work.longest_sides(changed, sides)
    top = sides.max(axis=1)
    sharp = smallest_angles(sides) < np.radians(MIN_ANGLE_DEG)
    above = top / edge_mm / (1 + EQUAL)
    bad[changed] = (above > 1) | (sharp & (above > FLOOR_SHARE))
    return longest, bad


def _settled(coarse: SurfaceMesh, points: Floats, source: Ints, group: Ints) -> Ints:
    """The coarse face each point lies on, walked to from the one its triangle descends from.

    A flip between level facets leaves both triangles with one name; from it the walk goes
    towards the point, over the edge the point lies furthest beyond.
    """
    settled: Ints = source.copy()
    corners, normals = coarse.corners, coarse.double_areas
    pair = coarse.edges.faces[coarse.edges.of_face]
    beyond = np.where(pair[:, :, 0] == np.arange(len(pair))[:, None], pair[:, :, 1], pair[:, :, 0])
    left = np.arange(len(points))
    for _ in range(WALK):
        face = settled[left]
        away = corners[face] - points[left][:, None]
        part = np.cross(np.roll(away, -1, axis=1), np.roll(away, -2, axis=1))
        weights = (part * normals[face][:, None]).sum(axis=2)
        weights /= (normals[face] ** 2).sum(axis=1)[:, None]
        low = weights.argmin(axis=1)
        row = np.arange(len(left))
        to = beyond[face, (low + 1) % 3]  # the side opposite the corner of least weight
        move = (weights[row, low] < -1e-9) & (to >= 0)
        move[move] = group[to[move]] == group[face[move]]
        if not move.any():
            break
        left = left[move]
        settled[left] = to[move]
    settled[left] = source[left]  # still walking: round a corner, so it was right at first
    return settled


def _split_rim(patch: Patch, refined: Refined) -> tuple[Ints, Ints]:
    """The fine rim, in the patch's own order, and the coarse rim edge each part belongs to."""
    faces, edges = refined.surface.faces, refined.surface.edges
    face, corner = np.nonzero(edges.boundary[edges.of_face])
    following = dict(
        zip(faces[face, corner].tolist(), faces[face, (corner + 1) % 3].tolist(), strict=True)
    )
    pairs, owner = [], []
    for number, (start, end) in enumerate(patch.edge_vertices.tolist()):
        while start != end:
            pairs.append((start, following[start]))
            owner.append(number)
            start = following[start]
    return np.array(pairs), np.array(owner)
