"""Newton's method on the energy of a flat layout: Gauss-Newton first, full steps near the end."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np

from ..arrays import Floats
from ..progress import Progress
from ..surface.mesh import MouldMesh
from .energy import Panels
from .factor import SparseSystem
from .spines import Spines

# A layout is settled when the last step moved no vertex by more than this: a tenth of what
# renumbering the mesh may change (1e-6 mm on parts of 300 mm is 1e-9 of the size, above the
# rounding of the factorisation).
STEP_MM = 1e-6
FINEST = 1e-11  # of the size, if that is more: rounding on a ship
STEPS = 80
DAMPING = 1e-10  # of the mean stiffness, to begin with, where the system is not definite
# Gauss-Newton turns to full Newton when a step shrinks by less than this.
TURNS_LINEAR = 0.25
# No step goes further than this share of the way to the first triangle of no area.
TO_FLIP = 0.8
ARMIJO = 1e-4
# A step smaller than a factor serves on from is taken as it is where the slope along it is no more
# than this share of what it was (the curvature condition: Nocedal & Wright, 3.1).
CURVED = 0.5
# Once a step is this small the last factor serves on, for so many steps: a solve costs a tenth of
# a factorisation. The first has to be a third of the step before; the next ones less than this
# share of the one before, or no more than so many times it while that is as small: a zone the
# factor does not know is then learned in one step.
SERVES_MM, SERVES_STEPS, FIRST_GAIN = 0.2, 12, 0.3
GAIN, GROWS, GROWS_MM = 0.6, 4.0, 0.01
# From a factor that was handed over the first step may be half of this: no factorisation is needed
# yet.
HANDED_MM, HANDED_GAIN = 1.0, 0.5
SPRING = 1.0  # of a point on a spine, energy mm2 per mm2 of distance


@dataclass(frozen=True, slots=True, eq=False)
class Layout:
    """A flat layout (2, n) mm, whether it came to rest, after how many steps, the last one.

    `bow_mm`: how far its threads bow across a triangle, where that was read (bow.py).
    """

    flat: Floats
    converged: bool
    iterations: int
    residual: float  # mm, largest movement in the last step
    bow_mm: float = np.inf

    def after(self, steps: int) -> Layout:
        """Return the same with the steps counted that were taken before."""
        return replace(self, iterations=self.iterations + steps)


class Energy(Protocol):
    """What is minimised: energy.ThreadEnergy or isotropic.SheetEnergy."""

    @property
    def panels(self) -> Panels:
        """The triangles."""

    def value(self, flat: Floats) -> float:
        """Return the energy (mm2) of `flat` (2, n) mm, infinite where a triangle is turned over."""

    def derivatives(
        self, system: SparseSystem, flat: Floats, newton: float
    ) -> tuple[float, Floats, Floats]:
        """Return energy, gradient (2, n) and the values of the matrix (its entries,)."""

    def gradient(self, flat: Floats) -> Floats | None:
        """Return the gradient (2, n), None where a triangle is turned over."""


class Springs:
    """Hold the spines' points softly on their threads; in jammed cloth only by their grip."""

    def __init__(
        self, system: SparseSystem, spines: Spines, mesh: MouldMesh, *, jammed: float = 0.0
    ) -> None:
        self.system, self.spines = system, spines
        self.corners = mesh.faces[spines.faces]
        self.stiffness = SPRING * spines.grip**jammed

    def off(self, flat: Floats) -> Floats:
        """Return (k,) how far each point is from its thread, mm, in `flat` (2, n) mm."""
        places = flat[self.spines.axis[:, None], self.corners]
        return np.asarray((places * self.spines.weights).sum(axis=1))

    def energy(self, flat: Floats) -> float:
        """Return their energy, mm2."""
        return float(0.5 * self.stiffness @ self.off(flat) ** 2)

    def add_gradient(self, flat: Floats, gradient: Floats) -> None:
        """Add their gradient to `gradient` (2, n)."""
        pull = (self.stiffness * self.off(flat))[:, None] * self.spines.weights
        np.add.at(gradient, (self.spines.axis[:, None], self.corners), pull)

    def add_stiffness(self, values: Floats) -> None:
        """Add their second derivatives to the `values` of the matrix (its entries,)."""
        spines = self.spines
        for axis in (0, 1):
            on = spines.axis == axis
            self.system.add_springs(
                values, spines.faces[on], spines.weights[on], self.stiffness[on], axis
            )


