"""Ply outlines, tack crosses and 0-degree ticks as fine grooves in a copy of the mould."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from ..arrays import Floats, Ints
from ..errors import InputError, SolveError
from ..surface.edges import Edges
from ..surface.mesh import MouldMesh
from ..surface.rosette import Rosette
from .split import distance_to_pieces, near_pairs, split_near
from .tape import frame_at, lay_tape

ACROSS = 3.0  # triangles over the width of a groove
BOTTOM = 0.5  # share of the width at full depth; the flanks rise in straight slopes
MOST_TRIANGLES = 4_000_000
CROSS_MM, TICK_MM = 8.0, 30.0  # arms of the tack cross; the arm along 0 degrees


def engrave(
    mesh: MouldMesh, lines: Sequence[Floats], *, depth_mm: float = 0.4, width_mm: float = 0.8
) -> MouldMesh:
    """Return the mould with grooves along the lines, closed as before.

    The triangles near a line are split, then sunk along the surface's normal: no boolean
    operation, so nothing can open. Limits: the lines must lie on the surface; walls must be
    thicker than depth and width together (the far side would be engraved too); in a corner
    sharper than the groove is wide the groove fades.

    Parameters
    ----------
    lines : each (k, 3) mm on the mould; a closed one repeats its first point
    depth_mm, width_mm : of the groove; the depth at most the width

    Raises
    ------
    InputError : no lines, an open mould, a groove too fine, too deep or too wide
    SolveError : the groove would turn the surface inside out
    """
    _check_groove(depth_mm, width_mm)
    _refuse_open(mesh)
    pieces = _pieces(lines, width_mm)
    length = float(np.linalg.norm(pieces[:, 1] - pieces[:, 0], axis=1).sum())
    edge = width_mm / ACROSS
    if 12 * length * (width_mm + 2 * edge) / edge**2 > MOST_TRIANGLES:
        raise InputError(
            f"{length / 1000:.1f} m of grooves {width_mm:g} mm wide need too many triangles.",
            "Choose wider grooves, or fewer plies.",
        )
    vertices, faces = split_near(
        mesh.vertices, mesh.faces, pieces, within_mm=width_mm / 2, edge_mm=edge
    )
    distance = distance_to_pieces(vertices, pieces, width_mm / 2)
    slope = (1 - BOTTOM) * width_mm / 2
    share = np.clip((width_mm / 2 - distance) / slope, 0, 1)
    toward = _sinking(vertices, faces, pieces, width_mm)
    sunk = vertices - (depth_mm * share)[:, None] * toward
    touched = faces[(share[faces] > 0).any(axis=1)]
    _refuse_folded(vertices, sunk, touched, toward, depth_mm)
    return MouldMesh(sunk, faces)


def ply_outline_lines(mesh: MouldMesh, faces: Ints) -> list[Floats]:
    """Return the edge of a region of faces as closed lines (k, 3) mm."""
    region = mesh.faces[faces]
    edges = Edges(region)
    lines = []
    for loop in edges.boundary_loops(region):
        lines.append(mesh.vertices[np.append(loop, loop[:1])])
    return lines


def tack_lines(mesh: MouldMesh, faces: Ints, tack_mm: Floats, rosette: Rosette) -> list[Floats]:
    """Return the cross at a tack point (3,) mm, longer along 0 degrees, as lines (k, 3) mm."""
    zero, across, up = frame_at(mesh, faces, tack_mm, rosette)
    arms = ((zero, TICK_MM), (across, CROSS_MM), (-zero, CROSS_MM), (-across, CROSS_MM))
    lines = []
    for way, length in arms:
        tape = lay_tape(mesh, faces, tack_mm, way, up).upto(length)
        if len(tape.points) > 1:
            lines.append(tape.points)
    return lines


def volume_mm3(mesh: MouldMesh) -> float:
    """Return the volume inside a closed mesh, positive where normals look outwards."""
    return float((mesh.corners[:, 0] * mesh.double_areas).sum() / 6)


def _check_groove(depth_mm: float, width_mm: float) -> None:
    if not 0.1 <= width_mm <= 20:
        raise InputError(f"Grooves: width_mm is {width_mm}.", "Enter 0.1 to 20 mm.")
    if not 0.05 <= depth_mm <= width_mm:
        raise InputError(
            f"Grooves: depth_mm is {depth_mm}, width_mm {width_mm}.",
            "Enter a depth from 0.05 mm up to the width.",
        )


def _refuse_open(mesh: MouldMesh) -> None:
    edges = mesh.edges
    open_ = edges.count != 2
    if not len(mesh.faces) or open_.any():
        faces = np.flatnonzero(open_[edges.of_face].any(axis=1)) if len(mesh.faces) else ()
        raise InputError(
            f"The mould is not closed: {int(open_.sum())} edges are open or crowded.",
            "Give the mould a thickness, so that it can be printed, then engrave it.",
            faces=faces,
        )
    if edges.flipped.any():
        raise InputError(
            f"{int(edges.flipped.sum())} edges of the mould join faces that look to opposite "
            "sides.",
            "Recalculate the normals to look outwards.",
            faces=np.flatnonzero(edges.flipped[edges.of_face].any(axis=1)),
        )
    if volume_mm3(mesh) <= 0:
        raise InputError(
            "The mould's normals look inwards.", "Recalculate the normals to look outwards."
        )


def _pieces(lines: Sequence[Floats], width_mm: float) -> Floats:
    """Return (k, 2, 3): the lines in straight pieces no longer than the groove is wide."""
    pieces = []
    for line in lines:
        for start, end in pairwise(line):
            length = float(np.linalg.norm(end - start))
            if length > 0:
                count = int(np.ceil(length / width_mm))
                at = start + np.linspace(0, 1, count + 1)[:, None] * (end - start)
                pieces.append(np.stack([at[:-1], at[1:]], axis=1))
    if not pieces:
        raise InputError("There is no line to engrave.", "Choose a ply or a tack point.")
    return np.concatenate(pieces)


def _sinking(vertices: Floats, faces: Ints, pieces: Floats, width_mm: float) -> Floats:
    """Return (n, 3) unit directions to sink in, one over the whole width of a groove.

    Over a sharp edge the normals of its two sides would drive the groove's flanks through each
    other. Every piece of line has one direction, the mean normal of the strip around it, taken
    with its neighbours'; a vertex takes the mean of the pieces near it. So a groove is a trench
    seen from one direction, and cannot fold while the surface faces that direction.
    """
    centres = pieces.mean(axis=1)
    toward = _weighted(centres, vertices, _vertex_normals(vertices, faces), 1.5 * width_mm)
    toward = _weighted(centres, centres, toward, 3.0 * width_mm)
    return _weighted(vertices, centres, toward, 2.0 * width_mm)


def _weighted(points: Floats, others: Floats, values: Floats, reach_mm: float) -> Floats:
    """Return (n, 3) unit means of the values at `others` within reach, the nearer the more."""
    total = np.zeros((len(points), 3))
    for i, j in near_pairs(points, others, reach_mm):
        away = np.linalg.norm(points[i] - others[j], axis=1)
        weight = np.clip(1 - away / reach_mm, 0, None) ** 2
        for axis in range(3):
            total[:, axis] += np.bincount(i, weight * values[j, axis], minlength=len(points))
    unit: Floats = total / np.maximum(np.linalg.norm(total, axis=1), 1e-300)[:, None]
    return unit


def _vertex_normals(vertices: Floats, faces: Ints) -> Floats:
    """Return (n, 3) area vectors: the sum of the normals of the faces around, by area."""
    corners = vertices[faces]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    total = np.zeros_like(vertices)
    for j in range(3):
        for axis in range(3):
            total[:, axis] += np.bincount(faces[:, j], normal[:, axis], minlength=len(vertices))
    return total


def _refuse_folded(
    before: Floats, after: Floats, faces: Ints, toward: Floats, depth_mm: float
) -> None:
    """Refuse a trench that is no longer one: a face that looked up its direction looks down."""
    up = toward[faces].mean(axis=1)

    def looks(vertices: Floats) -> Floats:
        corners = vertices[faces]
        normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        seen: Floats = (normal * up).sum(axis=1)
        return seen

    turned = (looks(before) > 1e-9) & (looks(after) < -1e-9)
    if turned.any():
        raise SolveError(
            f"Grooves {depth_mm:g} mm deep do not fit the sharp corners they run through.",
            "Choose a smaller depth, or round the corner.",
        )
