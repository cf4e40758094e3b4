"""Is the mould sound, and is it the size it should be?

Codes: size, open_edges, flipped_faces, inside_out, crowded_edges, doubled_vertices,
doubled_faces, no_area (self_crossing and thin_wall are in crossings.py and walls.py).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..arrays import Bools, Ints
from ..finding import Finding
from ..surface.joined import groups
from ..surface.mesh import ZERO_AREA, MouldMesh
from ..units import MM_PER_INCH
from .weld import Welded, box_mm, size_mm

# A printed mould is between a hand's width and a boat; outside this the unit is asked for.
SMALLEST_MM, LARGEST_MM = 25.0, 10_000.0
USUAL_MM = (40.0, 3000.0)  # what a right reading should come to
READINGS = (("inches", MM_PER_INCH), ("metres", 1000.0), ("centimetres", 10.0))
# Vector area over area: zero for a closed block, 0.2 for the wall of a steep cone.
CLOSED_SHARE = 0.05


def is_closed(mesh: MouldMesh) -> bool:
    """Tell a block from a skin: the normals of a block cancel, even with a few holes in it."""
    return bool(
        np.linalg.norm(mesh.double_areas.sum(axis=0)) <= CLOSED_SHARE * 2 * mesh.areas.sum()
    )


def check_size(mesh: MouldMesh) -> list[Finding]:
    """Ask for the unit where the size is no mould's."""
    box = box_mm(mesh)
    largest = float(box.max())
    if SMALLEST_MM <= largest <= LARGEST_MM:
        return []
    readings = [(f"its numbers are {name}", largest * factor) for name, factor in READINGS]
    readings += [(f"mm were read as {name}", largest / factor) for name, factor in READINGS]
    usual = [
        f"{size:.0f} mm if {said}" for said, size in readings if USUAL_MM[0] <= size <= USUAL_MM[1]
    ]
    so = f" It is {' or '.join(usual)}." if usual else ""
    return [
        Finding(
            code="size",
            severity="warning",
            message=f"The mould measures {' x '.join(f'{side:.4g}' for side in box)} mm. "
            f"Was this file in mm or inches?{so}",
            hint="Measure one edge; scale the mould if it does not match.",
        )
    ]


def check_health(welded: Welded) -> list[Finding]:
    """Report open, flipped and crowded edges, doubles and faces without area.

    Faces in the findings are those of the mould as it was given.
    """
    mesh = welded.mesh
    found = [_doubled_faces(mesh), _open_edges(mesh), _crowded(mesh), _flipped(mesh)]
    found += [_inside_out(mesh)]
    own = [_doubled_vertices(welded.doubled), _no_area(welded)]
    return [f for f in own if f] + [renumbered(f, welded.kept) for f in found if f]


def renumbered(finding: Finding, kept: Ints) -> Finding:
    """Return the finding with face numbers of the mould as given: `kept` (m,) of the welded."""
    return replace(finding, faces=tuple(kept[list(finding.faces)].tolist()))


def usable(mesh: MouldMesh) -> Bools:
    """(m,) True where a face has an area to speak of, so that its normal means something."""
    a, b, c = mesh.corners[:, 0], mesh.corners[:, 1], mesh.corners[:, 2]
    sides2 = [np.einsum("ij,ij->i", v, v) for v in (b - a, c - b, a - c)]
    longest2 = np.maximum.reduce(sides2)
    fair: Bools = 2 * mesh.areas > ZERO_AREA * longest2
    return fair


def wrong_way(mesh: MouldMesh) -> tuple[Bools, Bools]:
    """Return (m,) faces wound against the rest of their piece, and (m,) faces of one-sided pieces.

    Each face is put twice, once as it is and once turned round; neighbours join where their
    winding agrees. The smaller half of a piece, by area, is the wrong one.
    """
    m = len(mesh.faces)
    edges = mesh.edges
    if not edges.flipped.any():
        return np.zeros(m, bool), np.zeros(m, bool)
    pair = (edges.faces[:, 1] >= 0) & ~edges.crowded
    first, second = edges.faces[pair].T
    turn = edges.flipped[pair] * m
    joined = np.concatenate(
        [np.column_stack([first, second + turn]), np.column_stack([first + m, second + m - turn])]
    )
    side = groups(2 * m, joined)
    one_sided = side[:m] == side[m:]
    area = np.bincount(side[:m], mesh.areas, minlength=2 * m)
    here, there = area[side[:m]], area[side[m:]]
    wrong = (here < there) | ((here == there) & (side[:m] > side[m:]))
    return wrong & ~one_sided, one_sided


