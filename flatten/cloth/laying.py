"""Cloth held on a mesh: laid freely or jammed, then with the bow of its threads."""

from __future__ import annotations

from collections.abc import Sequence
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
from .minimise import STEP_MM, STEPS, Layout, Springs, minimise
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
# Cloth that shears freely comes to rest in folds where no spine holds its threads: there straight
# triangles, which lock mildly, weigh more than shear. Cloth so much stiffer to shear has no folds,
# and one answer from any start: its bow is read first, and the cloth then let go, with that. More
# triangles lock less, start from a coarse mesh laid so, and have their bow read once only; so has
# that mesh, where it is no more than a start, and less stiff: its layout is nearer to the fine one.
# Where it is not at rest after so many steps (bumps took 29 at most) its fibres are strained, as
# on a deep pan, and it is of no use.
EVEN_FEW, EVEN_ROUGH, EVEN, EVEN_STEPS = 1e-2, 1e-3, 1e-4, 40
# That cloth is wholly jammed is read once steps are smaller than this, that it is so in part at
# rest only; where it surely is, once they are smaller than that, or after so many.
READ_MM, SURE_MM, SURE_STEPS = 1e-2, 1.0, 2
# The bow of threads is read from cloth at rest, of many triangles to so much, for one answer from
# any start. A reading is right by half or better: of few triangles three, of more one is enough,
# and from the second on each is taken on by a share of what it changed. Where threads bow by less
# than `SLIGHT`, as a share of the size, across a triangle, outlines move by hundredths of a
# millimetre at most, and that is left; so it is with triangles as small as these many make them. A
# coarse mesh tells, the bow being in proportion to the area, where it is surely less than that: to
# a seventh, on caps and on bumps of 8k to 100k triangles. The limit itself is in no goal: at
# 50 000 triangles of a 75-degree cap it is not reached, at 32 000 it is.
ONWARDS = 0.3
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
    steps: int = STEPS


class _Reading:
    """Reads after each step how the cloth shears; `sure`: it is wholly jammed, no need to go on.

    A guess after `sure_steps` of a run.
    """

    def __init__(self, panels: Panels, sure_steps: int) -> None:
        self.panels, self.sure_steps = panels, sure_steps
        self.steps, self.shear_deg, self.sure = 0, 0.0, False

    def __call__(self, flat: Floats, moved_mm: float) -> bool:
        """Return whether that is enough of a layout (2, n) whose last step moved it so much."""
        self.steps += 1
        self.shear_deg = most_shear_deg(self.panels, flat)
        past = self.steps > self.sure_steps or moved_mm < SURE_MM
        at_rest = moved_mm < READ_MM
        self.sure = (past and self.shear_deg > SURELY_DEG) or (
            at_rest and jammed(self.shear_deg) == 1
        )
        return self.sure


@dataclass(frozen=True, slots=True, eq=False)
class _Run:
    """What is minimised and with what, from one layout after another."""

    cloth: ThreadEnergy
    system: SparseSystem
    springs: Springs
    progress: Progress
    reading: _Reading | None = None

    def to(self, start: Floats, leg: _Leg) -> Layout:
        """Return the layout reached from `start` (2, n) mm."""
        if self.reading is not None:
            self.reading.steps = 0
        return minimise(
            self.cloth,
            self.system,
            self.springs,
            start,
            progress=self.progress,
            step_mm=leg.to_mm,
            steps=leg.steps,
            stop=self.reading,
            factored=leg.factored,
            newton=leg.newton,
        )

    def bowed(
        self, bow: Bow, first: Layout, legs: Sequence[_Leg], slight_mm: float = 0.0
    ) -> Layout:
        """Go on, before each leg the bow of threads read; without it where that finds no rest.

        And where they bow by less than `slight_mm`.
        """
        layout, bow_mm, last = first, np.inf, None
        bent = self.cloth.bending is not None
        for leg in legs:
            if not layout.converged:
                break
            read = bow.read(layout.flat, bent=bent)
            bow_mm = bow.across_mm(read)
            if last is None and bow_mm < slight_mm:
                layout = self.to(first.flat, legs[-1]).after(first.iterations)
                break
            onwards = read if bent or last is None else read + ONWARDS * (read - last)
            run, last = replace(self, cloth=self.cloth.bowed(onwards)), read
            layout = run.to(layout.flat, leg).after(layout.iterations)
        sure = self.reading is not None and self.reading.sure
        if first.converged and not layout.converged and not sure:
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
        jams: bool = False,
    ) -> tuple[Layout, float]:
        """Lay cloth from `start` (2, n) mm as if it did not jam; return how far it does, 0 to 1.

        Where it does the layout is as exact as that asks for, or a guess after `sure_steps`.
        `bow_mm`: what threads will bow across a triangle, if that is known; `jams`: no bow need be
        read, as the cloth is thought to be wholly jammed.
        """
        law = thread_law(self.task.fabric)
        cloth = ThreadEnergy(self.panels, law)
        springs = Springs(self.system, self.spines, self.mesh)
        reading = _Reading(self.panels, sure_steps)
        run = _Run(cloth, self.system, springs, part_of(progress, 0.0, 0.7), reading)
        count = len(self.mesh.faces)
        slight_mm = SLIGHT * self.mesh.spread_mm
        if jams or count >= MANY or bow_mm <= SURELY * slight_mm:
            layout = run.to(start, _Leg(step_mm))
        else:
            few = count < FEW and step_mm <= STEP_MM  # and the answer itself, not a start
            shear = max(law.shear, EVEN_FEW if few else EVEN_ROUGH if count < FEW else EVEN)
            even = ThreadEnergy(self.panels, replace(law, shear=shear))
            rest = _Leg(max(step_mm, STEP_MM if count < FEW else REST_MM), factored=True)
            first = replace(run, cloth=even).to(start, _Leg(rest.to_mm, steps=EVEN_STEPS))
            if not first.converged and not reading.sure:
                first = run.to(start, rest._replace(factored=False)).after(first.iterations)
            legs = [rest] * (2 if few else 0) + [_Leg(step_mm, factored=True)]
            run = replace(run, progress=part_of(progress, 0.7, 1.0))
            layout = run.bowed(self.bow, first, legs, slight_mm)
        if layout.converged:  # its last steps are small, but between 0 and 1 they would be seen
            reading.shear_deg = most_shear_deg(self.panels, layout.flat)
        return layout, jammed(reading.shear_deg)

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
        # Cloth laid freely bows otherwise: the first reading of it is not to be seen in the answer.
        bowed_mm = BOWED_MM if off_mm >= READ_MM else ROUGHLY_MM
        return run.bowed(self.bow, first, [_Leg(bowed_mm), _Leg(STEP_MM, newton=1.0)])
