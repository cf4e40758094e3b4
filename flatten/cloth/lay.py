"""From a surface, a cloth and a tack point to the flat layout: which route the solver takes."""

from __future__ import annotations

from dataclasses import dataclass
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
from .jam import FROM_DEG, SURELY_DEG, jammed, most_shear_deg
from .law import thread_law
from .minimise import STEP_MM, Energy, Layout, Springs, minimise
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
# Where cloth is jammed, threads also resist bending in their plane (mm2: a tow 3.5 mm wide as a
# solid strip has 3.5^2 / 12). Without, kinks are as narrow as triangles; stiffer, the shape of
# the triangles is felt.
BENDING_MM2 = 1.0
# First with stiffer threads, roughly: one answer from any start; then as they are.
STIFF_MM2, ROUGHLY_MM = 3.0, 0.3
# That cloth is wholly jammed is read once steps are smaller than this, that it is so in part at
# rest only; where it surely is, once they are smaller than that, or after so many.
READ_MM, SURE_MM, SURE_STEPS = 1e-2, 1.0, 2
# That was a guess; jammed cloth that then shears no more than cloth that lies down may only have
# seemed to jam, on the way: it is laid freely once more, for so many steps at least. So is what
# came to rest jammed, in a fold, and shears far less without it.
AGAIN_STEPS, LIES_DEG = 8, 60.0


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
    """The tack, the held spines, the layout; `locks`: cloth is jammed, if only a little."""

    tack: Tack
    spines: Spines
    layout: Layout
    locks: bool


def lay(mesh: SurfaceMesh, task: Task, progress: Progress, *, start: Floats | None = None) -> Laid:
    """Lay the cloth, from `start` (2, n) mm, or from a coarser mesh first where that is quicker.

    Threads are inextensible and free to bend where that has an answer. As far as the cloth is
    jammed (threads nearly on each other; jam.py) they also resist bending in the plane, and shear.
    """
    tracer = Tracer(mesh)
    tack = find_tack(tracer, task.tack_mm, task.warp, task.turn)
    held = _hold(tracer, task, tack)
    layout, share = _lay_held(mesh, task, tack, held, progress, start=start)
    return Laid(tack=tack, spines=held, layout=layout, locks=share > 0)


@dataclass(frozen=True, slots=True, eq=False)
class _Held:
    """Cloth on a mesh, with points held: what every solve needs."""

    mesh: SurfaceMesh
    task: Task
    tack: Tack
    spines: Spines
    panels: Panels
    system: SparseSystem

    def start(self, progress: Progress) -> Floats:
        """Return the start that needs no coarser mesh."""
        first = first_layout(self.mesh, self.panels, self.system, part_of(progress, 0.0, 0.0))
        return lay_along(self.mesh, self.panels, first, self.tack)

    def sheet(self, start: Floats, progress: Progress, step_mm: float) -> Layout:
        """Lay a sheet without threads."""
        springs = Springs(self.system, self.spines, self.mesh)
        sheet = SheetEnergy(self.panels)
        return minimise(sheet, self.system, springs, start, progress=progress, step_mm=step_mm)

    def free(
        self, start: Floats, progress: Progress, step_mm: float, sure_steps: int = SURE_STEPS
    ) -> tuple[Layout, float]:
        """Lay cloth as if it did not jam; return also how far it does, 0 to 1.

        Where it does the layout is as exact as that asks for, or a guess after `sure_steps`.
        """
        steps, shear_deg = 0, 0.0

        def enough(flat: Floats, moved_mm: float) -> bool:
            nonlocal steps, shear_deg
            steps += 1
            shear_deg = most_shear_deg(self.panels, flat)
            if shear_deg > SURELY_DEG and (moved_mm < SURE_MM or steps > sure_steps):
                return True
            return moved_mm < READ_MM and jammed(shear_deg) == 1

        layout = minimise(
            ThreadEnergy(self.panels, thread_law(self.task.fabric)),
            self.system,
            Springs(self.system, self.spines, self.mesh),
            start,
            progress=progress,
            step_mm=step_mm,
            stop=enough,
        )
        if layout.converged:  # its last steps are small, but between 0 and 1 they would be seen
            shear_deg = most_shear_deg(self.panels, layout.flat)
        return layout, jammed(shear_deg)

    def jammed(self, start: Floats, share: float, progress: Progress, *, near: bool) -> Layout:
        """Lay cloth jammed as far as `share`, 0 to 1; `near`: the start is nearly there."""
        mesh = self.mesh
        system = SparseSystem(
            mesh.faces,
            mesh.edges,
            len(mesh.vertices),
            opposite_pairs(mesh),
            points=mesh.vertices,
        )
        springs = Springs(system, self.spines, mesh, jammed=share)
        law = thread_law(self.task.fabric, share)
        spent = 0
        if not near:
            bending = Bending(mesh, system, share * STIFF_MM2)
            stiff: Energy = ThreadEnergy(self.panels, law, bending)
            first = minimise(stiff, system, springs, start, progress=progress, step_mm=ROUGHLY_MM)
            start, spent = first.flat, first.iterations
        cloth: Energy = ThreadEnergy(self.panels, law, Bending(mesh, system, share * BENDING_MM2))
        return minimise(cloth, system, springs, start, progress=progress).after(spent)