def _doubled_vertices(doubled: int) -> Finding | None:
    if not doubled:
        return None
    return Finding(
        code="doubled_vertices",
        severity="note",
        message=(
            "1 vertex lies on top of another"
            if doubled == 1
            else f"{doubled} vertices lie on top of others"
        )
        + ", as in a file that stores each triangle by itself.",
        hint="Merge vertices by distance before faces are selected for plies.",
    )


def _no_area(welded: Welded) -> Finding | None:
    slim = welded.kept[~usable(welded.mesh)]
    faces = np.union1d(slim, welded.collapsed)
    if not len(faces):
        return None
    return Finding(
        code="no_area",
        severity="warning",
        message=f"{len(faces)} faces have no area.",
        hint="Dissolve them, or merge vertices by distance.",
        faces=_tuple(faces),
    )


def _doubled_faces(mesh: MouldMesh) -> Finding | None:
    edges = mesh.edges
    partner = edges.faces.sum(axis=1)[edges.of_face]  # plus its own number, the same for all
    maybe = edges.crowded[edges.of_face].any(axis=1)
    for side in range(3):  # a doubled face meets one other face over two edges
        maybe |= partner[:, side] == partner[:, side - 1]
    some = np.flatnonzero(maybe & usable(mesh))
    corners = np.sort(mesh.faces[some], axis=1)
    order = np.lexsort(corners.T)
    same = (np.diff(corners[order], axis=0) == 0).all(axis=1)
    faces = np.sort(some[order[1:][same]])
    if not len(faces):
        return None
    return Finding(
        code="doubled_faces",
        severity="warning",
        message=f"{len(faces)} faces lie exactly on other faces.",
        hint="Delete the doubled faces.",
        faces=_tuple(faces),
    )


def _open_edges(mesh: MouldMesh) -> Finding | None:
    edges = mesh.edges
    rim = edges.vertices[edges.boundary]
    if not len(rim):
        return None
    spots, number = np.unique(rim, return_inverse=True)
    rims = len(np.unique(groups(len(spots), number.reshape(-1, 2))))
    length = np.linalg.norm(np.diff(mesh.vertices[rim], axis=1), axis=2).sum()
    closed = is_closed(mesh)
    faces = np.flatnonzero(edges.boundary[edges.of_face].any(axis=1))
    return Finding(
        code="open_edges",
        severity="warning" if closed else "note",
        message=f"{len(rim)} open edges in {rims} {'rim' if rims == 1 else 'rims'}, "
        f"{length:.0f} mm in all: the mould is "
        + ("not tight, a slicer may fill or drop parts of it." if closed else "a skin."),
        hint="Fill the holes." if closed else "Give it a thickness before it is printed.",
        faces=_tuple(faces),
    )


def _crowded(mesh: MouldMesh) -> Finding | None:
    edges = mesh.edges
    if not edges.crowded.any():
        return None
    return Finding(
        code="crowded_edges",
        severity="warning",
        message=f"{int(edges.crowded.sum())} edges are shared by three faces or more.",
        hint="Delete the inner faces, so that each edge joins two.",
        faces=_tuple(np.flatnonzero(edges.crowded[edges.of_face].any(axis=1))),
    )


def _flipped(mesh: MouldMesh) -> Finding | None:
    wrong, one_sided = wrong_way(mesh)
    faces = np.flatnonzero(wrong | (one_sided & mesh.edges.flipped[mesh.edges.of_face].any(axis=1)))
    if not len(faces):
        return None
    twisted = " The surface has only one side (it is twisted in itself)." if one_sided.any() else ""
    return Finding(
        code="flipped_faces",
        severity="warning",
        message=f"{len(faces)} faces look to the wrong side.{twisted}",
        hint="Recalculate the normals so that all look outwards.",
        faces=_tuple(faces),
    )


def _inside_out(mesh: MouldMesh) -> Finding | None:
    if not len(mesh.faces) or not is_closed(mesh) or mesh.edges.boundary.any():
        return None
    middle = mesh.vertices[mesh.faces].mean(axis=(0, 1))
    volume = np.einsum("ij,ij->", mesh.corners[:, 0] - middle, mesh.double_areas) / 6
    if not volume < -1e-9 * size_mm(mesh) ** 3:
        return None
    return Finding(
        code="inside_out",
        severity="warning",
        message="All faces of the block look inwards.",
        hint="Flip the normals.",
        faces=_tuple(np.arange(len(mesh.faces))),
    )


def _tuple(faces: Ints) -> tuple[int, ...]:
    return tuple(faces.tolist())