def minimise(
    cloth: Energy,
    system: SparseSystem,
    springs: Springs,
    flat: Floats,
    *,
    progress: Progress,
    step_mm: float = STEP_MM,
    steps: int = STEPS,
    stop: Callable[[Floats, float], bool] | None = None,
    factored: bool = False,
    newton: float = 0.0,
) -> Layout:
    """Return the layout of least energy reached from `flat`, all triangles counter-clockwise.

    `factored`: the system's factor is of a layout and an energy nearby; it is tried first.
    `newton`: the share of the strains' second derivatives to begin with.
    `stop`, asked after each step with the layout and the movement (mm): give up, not converged.
    """
    last, served, damping = np.inf, 0, 0.0
    size = float(np.ptp(flat, axis=1).max())
    moved, step_mm = size, max(step_mm, FINEST * size)
    if factored:
        onwards = _serve_on(cloth, system, springs, flat, HANDED_MM, step_mm, HANDED_GAIN)
        flat, moved, served = onwards
        if moved <= step_mm:
            return Layout(flat, True, served, moved)
    for iteration in range(1, steps + 1):
        progress(min(iteration / 8, 0.95), "Laying the cloth")
        e, gradient, values = cloth.derivatives(system, flat, newton)
        e += springs.energy(flat)
        springs.add_gradient(flat, gradient)
        springs.add_stiffness(values)
        diagonal = np.concatenate([system.diagonal(axis) for axis in (0, 1)])
        values[diagonal] += damping
        if not system.factorise(values):
            if newton == 0.0:  # the cloth is slack in some way: hold it a little where it is
                damping = max(10 * damping, DAMPING * float(np.abs(values[diagonal]).mean()))
            newton = 0.5 * newton if newton > 0.3 else 0.0
            last = np.inf
            continue
        damping = 0.1 * damping if newton == 0.0 else 0.0
        step = -system.solve(gradient.T.ravel()).reshape(-1, 2).T
        slope = float((gradient * step).sum())
        moved, ahead = float(np.abs(step).max()), None
        if moved < SERVES_MM:
            ahead = _slope(cloth, springs, flat + step)
        if ahead is not None and abs(float(ahead @ step.T.ravel())) < CURVED * abs(slope):
            flat = flat + step
        else:
            length, ahead = _search(cloth, springs, flat, step, e, slope), None
            if length == 0.0:
                return Layout(flat, moved < 1e-3, iteration + served, moved)
            flat, moved = flat + length * step, length * moved
        if stop is not None and stop(flat, moved):
            return Layout(flat, False, iteration + served, moved)
        if step_mm < moved < SERVES_MM:
            flat, moved, more = _serve_on(cloth, system, springs, flat, moved, step_mm, slope=ahead)
            served += more
        if moved <= step_mm:
            return Layout(flat, True, iteration + served, moved)
        newton = 1.0 if newton or moved > TURNS_LINEAR * last else 0.0
        last = moved
    return Layout(flat, False, steps + served, moved)