def _lay_held(
    mesh: SurfaceMesh,
    task: Task,
    tack: Tack,
    spines: Spines,
    progress: Progress,
    step_mm: float = STEP_MM,
    start: Floats | None = None,
) -> tuple[Layout, float]:
    """Return the layout with these points held, and how far the cloth is jammed, 0 to 1."""
    panels = Panels.of(mesh)
    expected = 0.0
    if start is None and len(mesh.faces) > COARSE_ABOVE:
        part = part_of(progress, 0.0, 0.3)
        start, expected = _from_coarse(mesh, task, tack, spines, panels, part)
        progress = part_of(progress, 0.3, 1.0)
    system = SparseSystem(mesh.faces, mesh.edges, len(mesh.vertices), points=mesh.vertices)
    held = _Held(mesh, task, tack, spines, panels, system)
    carried = start is not None
    if start is None:
        start = held.start(progress)
    if not task.fabric.directional:
        return held.sheet(start, progress, step_mm), 0.0
    spent, share, near, read = 0, expected, expected == 1, False
    if not near:
        part = part_of(progress, 0.0, 0.5)
        layout, share = held.free(start, part, step_mm)
        spent = layout.iterations
        if share > 0 and carried and expected == 0:
            # A carried start can be folded where the fine mesh has what the coarse one leaves out.
            start = held.start(part)
            layout, share = held.free(start, part, step_mm)
            spent += layout.iterations
        if share == 0:
            return layout.after(spent - layout.iterations), 0.0
        near, read = layout.residual < SURE_MM, layout.residual < READ_MM
        if near:
            start = layout.flat
    bent = held.jammed(start, share, part_of(progress, 0.5, 0.9), near=near).after(spent)
    if most_shear_deg(panels, bent.flat) < (LIES_DEG if read else FROM_DEG):
        part = part_of(progress, 0.9, 1.0)
        again, share = held.free(bent.flat, part, step_mm, AGAIN_STEPS)
        again = again.after(bent.iterations)
        if share == 0:
            return again, 0.0
        if share < 1:
            bent = held.jammed(again.flat, share, part, near=True).after(again.iterations)
    return bent, share


def _from_coarse(
    mesh: SurfaceMesh, task: Task, tack: Tack, spines: Spines, panels: Panels, progress: Progress
) -> tuple[Floats | None, float]:
    """Return the layout carried from a coarse mesh, if any, and how far it is jammed."""
    coarse = clustered_surface(mesh)
    if coarse is None:
        return None, 0.0
    on_coarse = held_on(coarse, mesh, tack, spines)
    rough_mm = ROUGHLY * mesh.size_mm
    layout, share = _lay_held(coarse.surface, task, *on_coarse, progress, rough_mm)
    if not layout.converged or (share > 0 and len(mesh.faces) < LOCKED_ABOVE):
        return None, 0.0
    start = carry(coarse, layout.flat, mesh, panels)
    return start, share if start is not None else 0.0


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
