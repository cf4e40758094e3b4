"""The first flat layout: conformal, two far boundary points pinned, laid along the spines.

Source: Levy, Petitjean, Ray & Maillot, Least Squares Conformal Maps, 2002. Two far pins flip no
triangle where pins at the tack point do (measured on caps, bumps and trays).
"""

from __future__ import annotations

import numpy as np

from ..arrays import Floats
from ..errors import SolveError
from ..surface.mesh import SurfaceMesh
from .energy import Panels, corner_blocks
from .factor import SparseSystem
from .spines import Spines, Tack


def first_layout(mesh: SurfaceMesh, panels: Panels, system: SparseSystem) -> Floats:
    """Return a conformal layout (2, n), its area that of the surface."""
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
            "Check it for faces joined by one point only.",
        )
    flat = system.solve(rhs).reshape(-1, 2).T
    x1, x2 = panels.gradients(flat[0])
    y1, y2 = panels.gradients(flat[1])
    share = float(panels.areas @ (x1 * y2 - x2 * y1)) / float(panels.areas.sum())
    return flat / np.sqrt(share) if share > 0 else flat


def lay_along(
    mesh: SurfaceMesh, panels: Panels, flat: Floats, tack: Tack, spines: Spines
) -> Floats:
    """Turn and move a layout so that the tack point is the origin and the warp runs along x."""
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
