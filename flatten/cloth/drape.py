"""Drape a cloth over a surface: the flat shape to cut, and how the cloth strains on the mould."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import Bools, Floats, Ints, frozen_floats, unit_vector
from ..errors import InputError
from ..progress import Progress, part_of, silent
from ..surface.locate import locate
from ..surface.mesh import SurfaceMesh
from ..surface.refine import Refined, refine
from .fabric import Fabric
from .flattable import check_opens_flat
from .lay import lay
from .laying import METHODS, Method, Task
from .settled import settled_faces
from .strain import fabric_strain, flat_areas
from .thread_stretch import thread_stretch

__all__ = ["METHODS", "Drape", "FineDrape", "Method", "drape_surface"]


@dataclass(frozen=True, kw_only=True, eq=False)
class FineDrape:
    """The drape on the refined mesh it was solved on.

    `flat` (n', 2) mm, `strain` (m', 3), `settled` (m',) as in Drape, for `surface`'s vertices
    and faces; `source_faces` (m',) the face of the given surface each lies on; `turn` radians from
    the roll direction to the first fibre, None without fibres; `locks` as in Drape.
    """

    surface: SurfaceMesh
    flat: Floats
    strain: Floats
    settled: Bools
    source_faces: Ints
    turn: float | None
    locks: bool

    @cached_property
    def stretch(self) -> Floats:
        """(m', 2) as in Drape; worked out when it is first asked for: searches never do."""
        straight = self.strain[:, :2]
        if self.turn is None:
            return straight
        along = self.flat @ _rotation(self.turn)
        return thread_stretch(self.surface, along, straight, bent=self.locks)


@dataclass(frozen=True, kw_only=True, eq=False)
class Drape:
    """A cloth laid on a surface.

    `surface` as given, n vertices and m faces; `flat` (n, 2) mm, its vertices in the flat cloth
    (0, 0 for a vertex no face uses):
    warp (the roll direction) along +x, the tack point at the origin, triangles counter-clockwise
    as seen from the lay-up side; `strain` (m, 3) warp stretch, weft stretch (length on the
    mould / in the flat cloth - 1), shear in radians, positive where warp and weft close up, each
    the mean over the face. For a stitched biaxial these are its two fibre directions.
    Threads count as straight across a triangle there; how far fibres stretch, `stretch` says.
    `locks`: threads come to lie nearly on each other, so that several lay-downs are possible.
    `settled` (m,) False where the net is not determined by its two spines; `converged`,
    `iterations`, `residual` (mm, the last step) of the solver; `tack_mm` (3,) on the surface;
    `warp` (3,) unit, the roll direction there; `spines` the two threads through the tack point
    on the mould, (., 3) mm; `fine` the same on the mesh it was solved on.
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
    method: Method
    locks: bool
    spines: tuple[Floats, Floats]
    fine: FineDrape

    @cached_property
    def stretch(self) -> Floats:
        """(m, 2) stretch of warp and weft as they curve (thread_stretch.py), the mean over a face.

        Of mat and film as in `strain`.
        """
        fine = self.fine
        refined = Refined(coarse=self.surface, surface=fine.surface, face_source=fine.source_faces)
        return refined.mean_per_face(
            fine.stretch, np.abs(flat_areas(fine.flat, fine.surface.faces))
        )

    def flat_at_points(self, points: Floats) -> Floats:
        """Return (k, 2) mm in the flat cloth: the surface points nearest to `points` (k, 3) mm."""
        found = locate(self.fine.surface, points)
        corners = self.fine.surface.faces[found.faces]
        return np.asarray(np.einsum("kj,kjd->kd", found.weights, self.fine.flat[corners]))


def drape_surface(
    mesh: SurfaceMesh,
    fabric: Fabric,
    *,
    tack_mm: ArrayLike,
    warp: ArrayLike,
    method: Method = "worked_out",
    spines: tuple[ArrayLike, ArrayLike] | None = None,
    max_edge_mm: float | None = None,
    source_faces: Ints | None = None,
    progress: Progress = silent,
) -> Drape:
    """Lay a cloth on a surface and return its flat shape.

    Parameters
    ----------
    mesh : the surface, one piece that opens flat; holes are fine. Slivers and large triangles
        are refined inside
    fabric : the cloth; its kind chooses the law (law.py, isotropic.py)
    tack_mm : (3,) where it is pressed down first
    warp : (3,) the roll direction there; its part in the surface counts
    method : "worked_out" from the tack point along both threads (the classical pin-jointed
        net), or "least_shear": only the tack point and the heading are held
    spines : two polylines (., 3) mm on the surface that cross in the tack point, the warp and the
        weft thread, instead of the straightest lines through it
    max_edge_mm : longest edge of the refined mesh, None: 5 mm or 1/60 of the size
    source_faces : (m,) what an error calls the faces, those of the mould; None: their own numbers
    progress : called with the share done; may raise Cancelled

    Raises
    ------
    InputError : two pieces, a handle, a closed surface, tack off the surface, warp along the
        normal there
    SolveError : the surface cannot be laid flat to begin with
    """
    if method not in METHODS:
        raise InputError(f"method is '{method}'.", f"Use one of {', '.join(METHODS)}.")
    used = np.flatnonzero(np.bincount(mesh.faces.ravel()))
    if len(used) < len(mesh.vertices):
        bare = SurfaceMesh(mesh.vertices[used], np.searchsorted(used, mesh.faces))
        drape = drape_surface(
            bare,
            fabric,
            tack_mm=tack_mm,
            warp=warp,
            method=method,
            spines=spines,
            max_edge_mm=max_edge_mm,
            source_faces=source_faces,
            progress=progress,
        )
        flat = np.zeros((len(mesh.vertices), 2))
        flat[used] = drape.flat
        return replace(drape, surface=mesh, flat=frozen_floats("flat", flat, flat.shape))
    check_opens_flat(mesh)
    tack_mm, warp = frozen_floats("tack_mm", tack_mm, (3,)), unit_vector("warp", warp)
    turn = _fibre_turn(fabric)
    progress(0.0, "Refining the surface")
    refined = refine(mesh, max_edge_mm=max_edge_mm, rank=_rank(mesh, tack_mm, warp))
    fine = refined.surface
    task = Task(
        fabric=fabric,
        tack_mm=tack_mm,
        warp=warp,
        turn=turn,
        method=method,
        lines=None if spines is None else (_line("warp", spines[0]), _line("weft", spines[1])),
    )
    laid = lay(fine, task, part_of(progress, 0.05, 0.95))
    tack, layout = laid.tack, laid.layout
    flat = layout.flat.T - tack.point.barycentric @ layout.flat.T[fine.faces[tack.point.face]]
    names = refined.face_source if source_faces is None else source_faces[refined.face_source]
    strain = fabric_strain(fine, flat, names)
    settled = np.ones(len(strain), bool)
    if fabric.directional and method == "worked_out":
        settled = settled_faces(fine, flat)
    flat = frozen_floats("flat", flat @ _rotation(turn).T, flat.shape)
    areas = np.abs(flat_areas(flat, fine.faces))
    return Drape(
        surface=mesh,
        flat=frozen_floats("flat", flat[: len(mesh.vertices)], (len(mesh.vertices), 2)),
        strain=strain if refined.unchanged else refined.mean_per_face(strain, areas),
        settled=settled
        if refined.unchanged
        else refined.mean_per_face(settled.astype(float), areas) > 0.5,
        converged=layout.converged,
        iterations=layout.iterations,
        residual=layout.residual,
        tack_mm=tack.point.position,
        warp=np.cos(turn) * tack.warp - np.sin(turn) * tack.weft,
        method=method,
        locks=laid.locks,
        spines=laid.spines.lines,
        fine=FineDrape(
            surface=fine,
            flat=flat,
            strain=strain,
            settled=settled,
            source_faces=refined.face_source,
            turn=turn if fabric.directional else None,
            locks=laid.locks,
        ),
    )


def _rank(mesh: SurfaceMesh, tack_mm: Floats, warp: Floats) -> Floats:
    """Return (n,) heights along a direction that is fixed to warp, tack point and surface.

    Askew to all of them, so that no two vertices of a regular part are alike.
    """
    away = mesh.vertices - tack_mm
    out = mesh.middle - tack_mm
    side = np.zeros(3)
    for way, size in ((out, mesh.spread_mm), (mesh.double_areas.sum(axis=0), mesh.areas.sum())):
        across = way - warp * (warp @ way)
        if np.linalg.norm(across) > 1e-3 * size:
            side = across / np.linalg.norm(across)
            break
    askew = warp + (np.sqrt(2) - 1) * side + (np.sqrt(3) - 1) * np.cross(warp, side)
    return np.asarray(away @ askew)


def _fibre_turn(fabric: Fabric) -> float:
    """Return the angle (radians) from the roll direction to the first of two crossing fibres."""
    angles = fabric.fibre_angles_deg
    if fabric.kind != "biaxial" or len(angles) != 2:
        return 0.0
    if abs(abs(angles[0] - angles[1]) - 90) > 1e-6:
        raise InputError(
            f"Cloth '{fabric.id}': its fibres run at {angles[0]:g} and {angles[1]:g} degrees.",
            "Use a biaxial whose two fibre directions are at right angles.",
        )
    return float(np.radians(angles[0]))


def _line(name: str, points: ArrayLike) -> Floats:
    return frozen_floats(f"{name} line", points, (None, 3))


def _rotation(angle: float) -> Floats:
    return np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
