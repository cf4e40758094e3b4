"""Where the mould runs through itself. Code: self_crossing."""

from __future__ import annotations

import numpy as np

from ..arrays import Bools, Floats, Ints
from ..finding import Finding
from ..surface.mesh import MouldMesh
from .cells import Cells, tight_boxes
from .weld import size_mm

# Closer than this share of the mould's size is touching, not crossing (float32 files: 6e-8).
TOUCHING = 1e-6
FOLDED = -np.cos(np.radians(1.0))  # normals of neighbours folded flat on each other


def check_crossings(mesh: MouldMesh) -> list[Finding]:
    """Report faces that run through others, lie in them, or are folded back on a neighbour."""
    faces = np.unique(crossing_faces(mesh))
    if not len(faces):
        return []
    return [
        Finding(
            code="self_crossing",
            severity="warning",
            message=f"The mould runs through itself at {len(faces)} faces; a slicer may print "
            "holes or walls there.",
            hint="Join the bodies (boolean union), or move one of them.",
            faces=tuple(faces.tolist()),
        )
    ]


def crossing_faces(mesh: MouldMesh) -> Ints:
    """Return (k, 2) pairs of faces that cross. Faces that only touch, or share an edge, do not.

    Faces in one plane that share a corner are not compared. In a tangle that would take minutes
    only every so manieth face is compared with the others.
    Method: planes first, then edges through triangles, as in Moller, A fast
    triangle-triangle intersection test, 1997 (from memory), with strict signs.
    """
    corners, flat = mesh.corners, TOUCHING * max(size_mm(mesh), 1e-300)
    fair = 2 * mesh.areas > flat * flat
    kept = np.flatnonzero(fair)
    if len(kept) < 2:
        return np.zeros((0, 2), np.int64)
    owner, low, high = tight_boxes(corners[kept])
    cells, owner = Cells(low, high), kept[owner]
    found = [_folded(mesh, fair, flat)]
    for local in cells.self_pairs(cells.self_stride()):
        one, two = owner[local[0]], owner[local[1]]
        shared = _shared_corners(mesh.faces[one], mesh.faces[two])
        one, two, shared = one[shared < 2], two[shared < 2], shared[shared < 2]
        height_two = _heights(mesh, one, corners[two], flat)
        near = _straddles(height_two)
        one, two, shared, height_two = one[near], two[near], shared[near], height_two[near]
        height_one = _heights(mesh, two, corners[one], flat)
        near = _straddles(height_one)
        one, two, shared = one[near], two[near], shared[near]
        cross = _edges_through(corners[two], height_two[near], corners[one], mesh.double_areas[one])
        cross |= _edges_through(
            corners[one], height_one[near], corners[two], mesh.double_areas[two]
        )
        level = (height_two[near] == 0).all(axis=1) & (shared == 0)
        cross[level] = _overlap_in_plane(
            corners[one[level]], corners[two[level]], mesh.normals[one[level]], flat
        )
        found.append(np.column_stack([one[cross], two[cross]]))
    return np.unique(np.sort(np.concatenate(found), axis=1), axis=0)


def _shared_corners(one: Ints, two: Ints) -> Ints:
    shared = np.zeros(len(one), np.int64)
    for mine in one.T:
        for other in two.T:
            shared += mine == other
    return shared


def _heights(mesh: MouldMesh, face: Ints, points: Floats, flat: float) -> Floats:
    """(k, 3) height of three points over the plane of a face; zero when touching it."""
    height: Floats = np.einsum(
        "kij,kj->ki", points - mesh.corners[face, 0][:, None], mesh.normals[face]
    )
    height[np.abs(height) <= flat] = 0
    return height


def _straddles(height: Floats) -> Bools:
    low = np.minimum(np.minimum(height[:, 0], height[:, 1]), height[:, 2])
    high = np.maximum(np.maximum(height[:, 0], height[:, 1]), height[:, 2])
    both: Bools = ((high > 0) & (low < 0)) | ((high == 0) & (low == 0))
    return both


def _edges_through(corners: Floats, height: Floats, target: Floats, normal: Floats) -> Bools:
    """(k,) True where an edge of `corners` passes through the triangle `target`."""
    through = np.zeros(len(corners), bool)
    for edge in range(3):
        start, end = height[:, edge], height[:, (edge + 1) % 3]
        passes = np.flatnonzero(start * end < 0)
        share = (start / (start - end + (start == end)))[passes, None]
        point = corners[passes, edge] * (1 - share) + corners[passes, (edge + 1) % 3] * share
        through[passes] |= _inside(point, target[passes], normal[passes])
    return through


def _inside(point: Floats, triangle: Floats, normal: Floats) -> Bools:
    inside = np.ones(len(point), bool)
    size = (normal**2).sum(axis=1)
    for edge in range(3):
        along = triangle[:, (edge + 1) % 3] - triangle[:, edge]
        turn = np.einsum("ij,ij->i", np.cross(along, point - triangle[:, edge]), normal)
        inside &= turn >= -1e-9 * size
    return inside


def _overlap_in_plane(one: Floats, two: Floats, normal: Floats, flat: float) -> Bools:
    """(k,) True where two triangles of one plane overlap: no edge of either parts them."""
    left = np.arange(len(one))  # not parted yet: most are after two edges
    for mine, other in ((one, two), (two, one)):
        for edge in range(3):
            along = mine[left, (edge + 1) % 3] - mine[left, edge]
            across = np.cross(normal[left], along)
            across /= np.maximum(np.linalg.norm(across, axis=1), 1e-300)[:, None]
            reach_mine = np.einsum("kij,kj->ik", mine[left], across)
            reach_other = np.einsum("kij,kj->ik", other[left], across)
            meet = np.maximum.reduce(reach_other) > np.minimum.reduce(reach_mine) + flat
            meet &= np.maximum.reduce(reach_mine) > np.minimum.reduce(reach_other) + flat
            left = left[meet]
    overlap = np.zeros(len(one), bool)
    overlap[left] = True
    return overlap


def _folded(mesh: MouldMesh, fair: Bools, flat: float) -> Ints:
    pairs = mesh.edges.faces[(mesh.edges.count == 2) & ~mesh.edges.flipped]
    turned = np.einsum("ij,ij->i", mesh.normals[pairs[:, 0]], mesh.normals[pairs[:, 1]]) < FOLDED
    pairs = pairs[turned]
    corners = mesh.corners[pairs]  # (k, 2, 3, 3)
    longest = np.linalg.norm(corners - np.roll(corners, 1, axis=2), axis=3).max(axis=2, initial=0)
    high = 2 * mesh.areas[pairs] > 20 * flat * longest  # enough for its normal to be trusted
    folded: Ints = pairs[(fair[pairs] & high).all(axis=1)]
    return folded
