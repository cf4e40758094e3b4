"""How long a dart must be: draped again and again, on triangles fine enough where it ends."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from ..arrays import Floats
from ..progress import Progress
from ..surface.mesh import SurfaceMesh
from .drape import Drape
from .fabric import Fabric
from .relief_length import NEVER_DEG, next_grown, next_length, shortest_that_lies
from .relief_line import DartLine, slit
from .relief_mesh import coarser, refine_near
from .relief_orbit import Orbit
from .relief_zones import over_limit_deg, smoothed
from .strain import flat_areas

TIP_MM = 3.0  # round the end of a dart shear is singular: not counted
BEYOND_MM = 4.0  # a dart goes on this far beyond where the cloth just lies down
AIM_DEG = 0.5  # below the limit: less than a drape differs from one mesh to another
LEFT_LOCKED = 5e-4  # share of the flat area that may stay locked
SAFETY = 0.6  # of it is aimed at: the accepted cuts are laid on another mesh than this search
# Away from the darts the reference mesh is as fine as this many triangles make it: then a dart's
# length depends little on the mesh it is asked for on. Where it may end, edges are `FINE_MM`: a
# slit acts as if it were longer or shorter by a part of the triangle it ends in.
REFERENCE_FACES = 45_000
FINE_MM, FINE_REACH_MM, GRADING = 1.5, 5.0, 0.35
FINE_BACK_MM, FINE_ON_MM = 6.0, 10.0  # so far before and beyond the length found first
# Lengths tried first are each this much longer or shorter than the last, from so many times
# longer than is thought.
GROWTH, FIRST_GROWTHS, MOST_GROWTHS = 1.25, 2, 16
# They are tried on a surface of few triangles, fine along the dart up to so many times what is
# thought; what it tells of shear may be wrong by so much.
ROUGH_SMALLEST = 1e-4  # of the mean area: slivers cost steps, and no more
ROUGH_FACES, ROUGH_REACH, ROUGH_GRADING, ROUGH_DEG = 10_000, 4.0, 0.5, 0.5
MOST_TRIES = 9
NUDGES_MM = (0.0, -1.5, 1.5, 3.0)  # an end can sit badly among its triangles: tried last

Draper = Callable[[SurfaceMesh], Drape | None]  # None: it takes too long to be any good


def find_lengths(
    surface: SurfaceMesh,
    orbits: Sequence[Orbit],
    fabric: Fabric,
    drape: Draper,
    progress: Progress,
    *,
    margin_deg: float = 0.0,
) -> None:
    """Set each orbit's length to about the least that lets the cloth lie down, all tried together.

    From above where that is known: cloth that locks takes many times longer to lay than cloth
    that lies. `margin_deg` below the limit is asked for, what a coarse surface may be wrong by.
    """
    tried: list[list[tuple[float, float]]] = [[] for _ in orbits]
    longest = np.array([orbit.longest_mm for orbit in orbits])
    shortest = np.minimum([orbit.length_mm / GROWTH for orbit in orbits], longest)
    lengths = np.minimum(shortest * GROWTH ** (1 + FIRST_GROWTHS), longest)
    found: list[float | None] = [None] * len(orbits)
    for number in range(MOST_GROWTHS):
        progress(number / MOST_GROWTHS, f"draping with darts, try {number + 1}")
        excess = _try(surface, orbits, lengths, fabric, drape) + margin_deg
        for k in range(len(orbits)):
            if found[k] is not None:
                continue
            known = excess[k] if np.isfinite(excess[k]) else NEVER_DEG
            if lengths[k] >= longest[k]:
                known -= margin_deg  # no more is to be had
            tried[k].append((float(lengths[k]), float(known)))
            following, done = next_grown(tried[k], shortest[k], longest[k], GROWTH)
            if done:
                found[k] = following
                following = shortest_that_lies(tried[k], following)
            lengths[k] = following
        if None not in found:
            break
    for k, orbit in enumerate(orbits):
        orbit.enough = any(excess_deg <= 0 for _, excess_deg in tried[k])
        known_mm = found[k]
        orbit.length_mm = float(lengths[k] if known_mm is None else known_mm)


def refine_lengths(
    surface: SurfaceMesh,
    orbits: Sequence[Orbit],
    fabric: Fabric,
    drape: Draper,
    progress: Progress,
) -> None:
    """Find each orbit's length more closely: where a line through two drapes that lie reaches zero.

    Where the drape does not come to rest on this mesh the lengths stay as they are.
    """
    tried: list[list[tuple[float, float]]] = [[] for _ in orbits]
    lengths = np.array([orbit.length_mm for orbit in orbits])
    first = lengths.copy()
    lengths = np.minimum(lengths + BEYOND_MM, [orbit.longest_mm for orbit in orbits])
    done = [not orbit.enough for orbit in orbits]
    for number in range(MOST_TRIES):
        if all(done):
            break
        progress(number / MOST_TRIES, f"draping with darts, closer try {number + 1}")
        excess = _try(surface, orbits, lengths, fabric, drape)
        for k, orbit in enumerate(orbits):
            if not orbit.enough:
                continue
            known = excess[k] if np.isfinite(excess[k]) else NEVER_DEG
            tried[k].append((float(lengths[k]), float(known)))
            lengths[k], done[k] = next_length(tried[k], orbit.longest_mm)
    for k, orbit in enumerate(orbits):
        lies = [length for length, excess_deg in tried[k] if excess_deg <= 0]
        found = lengths[k] if done[k] else min(lies, default=first[k])
        orbit.length_mm = float(found if lies else first[k])


def lengthen(
    surface: SurfaceMesh,
    orbits: Sequence[Orbit],
    fabric: Fabric,
    drape: Callable[[SurfaceMesh], Drape],
    progress: Progress,
) -> Drape:
    """Carry the darts on by `BEYOND_MM`, and return how the cloth then lies."""
    lengths = np.array([orbit.length_mm + BEYOND_MM for orbit in orbits])
    longest = np.array([orbit.longest_mm for orbit in orbits])
    best: tuple[float, Floats, Drape] | None = None
    for number, nudge in enumerate(NUDGES_MM):
        progress(number / len(NUDGES_MM), "draping with the darts found")
        now = np.minimum(lengths + nudge, longest)
        set_lengths(orbits, now)
        laid = drape(slit_all(surface, orbits))
        worst = max(excess_deg(laid, orbits, fabric)) if laid.converged else NEVER_DEG
        if best is None or worst < best[0]:
            best = (worst, now, laid)
        if worst <= 0:
            break
    assert best is not None
    set_lengths(orbits, best[1])
    slit_all(surface, orbits)
    return best[2]


def remembered(drape: Callable[[SurfaceMesh], Drape]) -> Callable[[SurfaceMesh], Drape]:
    """Return the same but for what was laid: darts nearly as long may end at the same corner."""
    laid: list[Drape] = []

    def known_or_laid(mesh: SurfaceMesh) -> Drape:
        for known in laid:
            same = np.array_equal(known.surface.faces, mesh.faces)
            if same and np.array_equal(known.surface.vertices, mesh.vertices):
                return known
        laid.append(drape(mesh))
        return laid[-1]

    return known_or_laid


class _TooLong(Exception):
    """The drape has taken all the steps it was given."""


def within_steps(
    drape: Callable[[Progress], Drape], most: int | None, progress: Progress
) -> Drape | None:
    """Return a drape, given what it is to call at each step; None where that is more often."""
    steps = 0

    def counted(done: float, what: str) -> None:
        nonlocal steps
        steps += 1
        if most is not None and steps > most:
            raise _TooLong
        progress(done, what)

    try:
        return drape(counted)
    except _TooLong:
        return None


def set_lengths(orbits: Sequence[Orbit], lengths: Floats) -> None:
    """Give each orbit its length, mm."""
    for orbit, length in zip(orbits, lengths.tolist(), strict=True):
        orbit.length_mm = length


def _drape_at(
    surface: SurfaceMesh, orbits: Sequence[Orbit], lengths: Floats, drape: Draper
) -> Drape | None:
    set_lengths(orbits, lengths)
    return drape(slit_all(surface, orbits))


def _try(
    surface: SurfaceMesh,
    orbits: Sequence[Orbit],
    lengths: Floats,
    fabric: Fabric,
    drape: Draper,
) -> Floats:
    laid = _drape_at(surface, orbits, lengths, drape)
    if laid is None or not laid.converged:
        return np.full(len(orbits), np.nan)
    return np.array(excess_deg(laid, orbits, fabric))


def slit_all(surface: SurfaceMesh, orbits: Sequence[Orbit]) -> SurfaceMesh:
    """Return the surface with all darts open; notes where they end."""
    for orbit in orbits:
        orbit.tips = []
        for line in orbit.lines:
            surface, tip = slit(surface, line.trace(surface, orbit.length_mm))
            orbit.tips.append(tip)
    return surface


def sought_mesh(surface: SurfaceMesh, orbits: Sequence[Orbit], edge_mm: float) -> SurfaceMesh:
    """Return the surface with few triangles, of `edge_mm` where the darts may run."""
    surface = coarser(surface, ROUGH_FACES, ROUGH_SMALLEST)
    near = []
    for orbit in orbits:
        for line in orbit.lines:
            most = min(orbit.longest_mm, ROUGH_REACH * orbit.length_mm)
            near.append(_along(surface, line, orbit.length_mm / GROWTH, most, edge_mm))
    return refine_near(surface, _graded(np.vstack(near), edge_mm, edge_mm, ROUGH_GRADING), edge_mm)


def reference_mesh(surface: SurfaceMesh, orbits: Sequence[Orbit]) -> SurfaceMesh:
    """Return the surface with triangles of one size, smaller where the darts may end."""
    widest = float(np.sqrt(2.31 * surface.areas.sum() / REFERENCE_FACES)) * 1.5
    ends = []
    for orbit in orbits:
        for line in orbit.lines:
            least, most = orbit.length_mm - FINE_BACK_MM, orbit.length_mm + FINE_ON_MM
            ends.append(_along(surface, line, least, most))
    wanted = _graded(np.vstack(ends), FINE_MM, FINE_REACH_MM, GRADING, widest)
    return refine_near(surface, wanted, FINE_MM)


def _along(
    surface: SurfaceMesh, line: DartLine, least_mm: float, most_mm: float, step_mm: float = 1.0
) -> Floats:
    """Return points (k, 3) each so many mm of a dart between two lengths."""
    trace = line.trace(surface, most_mm)
    at = np.arange(least_mm, float(trace.length_mm[-1]), step_mm)
    return np.column_stack([np.interp(at, trace.length_mm, trace.points[:, i]) for i in range(3)])


def _graded(
    near: Floats, edge_mm: float, reach_mm: float, grading: float, widest_mm: float = np.inf
) -> Callable[[Floats], Floats]:
    """Return edges of a size near points (k, 3), growing with the distance beyond a reach."""

    def wanted(points: Floats) -> Floats:
        away = np.full(len(points), np.inf)
        for end in near:
            away = np.minimum(away, ((points - end) ** 2).sum(axis=1))
        grown = edge_mm + grading * np.maximum(np.sqrt(away) - reach_mm, 0)
        return np.asarray(np.minimum(grown, widest_mm))

    return wanted


def excess_deg(drape: Drape, orbits: Sequence[Orbit], fabric: Fabric) -> list[float]:
    """Return how far each orbit's cloth is beyond the limit, degrees, but for what may be locked.

    The limit is taken `AIM_DEG` lower. Told is the excess, averaged over neighbours, that no more
    than the area that may stay locked passes: it changes smoothly with the length of the dart, a
    count of triangles does not, and a triangle that folded over beside a slit does not decide it.
    """
    fine = drape.fine
    centres = fine.surface.corners.mean(axis=1)
    area = np.abs(flat_areas(fine.flat, fine.surface.faces))
    over = smoothed(fine.surface, over_limit_deg(fine.strain, fabric), area, times=1)
    tips = [tip for orbit in orbits for tip in orbit.tips]
    owner = np.repeat(np.arange(len(orbits)), [len(orbit.tips) for orbit in orbits])
    away = np.stack([np.linalg.norm(centres - tip, axis=1) for tip in tips])
    nearest, clear = owner[away.argmin(axis=0)], away.min(axis=0) > TIP_MM
    each = SAFETY * LEFT_LOCKED * float(area.sum()) / len(tips)
    excess = []
    for number, orbit in enumerate(orbits):
        mine = clear & (nearest == number)
        excess.append(AIM_DEG + passed_by(over[mine], area[mine], each * len(orbit.tips)))
    return excess


def passed_by(values: Floats, area: Floats, area_mm2: float) -> float:
    """Return the value passed by this area, of faces with `values` (m,) and `area` (m,) mm2."""
    if not len(values):
        return -np.inf
    order = np.argsort(-values, kind="stable")
    middle = np.cumsum(area[order]) - 0.5 * area[order]
    return float(np.interp(area_mm2, middle, values[order]))
