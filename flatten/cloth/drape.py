"""Drape a cloth over a surface: the flat shape to cut, and how the cloth strains on the mould."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import Bools, Floats, Ints, frozen_floats, unit_vector
from ..errors import InputError
from ..progress import Progress, silent
from ..surface.mesh import SurfaceMesh, components
from .energy import Panels
from .fabric import Fabric
from .factor import SparseSystem
from .law import Law
from .minimise import Springs, minimise
from .spines import Spines, find_tack, trace_spines
from .start import first_layout, lay_along
from .strain import fabric_strain

Method = Literal["worked_out", "least_shear"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Drape:
    """A cloth laid on a surface.

    `flat` (n, 2) mm, the surface's vertices in the flat cloth: warp along +x, the tack point at
    the origin, triangles counter-clockwise as seen from the lay-up side; `strain` (m, 3) warp
    stretch, weft stretch (length on the mould / in the flat cloth - 1), shear in radians,
    positive where warp and weft close up; `settled` (m,) False where the net is not determined
    by its two spines; `spines` the warp and the weft on the mould, (., 3) mm.
    """

    surface: SurfaceMesh
    flat: Floats
    strain: Floats
    settled: Bools
    converged: bool
    iterations: int
    residual: float
    tack_mm: Floats
    warp: Floats
    spines: tuple[Floats, Floats]

    def flat_at(self, faces: Ints, barycentric: Floats) -> Floats:
        """Return (k, 2) mm: points on faces, by weights (k, 3) of their corners, in the cloth."""
        placed: Floats = np.einsum("kj,kjd->kd", barycentric, self.flat[self.surface.faces[faces]])
        return placed


def drape_surface(
    mesh: SurfaceMesh,
    fabric: Fabric,
    *,
    tack_mm: ArrayLike,
    warp: ArrayLike,
    method: Method = "worked_out",
    spines: Spines | None = None,
    progress: Progress = silent,
) -> Drape:
    """Lay a cloth on a surface and return its flat shape.

    Parameters
    ----------
    mesh : the surface, one piece that opens flat; holes are fine
    fabric : the cloth; its kind chooses the law
    tack_mm : (3,) where it is pressed down first
    warp : (3,) the warp direction there; its part in the surface counts
    method : "worked_out" from the tack point along both threads (the classical pin-jointed
        net), or "least_shear": only the tack point and the heading are held
    spines : points held on threads, instead of the straightest lines through the tack point

    Raises
    ------
    InputError : two pieces, a handle, a closed surface, tack off the surface, warp along the
        normal
    """
    if method not in ("worked_out", "least_shear"):
        raise InputError(f"method is '{method}'.", "Use worked_out or least_shear.")
    _refuse_unflattable(mesh)
    tack = find_tack(mesh, frozen_floats("tack_mm", tack_mm, (3,)), unit_vector("warp", warp))
    if spines is None:
        reach = None if method == "worked_out" else 0.1 * mesh.size_mm
        spines = trace_spines(mesh, tack, reach_mm=reach)
    panels = Panels.of(mesh)
    system = SparseSystem(mesh.faces, mesh.edges, len(mesh.vertices))
    law = Law(shear=fabric.stiffness_shear)
    start = lay_along(mesh, panels, first_layout(mesh, panels, system), tack, spines)
    springs = Springs(system, spines, mesh.edges.vertices)
    layout = minimise(panels, law, system, springs, start, progress=progress)
    flat = layout.flat.T
    origin = tack.point.barycentric @ flat[mesh.faces[tack.point.face]]
    flat = frozen_floats("flat", flat - origin, (len(mesh.vertices), 2))
    return Drape(
        surface=mesh,
        flat=flat,
        strain=fabric_strain(mesh, flat),
        settled=np.ones(len(mesh.faces), bool),
        converged=layout.converged,
        iterations=layout.iterations,
        residual=layout.residual,
        tack_mm=tack.point.position,
        warp=tack.warp,
        spines=spines.lines,
    )


def _refuse_unflattable(mesh: SurfaceMesh) -> None:
    piece = components(mesh.faces, mesh.edges)
    if piece.max() > 0:
        raise InputError(
            f"The surface is in {piece.max() + 1} pieces.",
            "Make each piece a ply of its own, or join them.",
            faces=np.flatnonzero(piece > 0),
        )
    loops = mesh.edges.boundary_loops(mesh.faces)
    if not loops:
        raise InputError(
            "The surface is closed: cloth cannot be laid on it in one flat piece.",
            "Mark a cut that opens it, or leave some faces out.",
        )
    used = len(np.unique(mesh.faces))
    euler = used - len(mesh.edges.vertices) + len(mesh.faces)
    handles = (2 - len(loops) - euler) // 2
    if handles > 0:
        raise InputError(
            f"The surface has {handles} handle{'s' * (handles > 1)}, like a cup.",
            "Mark a cut through each handle, or leave it out.",
        )
