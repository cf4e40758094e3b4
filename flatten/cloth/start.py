"""The first flat layout: conformal, two far boundary points pinned, laid along the spines.

Source: Levy, Petitjean, Ray & Maillot, Least Squares Conformal Maps, 2002. Two far pins flip no
triangle where pins at the tack point do (measured on caps, bumps and trays).
"""

from __future__ import annotations

import numpy as np

from ..arrays import Bools, Floats
from ..errors import SolveError
from ..progress import Progress, silent
from ..surface.mesh import MouldMesh, SurfaceMesh
from .energy import Panels, corner_blocks
from .factor import SparseSystem
from .isotropic import SheetEnergy
from .minimise import Springs, minimise
from .spines import Spines, Tack

ROUNDS = 8  # of smoothing where a layout turns triangles over
# Below this share of a triangle's area on the surface it counts as turned over, and is smoothed.
THIN = 0.02


def first_layout(
    mesh: SurfaceMesh, panels: Panels, system: SparseSystem, progress: Progress = silent
) -> Floats:
    """Return a layout (2, n) with every triangle counter-clockwise, its area that of the surface.

    Conformal; where that turns triangles over, from a disc (Tutte, How to draw a graph, 1963)
    relaxed as a sheet without threads: a minute on large parts, so `progress` may stop it.

    Raises
    ------
    SolveError : triangles stay turned over
    """
    flat = untangled(_conformal(mesh, panels, system), mesh, panels)
    if flat is not None:
        return flat
    flat = _onto_disc(mesh, system)
    if turned_over(panels, flat, 0.0).any():
        raise SolveError(
            "The surface cannot be laid flat to begin with.",
            "Mark a cut or a dart that lets it open, or close small holes.",
        )
    none = np.zeros(0, np.int64)
    free = Springs(
        system, Spines(none, np.zeros((0, 3)), none, (flat.T, flat.T), np.zeros(0)), mesh
    )
    return minimise(SheetEnergy(panels), system, free, flat, progress=progress, step_mm=1.0).flat


def _conformal(mesh: SurfaceMesh, panels: Panels, system: SparseSystem) -> Floats:
    blocks = _conformal_blocks(panels)
    values = system.assemble(blocks)
    rhs = np.zeros(2 * system.count)
    first, second = _far_pins(mesh)
    size = float(np.linalg.norm(mesh.vertices[first] - mesh.vertices[second]))
    pinned = np.array([2 * first, 2 * first + 1, 2 * second, 2 * second + 1])
    system.pin(values, rhs, pinned, np.array([0.0, 0.0, size, 0.0]))
    if not system.factorise(values):
        raise SolveError(
            "The surface cannot be laid flat to begin with.",
            "Check it for faces joined by one point only, and for needle-like faces.",
        )
    flat = system.solve(rhs).reshape(-1, 2).T
    return _to_scale(panels, flat)


def _to_scale(panels: Panels, flat: Floats) -> Floats:
    x1, x2 = panels.gradients(flat[0])
    y1, y2 = panels.gradients(flat[1])
    share = float(panels.areas @ (x1 * y2 - x2 * y1)) / float(panels.areas.sum())
    return flat / np.sqrt(share) if share > 0 else flat


def _onto_disc(mesh: SurfaceMesh, system: SparseSystem) -> Floats:
    """Return the layout on a disc: outer loop on the circle, every other vertex amid its edges."""
    ends = mesh.edges.vertices
    loops = mesh.edges.boundary_loops(mesh.faces)
    lengths = [
        np.sqrt(((mesh.vertices[np.roll(loop, -1)] - mesh.vertices[loop]) ** 2).sum(axis=1))
        for loop in loops
    ]
    outer = int(np.argmax([length.sum() for length in lengths]))
    loop, length = loops[outer], lengths[outer]
    angle = 2 * np.pi * (np.cumsum(length) - length) / length.sum()
    values = np.zeros(system.entries)
    degree = np.bincount(ends.ravel(), minlength=system.count).astype(float)
    for axis in (0, 1):
        values[system.diagonal(axis)] = np.maximum(degree, 1)
        values[system.beside(axis)[system.edge_pair]] = -1.0
    rhs = np.zeros(2 * system.count)
    radius = np.sqrt(float(mesh.areas.sum()) / np.pi)
    pinned = np.concatenate([2 * loop, 2 * loop + 1])
    place = radius * np.concatenate([np.cos(angle), np.sin(angle)])
    system.pin(values, rhs, pinned, place)
    system.factorise(values)
    return system.solve(rhs).reshape(-1, 2).T


def untangled(flat: Floats, mesh: MouldMesh, panels: Panels) -> Floats | None:
    """Return the layout (2, n) mm with corners of turned-over triangles amid their neighbours.

    None where triangles stay turned over.
    """
    low, high = mesh.edges.vertices.T
    flat = np.array(flat)
    degree = np.bincount(mesh.edges.vertices.ravel(), minlength=len(mesh.vertices))
    for _ in range(ROUNDS):
        bad = turned_over(panels, flat, THIN)
        if not bad.any():
            return flat
        vertices = np.unique(panels.corner[:, bad])
        for axis in (0, 1):
            around = np.bincount(low, flat[axis, high], len(degree))
            around += np.bincount(high, flat[axis, low], len(degree))
            flat[axis, vertices] = around[vertices] / degree[vertices]
    return None


def turned_over(panels: Panels, flat: Floats, least: float) -> Bools:
    """Return (m,) whether a triangle's area in `flat` (2, n) is below this share of its area."""
    x1, x2 = panels.gradients(flat[0])
    y1, y2 = panels.gradients(flat[1])
    return np.asarray(~(x1 * y2 - x2 * y1 > least), bool)


def lay_along(mesh: SurfaceMesh, panels: Panels, flat: Floats, tack: Tack) -> Floats:
    """Return a layout (2, n) mm turned and moved: tack point at the origin, warp along x."""
    corners = mesh.faces[tack.point.face]
    origin = flat[:, corners] @ tack.point.barycentric
    sides = mesh.vertices[corners[1:]] - mesh.vertices[corners[0]]
    drop = tack.warp - mesh.normals[tack.point.face] * (mesh.normals[tack.point.face] @ tack.warp)
    share = np.linalg.lstsq(sides.T, drop, rcond=None)[0]
    image = (flat[:, corners[1:]] - flat[:, corners[:1]]) @ share
    cosine, sine = (image / np.linalg.norm(image)).tolist()
    turn = np.array([[cosine, sine], [-sine, cosine]])
    return np.asarray(turn @ (flat - origin[:, None]), np.float64)


def _far_pins(mesh: SurfaceMesh) -> tuple[int, int]:
    edges = mesh.edges
    rim = np.unique(edges.vertices[edges.boundary])
    points = mesh.vertices[rim]
    first = ((points - points.mean(axis=0)) ** 2).sum(axis=1).argmax()
    second = ((points - points[first]) ** 2).sum(axis=1).argmax()
    return int(rim[first]), int(rim[second])


def _conformal_blocks(panels: Panels) -> Floats:
    """Return the blocks of 1/2 A |grad y - turned grad x|^2."""
    a, b, c, h = panels.areas, panels.inverse_base, panels.shift, panels.inverse_height
    e11, e12, e22 = a * (b * b + c * c), -a * c * h, a * h * h
    cross = a * b * h  # x1 y2 - x2 y1, the flat area, enters with -2 A det
    zero = np.zeros_like(a)
    return corner_blocks((e11, e12, e22), (e11, e12, e22), [[zero, -cross], [cross, zero]])
