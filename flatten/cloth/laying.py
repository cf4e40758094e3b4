"""Cloth held on a mesh: laid freely or jammed, then with the bow of its threads."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal, NamedTuple

import numpy as np

from ..arrays import Floats
from ..progress import Progress, part_of
from ..surface.mesh import SurfaceMesh
from .bending import Bending, coupled_pairs
from .bow import Bow
from .energy import Panels, ThreadEnergy
from .fabric import Fabric
from .factor import SparseSystem
from .isotropic import SheetEnergy
from .jam import SURELY_DEG, jammed, most_shear_deg
from .law import thread_law
from .minimise import STEP_MM, Layout, Springs, minimise
from .spines import Spines, Tack
from .start import first_layout, lay_along

Method = Literal["worked_out", "least_shear"]
METHODS: tuple[Method, ...] = ("worked_out", "least_shear")
# Where cloth is jammed, threads also resist bending in their plane (mm2: a tow 4.2 mm wide as a
# solid strip has 4.2^2 / 12). With less, outlines change with the triangles; with more, what locks
# is spread until it no longer does.
BENDING_MM2 = 1.5
# First with stiffer threads: one answer from any start; then as they are.
STIFF_MM2, STIFFLY_MM, ROUGHLY_MM, BOWED_MM = 4.0, 0.1, 0.3, 0.6
# That cloth is wholly jammed is read once steps are smaller than this, that it is so in part at
# rest only; where it surely is, once they are smaller than that, or after so many.
READ_MM, SURE_MM, SURE_STEPS = 1e-2, 1.0, 2
# The bow of threads is read from cloth at rest to so much, for one answer from any start. A
# reading is right by half or better: of few triangles two, of more one is enough. Where threads bow
# by less than `SLIGHT`, as a share of the size, across a triangle, outlines move by hundredths of a
# millimetre at most, and that is left; so it is with triangles as small as these many make them.
# A coarse mesh tells, the bow being in proportion to the area, where it is surely less than that:
# to a seventh, on caps and on bumps of 8k to 100k triangles. The limit itself is in no goal: at
# 50 000 triangles of a 75-degree cap it is not reached, at 32 000 it is.
REST_MM, FEW, MANY, SLIGHT, SURELY = 1e-5, 5_000, 50_000, 1.45e-5, 0.85


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Task:
    """What is to be laid and how; `turn` (radians) from the roll direction to the first fibre."""

    fabric: Fabric
    tack_mm: Floats
    warp: Floats
    turn: float
    method: Method
    lines: tuple[Floats, Floats] | None = None  # the two threads, where they are given


class _Leg(NamedTuple):
    """How to go on after a reading: to steps of `to_mm`, from which matrix."""

    to_mm: float
    factored: bool = False  # the last factor is tried first
    newton: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class _Run:
    """What is minimised and with what, from one layout after another."""

    cloth: ThreadEnergy
    system: SparseSystem
    springs: Springs
    progress: Progress
    stop: Callable[[Floats, float], bool] | None = None

    def to(self, start: Floats, leg: _Leg) -> Layout:
        """Return the layout reached from `start` (2, n) mm."""
        return minimise(
            self.cloth,
            self.system,
            self.springs,
            start,
            progress=self.progress,
            step_mm=leg.to_mm,
            stop=self.stop,
            factored=leg.factored,
            newton=leg.newton,
        )

    def bowed(
        self, bow: Bow, first: Layout, legs: Sequence[_Leg], slight_mm: float = 0.0
    ) -> Layout:
        """Go on, before each leg the bow of threads read; without it where that finds no rest.

        Nothing is done where they bow by less than `slight_mm`.
        """
        layout, bow_mm = first, np.inf
        for leg in legs:
            if not layout.converged:
                break
            read = bow.read(layout.flat, bent=self.cloth.bending is not None)
            if layout is first:
                bow_mm = bow.across_mm(read)
                if bow_mm < slight_mm:
                    break
            run = replace(self, cloth=self.cloth.bowed(read))
            layout = run.to(layout.flat, leg).after(layout.iterations)
        if first.converged and not layout.converged:
            layout = self.to(first.flat, _Leg(legs[-1].to_mm)).after(layout.iterations)
        return replace(layout, bow_mm=bow_mm)


@dataclass(frozen=True, eq=False)
class Held:
    """Cloth on a mesh, with points held: what every solve needs."""

    mesh: SurfaceMesh
    task: Task
    tack: Tack
    spines: Spines
    panels: Panels
    system: SparseSystem

    @cached_property
    def bow(self) -> Bow:
        """Reads the bow of threads on this mesh."""
        return Bow(self.panels, self.mesh.edges)

    def start(self, progress: Progress) -> Floats:
        """Return the start (2, n) mm that needs no coarser mesh."""
        first = first_layout(self.mesh, self.panels, self.system, part_of(progress, 0.0, 0.0))
        return lay_along(self.mesh, self.panels, first, self.tack)

    def sheet(self, start: Floats, progress: Progress, step_mm: float) -> Layout:
        """Lay a sheet without threads, from `start` (2, n) mm to steps of `step_mm`."""
        springs = Springs(self.system, self.spines, self.mesh)
        sheet = SheetEnergy(self.panels)
        return minimise(sheet, self.system, springs, start, progress=progress, step_mm=step_mm)

    def free(
        self,
        start: Floats,
        progress: Progress,
        step_mm: float,
        *,
        sure_steps: int = SURE_STEPS,
        bow_mm: float = np.inf,
    ) -> tuple[Layout, float]:
        """Lay cloth from `start` (2, n) mm as if it did not jam; return how far it does, 0 to 1.

        Where it does the layout is as exact as that asks for, or a guess after `sure_steps`.
        `bow_mm`: what threads will bow across a triangle, if that is known.
        """
        steps, shear_deg = 0, 0.0

        def enough(flat: Floats, moved_mm: float) -> bool:
            nonlocal steps, shear_deg
            steps += 1
            shear_deg = most_shear_deg(self.panels, flat)
            if shear_deg > SURELY_DEG and (moved_mm < SURE_MM or steps > sure_steps):
                return True
            return moved_mm < READ_MM and jammed(shear_deg) == 1

        cloth = ThreadEnergy(self.panels, thread_law(self.task.fabric))
        springs = Springs(self.system, self.spines, self.mesh)
        run = _Run(cloth, self.system, springs, part_of(progress, 0.0, 0.7), enough)
        layout = run.to(start, _Leg(step_mm))
        if layout.converged:  # its last steps are small, but between 0 and 1 they would be seen
            shear_deg = most_shear_deg(self.panels, layout.flat)
        share = jammed(shear_deg)
        count = len(self.mesh.faces)
        slight_mm = SLIGHT * self.mesh.spread_mm
        if layout.converged and share == 0 and count < MANY and bow_mm > SURELY * slight_mm:
            rest = _Leg(max(step_mm, REST_MM), factored=True)
            legs = [rest] * (count < FEW) + [_Leg(step_mm, factored=True)]
            run = replace(run, stop=None, progress=part_of(progress, 0.7, 1.0))
            layout = run.bowed(self.bow, layout, legs, slight_mm)
        return layout, share

    def jammed(self, start: Floats, share: float, progress: Progress, *, off_mm: float) -> Layout:
        """Lay cloth jammed as far as `share`, 0 to 1, from a start that its last step left off."""
        mesh = self.mesh
        system = SparseSystem(
            mesh.faces,
            mesh.edges,
            len(mesh.vertices),
            coupled_pairs(mesh),
            points=mesh.vertices,
        )
        springs = Springs(system, self.spines, mesh, jammed=share)
        law = thread_law(self.task.fabric, share)
        cloth = ThreadEnergy(self.panels, law, Bending(mesh, system, share * BENDING_MM2))
        run = _Run(cloth, system, springs, progress)
        first = Layout(start, True, 0, off_mm)
        if off_mm >= SURE_MM:
            stiff = Bending(mesh, system, share * STIFF_MM2)
            rough = replace(run, cloth=ThreadEnergy(self.panels, law, stiff))
            first = rough.to(start, _Leg(STIFFLY_MM))
        elif off_mm >= READ_MM:
            first = run.to(start, _Leg(ROUGHLY_MM))
        return run.bowed(self.bow, first, [_Leg(BOWED_MM), _Leg(STEP_MM, newton=1.0)])