def _serve_on(
    cloth: Energy,
    system: SparseSystem,
    springs: Springs,
    flat: Floats,
    moved: float,
    step_mm: float,
    gain: float = FIRST_GAIN,
    slope: Floats | None = None,
) -> tuple[Floats, float, int]:
    """Go on with the last factor while that gains; return layout, last movement, steps taken.

    What the steps show of how the slope changes is put on top of the factor (L-BFGS: Nocedal &
    Wright, Numerical Optimization, 2nd ed. 2006, 7.2).
    """
    learned: list[tuple[Floats, Floats, float]] = []
    slope = _slope(cloth, springs, flat) if slope is None else slope
    for count in range(SERVES_STEPS):
        if slope is None:
            return flat, moved, count
        step = -_solved(system, learned, slope)
        size = float(np.abs(step).max())
        most = gain if count == 0 else GAIN if moved > GROWS_MM else GROWS
        if size > most * moved:
            return flat, moved, count
        there = flat + step.reshape(-1, 2).T
        if size <= step_mm and cloth.panels.upright(there):
            return there, size, count + 1
        ahead = _slope(cloth, springs, there)
        if ahead is None:
            return flat, moved, count
        flat, moved = there, size
        change, slope = ahead - slope, ahead
        along = float(step @ change)
        if along > 0:
            learned.append((step, change, 1 / along))
    return flat, moved, SERVES_STEPS


def _slope(cloth: Energy, springs: Springs, flat: Floats) -> Floats | None:
    """Return (2 n,) the gradient, in the order of the unknowns; None as it is."""
    gradient = cloth.gradient(flat)
    if gradient is None:
        return None
    springs.add_gradient(flat, gradient)
    return gradient.T.ravel()


def _solved(
    system: SparseSystem, learned: list[tuple[Floats, Floats, float]], slope: Floats
) -> Floats:
    """Return (2 n,) the inverse matrix times the slope, as far as it is known."""
    rest, shares = slope, []
    for step, change, scale in reversed(learned):
        shares.append(scale * float(step @ rest))
        rest = rest - shares[-1] * change
    found = system.solve(rest)
    for (step, change, scale), share in zip(learned, reversed(shares), strict=True):
        found += (share - scale * float(change @ found)) * step
    return found


def _search(
    cloth: Energy,
    springs: Springs,
    flat: Floats,
    step: Floats,
    before: float,
    slope: float,
) -> float:
    """Return the share of the step to take; 0 where nothing lowers the energy."""
    length = min(1.0, TO_FLIP * first_flip(cloth.panels, flat, step))
    rounding = 1e-13 * abs(before)
    for _ in range(40):
        there = flat + length * step
        after = cloth.value(there) + springs.energy(there)
        if after <= before + ARMIJO * length * slope + rounding:
            return length
        length *= 0.5
    return 0.0


def first_flip(panels: Panels, flat: Floats, step: Floats) -> float:
    """Return the shortest length along `step` (2, n) at which a triangle of `flat` has no area.

    Infinite where that is so far off that no step is cut short by it. With the bow of threads
    known, the triangle with and without it.
    """
    first = np.inf
    for some in panels.chunks():
        part = panels.part(some)
        u1, u2 = part.gradients(step[0])
        v1, v2 = part.gradients(step[1])
        a = u1 * v2 - u2 * v1
        x1, x2, y1, y2 = found = (*part.gradients(flat[0]), *part.gradients(flat[1]))
        for _ in range(1 if part.bow is None else 2):
            b = x1 * v2 - x2 * v1 + u1 * y2 - u2 * y1
            first = min(first, _first_root(a, b, x1 * y2 - x2 * y1))
            part.take_bow_off(found)
    return first


def _first_root(a: Floats, b: Floats, c: Floats) -> float:
    """Return the smallest positive t at which any a t^2 + b t + c, c > 0, is nothing."""
    # Nearly every triangle is too large to lose its area on the way, whatever the signs.
    some = np.flatnonzero(c * TO_FLIP**2 <= np.abs(b) * TO_FLIP + np.abs(a))
    a, b, c = a[some], b[some], c[some]
    root = b * b - 4 * a * c
    real = root >= 0
    a, b, c, root = a[real], b[real], c[real], np.sqrt(root[real])
    with np.errstate(divide="ignore", invalid="ignore"):
        first = 2 * c / (-b + root)  # the smaller positive root, stable for small a
        second = 2 * c / (-b - root)
    positive = [t[t > 0] for t in (first, second)]
    return min((float(t.min()) for t in positive if len(t)), default=np.inf)
