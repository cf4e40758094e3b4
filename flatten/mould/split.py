"""Where the mould must part when no single pull frees the lay-up. Code: part_line (a proposal)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..arrays import Floats, Ints
from ..finding import Finding
from ..surface.joined import groups
from ..surface.mesh import MouldMesh
from .draft import UPRIGHT, Draft, measure_draft
from .pull import TRIED, axes, say_direction, sorted_normals, sphere

PAIRED = 160  # directions of which every pair is tried, about 18 degrees apart
ENOUGH = 1e-3  # a split that leaves less of the area held than this is enough
ISLAND = 0.01  # patches of the split smaller than this share join what is around them
MOST_PARTS = 4
PLENTY = 0.1  # sine of the draft (6 degrees) above which a pull gains no more
ALIKE = 0.3  # opposite pulls along an axis are taken when they free nearly as much


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Split:
    """A mould in several parts.

    `pulls` (p, 3) unit; `faces` (k,) lay-up faces; `part` (k,) which pull frees each;
    `line` (j, 2) vertices of the mould's edges where the parts meet, `line_mm` long;
    `held_share` of the area that no pull frees.
    """

    pulls: Floats
    faces: Ints
    part: Ints
    line: Ints
    line_mm: float
    held_share: float


def propose_split(mesh: MouldMesh, draft: Draft, *, ray_test: bool = True) -> Split | None:
    """Return the best way to part the mould when `draft` leaves area held, None if it does not.

    Two parts are tried first (any two pulls), then a third and a fourth for what is left.
    """
    faces, areas = draft.faces, mesh.areas[draft.faces]
    if (areas * draft.held).sum() <= ENOUGH * areas.sum():
        return None
    normals, weight = sorted_normals(mesh, faces)
    two = [_split(mesh, faces, pulls, ray_test) for pulls in _best_pairs(normals, weight)]
    split = two[0] if two[0].held_share <= ENOUGH else min(two, key=lambda one: one.held_share)
    pulls = split.pulls
    while split.held_share > ENOUGH and len(pulls) < MOST_PARTS:
        tried = np.concatenate([axes(), sphere(TRIED)])
        best = _freed(normals, pulls).max(axis=1)
        gain = weight @ np.maximum(_freed(normals, tried), best[:, None])
        pulls = np.vstack([pulls, tried[int(gain.argmax())]])
        more = _split(mesh, faces, pulls, ray_test)
        if more.held_share >= split.held_share - ENOUGH:
            break
        split = more
    return split


def check_split(mesh: MouldMesh, split: Split) -> list[Finding]:
    """Say how the mould could be parted, the faces along the part line selected."""
    pulls = " and ".join(say_direction(pull) for pull in split.pulls)
    left = (
        "all of the lay-up"
        if split.held_share <= ENOUGH
        else (f"{100 * (1 - split.held_share):.0f} % of the lay-up")
    )
    on_line = np.zeros(len(mesh.vertices), bool)
    on_line[split.line] = True
    touch = on_line[mesh.faces[split.faces]].sum(axis=1) >= 2
    return [
        Finding(
            code="part_line",
            severity="note",
            message=f"A mould in {len(split.pulls)} parts, pulled along {pulls}, frees {left}; "
            f"the part line would be {split.line_mm:.0f} mm long.",
            hint="Part the mould along the marked faces, with a bolted flange on each side.",
            faces=tuple(split.faces[touch].tolist()),
        )
    ]


def _best_pairs(normals: Floats, weight: Floats) -> list[Floats]:
    """Two pulls (2, 3) that free most together: the best opposite ones, then the best of all."""
    some = np.concatenate([axes(), sphere(PAIRED)])
    some = np.concatenate([some, -some])
    freed = _freed(normals, some)
    half = len(some) // 2
    pair = np.array([weight @ np.maximum(column[:, None], freed) for column in freed.T[:half]])
    opposite = pair[np.arange(half), np.arange(half) + half]
    one = some[int(np.argmax(opposite >= opposite.max() - ALIKE * PLENTY))]
    first, second = np.unravel_index(int(pair.argmax()), pair.shape)
    return [np.array([one, -one]), np.array([some[first], some[second]])]


def _freed(normals: Floats, pulls: Floats) -> Floats:
    """(b, t) how well each pull frees normals gathered to 3 degrees: -1 when it holds them."""
    sine = normals @ pulls.T
    freed: Floats = np.where(sine < -np.sin(np.radians(1.5)), -1.0, np.minimum(sine, PLENTY))
    return freed


def _split(mesh: MouldMesh, faces: Ints, pulls: Floats, ray_test: bool) -> Split:
    part = np.argmax(mesh.normals[faces] @ pulls.T, axis=1)
    part = _join_islands(mesh, faces, part, pulls)
    held = np.zeros(len(faces))
    for number, pull in enumerate(pulls):
        mine = np.flatnonzero(part == number)
        held[mine] = measure_draft(
            mesh, faces[mine], pull, ray_test=ray_test, blockers=faces[mine]
        ).held
    areas = mesh.areas[faces]
    place = np.full(len(mesh.faces), -1)
    place[faces] = part
    pairs = mesh.edges.faces
    both = (pairs[:, 1] >= 0) & (place[pairs] >= 0).all(axis=1)
    both[both] = place[pairs[both, 0]] != place[pairs[both, 1]]
    line = mesh.edges.vertices[both]
    length = np.linalg.norm(np.diff(mesh.vertices[line], axis=1), axis=2).sum()
    return Split(
        pulls=pulls,
        faces=faces,
        part=part,
        line=line,
        line_mm=float(length),
        held_share=float((areas * held).sum() / max(areas.sum(), 1e-300)),
    )


def _join_islands(mesh: MouldMesh, faces: Ints, part: Ints, pulls: Floats) -> Ints:
    """Small patches go to the part around them where that pull frees them too."""
    place = np.full(len(mesh.faces), -1)
    place[faces] = np.arange(len(faces))
    pairs = place[mesh.edges.faces[mesh.edges.faces[:, 1] >= 0]]
    pairs = pairs[(pairs >= 0).all(axis=1)]
    same = part[pairs[:, 0]] == part[pairs[:, 1]]
    patch = groups(len(faces), pairs[same])
    areas = mesh.areas[faces]
    small = (np.bincount(patch, areas) < ISLAND * areas.sum())[patch]
    joined = part.copy()
    border = pairs[~same]
    for mine, other in (border.T, border.T[::-1]):
        go = small[mine] & ~small[other]
        patch_part = np.full(int(patch.max(initial=-1)) + 1, -1)
        patch_part[patch[mine[go]]] = part[other[go]]
        to = patch_part[patch]
        free = to >= 0
        frees = np.ones(len(faces), bool)
        frees[free] = np.einsum("ij,ij->i", mesh.normals[faces[free]], pulls[to[free]]) > -UPRIGHT
        whole = np.bincount(patch, ~frees) == 0
        joined = np.where(free & whole[patch], to, joined)
    return joined
