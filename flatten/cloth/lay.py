"""From a surface, a cloth and a tack point to the flat layout: which route the solver takes."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from ..arrays import Floats
from ..progress import Progress, part_of
from ..surface.geodesic import Tracer
from ..surface.mesh import SurfaceMesh
from .bending import Bending, opposite_pairs
from .coarse import carry, clustered_surface, held_on
from .energy import Panels, ThreadEnergy
from .fabric import Fabric
from .factor import SparseSystem
from .isotropic import SheetEnergy
from .law import thread_law
from .minimise import STEP_MM, Energy, Layout, Springs, minimise, threads_close
from .spines import Spines, Tack, find_tack, just_fixed, only_near, spines_along, trace_spines
from .start import first_layout, lay_along

Method = Literal["worked_out", "least_shear"]
METHODS: tuple[Method, ...] = ("worked_out", "least_shear")
# Where only the tack point and the heading are given, the threads are held straight so far from
# it, as a share of the size: a heading read in one triangle leaves a small rotation.
HEADING_REACH = 0.05
# Meshes with more triangles are solved coarse to fine, the coarse one to this share of its size.
COARSE_ABOVE, ROUGHLY = 5_000, 1e-4
# Where the cloth locks, a start is taken from a coarse mesh only if that has triangles enough to
# show the folds: a twentieth of these.
LOCKED_ABOVE = 20_000
# Where cloth locks, threads also resist bending in their plane (mm2: a tow 3.5 mm wide as a
# solid strip has 3.5^2 / 12) and shear less freely, as jammed yarns do. Of what was tried this
# makes the outline of a tray depend least on its mesh: sheared more freely, kinks are as narrow
# as triangles; stiffer against bending, the shape of the triangles is felt.
BENDING_MM2 = 1.0
LOCKING_SHEAR = 3e-2
# Cloth that locks shears beyond this with those too; else it may yet show that it does not.
SHEARS_DEG = 45.0
# First with stiffer threads, roughly: one answer from any start; then as they are.
STIFF_MM2, ROUGHLY_MM = 3.0, 0.1


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Task:
    """What is to be laid and how; `turn` (radians) from the roll direction to the first fibre."""

    fabric: Fabric
    tack_mm: Floats
    warp: Floats
    turn: float
    method: Method
    lines: tuple[Floats, Floats] | None = None  # the two threads, where they are given


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Laid:
    """The tack, the held spines, the layout; `locks`: it took bending threads to make it one."""

    tack: Tack
    spines: Spines
    layout: Layout
    locks: bool


def lay(mesh: SurfaceMesh, task: Task, progress: Progress, *, start: Floats | None = None) -> Laid:
    """Lay the cloth, from `start` (2, n) mm, or from a coarser mesh first where that is quicker.

    Threads are inextensible and free to bend where that has an answer. Where the cloth locks
    (threads nearly on each other), they also resist bending in the plane; see bending.py.
    """
    tracer = Tracer(mesh)
    tack = find_tack(tracer, task.tack_mm, task.warp, task.turn)
    held = _hold(tracer, task, tack)
    layout, locks = _lay_held(mesh, task, tack, held, progress, start=start)
    return Laid(tack=tack, spines=held, layout=layout, locks=locks)


def _lay_held(
    mesh: SurfaceMesh,
    task: Task,
    tack: Tack,
    held: Spines,
    progress: Progress,
    step_mm: float = STEP_MM,
    start: Floats | None = None,
) -> tuple[Layout, bool]:
    """Return the layout with these points held, and whether it took bending threads."""
    panels = Panels.of(mesh)
    near = False
    if start is None and len(mesh.faces) > COARSE_ABOVE:
        part = part_of(progress, 0.0, 0.3)
        start, near = _from_coarse(mesh, task, tack, held, panels, part)
        progress = part_of(progress, 0.3, 1.0)
    carried = start is not None
    system = SparseSystem(mesh.faces, mesh.edges, len(mesh.vertices), points=mesh.vertices)
    springs = Springs(system, held, mesh)
    if start is None:
        start = lay_along(mesh, panels, first_layout(mesh, panels, system), tack)
    if not task.fabric.directional:
        sheet = SheetEnergy(panels)
        return minimise(sheet, system, springs, start, progress=progress, step_mm=step_mm), False
    free = ThreadEnergy(panels, thread_law(task.fabric))
    spent = 0
    part = part_of(progress, 0.0, 0.5)
    while not near:
        layout = minimise(
            free, system, springs, start, progress=part, step_mm=step_mm, until_lock=True
        )
        layout = layout.after(spent)
        if layout.converged:
            return layout, False
        spent = layout.iterations
        if not carried:
            break
        # A carried start can be folded where the fine mesh has what the coarse one leaves out.
        start, carried = lay_along(mesh, panels, first_layout(mesh, panels, system), tack), False
    bent = _lay_bending(mesh, task, panels, held, start, near, part_of(progress, 0.5, 0.9))
    bent = bent.after(spent)
    if not threads_close(panels, bent.flat):  # it may only have seemed to lock, on the way
        again = minimise(
            free,
            system,
            springs,
            bent.flat,
            progress=part_of(progress, 0.9, 1.0),
            until_lock=threads_close(panels, bent.flat, SHEARS_DEG),
        )
        close = threads_close(panels, again.flat)
        if again.converged and not (close and bent.converged):
            return again.after(bent.iterations), close
    return bent, True


def _from_coarse(
    mesh: SurfaceMesh, task: Task, tack: Tack, held: Spines, panels: Panels, progress: Progress
) -> tuple[Floats | None, bool]:
    """Return the layout carried from a coarse mesh, if any, and whether the cloth locks."""
    coarse = clustered_surface(mesh)
    if coarse is None:
        return None, False
    on_coarse = held_on(coarse, mesh, tack, held)
    rough_mm = ROUGHLY * mesh.size_mm
    layout, locks = _lay_held(coarse.surface, task, *on_coarse, progress, rough_mm)
    if not layout.converged or (locks and len(mesh.faces) < LOCKED_ABOVE):
        return None, False
    start = carry(coarse, layout.flat, mesh, panels)
    return start, locks and start is not None


def _lay_bending(
    mesh: SurfaceMesh,
    task: Task,
    panels: Panels,
    held: Spines,
    start: Floats,
    near: bool,
    progress: Progress,
) -> Layout:
    """Return the layout of threads that resist bending; `near`: the start is nearly there."""
    system = SparseSystem(
        mesh.faces,
        mesh.edges,
        len(mesh.vertices),
        opposite_pairs(mesh),
        points=mesh.vertices,
    )
    springs = Springs(system, held, mesh, lets_go=True)
    law = thread_law(task.fabric)
    law = replace(law, shear=max(law.shear, LOCKING_SHEAR))
    spent = 0
    if not near:
        stiff: Energy = ThreadEnergy(panels, law, Bending(mesh, system, STIFF_MM2))
        first = minimise(stiff, system, springs, start, progress=progress, step_mm=ROUGHLY_MM)
        start, spent = first.flat, first.iterations
    cloth: Energy = ThreadEnergy(panels, law, Bending(mesh, system, BENDING_MM2))
    return minimise(cloth, system, springs, start, progress=progress).after(spent)


def _hold(tracer: Tracer, task: Task, tack: Tack) -> Spines:
    """Return the points held: both threads, the fibres' one, or just the heading at the tack."""
    mesh, fabric = tracer.mesh, task.fabric
    reach = HEADING_REACH * mesh.spread_mm
    if task.lines is not None:
        edge = mesh.vertices[mesh.edges.vertices]
        spacing = float(np.median(np.sqrt(((edge[:, 1] - edge[:, 0]) ** 2).sum(axis=1))))
        return spines_along(mesh, task.lines, spacing)
    spines = trace_spines(tracer, tack)
    if not fabric.directional:
        return just_fixed(spines, mesh, tack, reach)
    if fabric.kind == "unidirectional" or task.method == "least_shear":
        spines = only_near(spines, mesh, tack, 0, reach)
    if task.method == "least_shear":
        spines = only_near(spines, mesh, tack, 1, reach)
    return spines
