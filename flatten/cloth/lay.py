"""From a surface, a cloth and a tack point to the flat layout: which route the solver takes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..arrays import Floats
from ..memory import keep_freed
from ..progress import Progress, part_of
from ..surface.geodesic import Tracer
from ..surface.mesh import SurfaceMesh
from .coarse import carry, clustered_surface, held_on
from .energy import Panels
from .factor import SparseSystem
from .jam import FROM_DEG, most_shear_deg
from .laying import READ_MM, SURE_MM, Held, Task
from .minimise import STEP_MM, Layout
from .spines import Spines, Tack, find_tack, just_fixed, only_near, spines_along, trace_spines

# Where only the tack point and the heading are given, the threads are held straight so far from
# it, as a share of the size: a heading read in one triangle leaves a small rotation.
HEADING_REACH = 0.05
# Meshes with more triangles are solved coarse to fine, the coarse one to this share of its size.
COARSE_ABOVE, ROUGHLY = 5_000, 1e-4
# Where the cloth locks, a start is taken from a coarse mesh only if that has triangles enough to
# show the folds: a twentieth of these.
LOCKED_ABOVE = 20_000
# Wholly jammed is a guess (laying.py); jammed cloth that then shears no more than cloth that lies
# down may only have seemed to jam, on the way: it is laid freely once more, for so many steps at
# least.
AGAIN_STEPS = 8
# A coarse mesh jammed by more than this: the fine one is so, too, or nearly.
JAMS = 0.5


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
    keep_freed()
    tracer = Tracer(mesh)
    tack = find_tack(tracer, task.tack_mm, task.warp, task.turn)
    held = _hold(tracer, task, tack)
    layout, share = _lay_held(mesh, task, tack, held, progress, start=start)
    return Laid(tack=tack, spines=held, layout=layout, locks=share > 0)


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
    expected, bow_mm, jams, carried = 0.0, np.inf, False, False
    if start is None and len(mesh.faces) > COARSE_ABOVE:
        part = part_of(progress, 0.0, 0.3)
        start, expected, bow_mm, jams = _from_coarse(mesh, task, tack, spines, panels, part)
        progress = part_of(progress, 0.3, 1.0)
        carried = start is not None
    system = SparseSystem(mesh.faces, mesh.edges, len(mesh.vertices), points=mesh.vertices)
    held = Held(mesh, task, tack, spines, panels, system)
    if start is None:
        start = held.start(progress)
    if not task.fabric.directional:
        return held.sheet(start, progress, step_mm), 0.0
    spent, share, off_mm = 0, expected, READ_MM
    if expected < 1:
        part = part_of(progress, 0.0, 0.5)
        layout, share = held.free(start, part, step_mm, bow_mm=bow_mm, jams=jams)
        spent = layout.iterations
        if share < 1 and jams:
            layout, share = held.free(layout.flat, part, step_mm)
            spent += layout.iterations
        if share > 0 and carried and expected == 0:
            # A carried start can be folded where the fine mesh has what the coarse one leaves out.
            start = held.start(part)
            layout, share = held.free(start, part, step_mm)
            spent += layout.iterations
        if share == 0:
            return layout.after(spent - layout.iterations), 0.0
        off_mm = layout.residual
        if off_mm < SURE_MM:
            start = layout.flat
    bent = held.jammed(start, share, part_of(progress, 0.5, 0.9), off_mm=off_mm).after(spent)
    read = expected < 1 and off_mm < READ_MM
    if read or most_shear_deg(panels, bent.flat) >= FROM_DEG:
        return bent, share
    part = part_of(progress, 0.9, 1.0)
    again, shown = held.free(bent.flat, part, step_mm, sure_steps=AGAIN_STEPS)
    again = again.after(bent.iterations)
    if shown == 0:
        return again, 0.0
    if shown == 1:
        return bent, share
    bent = held.jammed(again.flat, shown, part, off_mm=again.residual)
    return bent.after(again.iterations), shown


def _from_coarse(
    mesh: SurfaceMesh, task: Task, tack: Tack, spines: Spines, panels: Panels, progress: Progress
) -> tuple[Floats | None, float, float, bool]:
    """Return the layout carried from a coarse mesh, if any, how far it is jammed, and the bow.

    That is what threads will bow across the fine mesh's triangles, mm. And whether the coarse one
    was jammed by more than `JAMS`, carried or not.
    """
    coarse = clustered_surface(mesh)
    if coarse is None:
        return None, 0.0, np.inf, False
    on_coarse = held_on(coarse, mesh, tack, spines)
    rough_mm = ROUGHLY * mesh.size_mm
    layout, share = _lay_held(coarse.surface, task, *on_coarse, progress, rough_mm)
    if not layout.converged or (share > 0 and len(mesh.faces) < LOCKED_ABOVE):
        return None, 0.0, np.inf, share > JAMS
    start = carry(coarse, layout.flat, mesh, panels)
    if start is None:
        return None, 0.0, np.inf, share > JAMS
    bow_mm = layout.bow_mm * len(coarse.surface.faces) / len(mesh.faces)
    return start, share, bow_mm, share > JAMS


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
