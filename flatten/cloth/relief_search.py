"""How long a dart must be: draped again and again, on triangles fine enough where it ends."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from ..arrays import Floats
from ..progress import Progress
from ..surface.mesh import SurfaceMesh
from .drape import Drape
from .fabric import Fabric
from .relief_line import slit
from .relief_mesh import refine_near
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
GROWTH, MOST_GROWTHS = 1.25, 14  # lengths tried first, each this much longer than the last
# Then the length is approached from above, where the cloth lies down and its shear changes
# smoothly with the length; just below, it may buckle in several ways.
ONWARD, APART_SHARE, APART_MM = 1.12, 0.08, 3.0  # while it locks; to the second point of the line
NEAR_MM = 4.0  # a line through two drapes is trusted so far beyond them
MOST_TRIES = 9
FALLS_DEG = 0.01  # a dart longer by `APART_MM` lowers the shear by more than this
NEVER_DEG = 180.0  # an excess no cloth has: nothing is known yet
NUDGES_MM = (0.0, -1.5, 1.5, 3.0)  # an end can sit badly among its triangles: tried last

Draper = Callable[[SurfaceMesh], Drape]


def find_lengths(
    surface: SurfaceMesh,
    orbits: Sequence[Orbit],
    fabric: Fabric,
    drape: Draper,
    progress: Progress,
) -> None:
    """Set each orbit's length to about the least that lets the cloth lie down, all tried together.

    An excess is the least found so far: a dart made longer does not lock more, but its end may
    sit badly among the triangles.
    """
    first = np.array([orbit.length_mm / GROWTH for orbit in orbits])
    longest = np.array([orbit.longest_mm for orbit in orbits])
    tried: list[Floats] = []
    least: list[Floats] = []
    so_far = np.full(len(orbits), NEVER_DEG)
    for number in range(MOST_GROWTHS):
        progress(number / MOST_GROWTHS, f"draping with darts, try {number + 1}")
        lengths = np.minimum(first * GROWTH**number, longest)
        so_far = np.fmin(so_far, _try(surface, orbits, lengths, fabric, drape))
        tried.append(lengths)
        least.append(so_far)
        if ((so_far <= 0) | (lengths >= longest)).all():
            break
    lengths, excess = np.array(tried), np.array(least)
    for k, orbit in enumerate(orbits):
        orbit.enough = bool(excess[-1, k] <= 0)
        orbit.length_mm = _crossing(lengths[:, k], excess[:, k])


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
    lengths = np.minimum(lengths + APART_MM, [orbit.longest_mm for orbit in orbits])
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


def next_length(tried: Sequence[tuple[float, float]], longest_mm: float) -> tuple[float, bool]:
    """Return the next dart length to try, and whether it is the one looked for, mm.

    `tried` holds lengths and the excess of each, degrees. Two that lie give a line; it is trusted
    `NEAR_MM` beyond the shorter one, and never below a length at which the cloth locked.
    """
    points = sorted(tried)
    lies = [point for point in points if point[1] <= 0]
    if not lies:
        longest = points[-1][0]
        return min(longest * ONWARD, longest_mm), longest >= longest_mm
    short = lies[0]
    beyond = [p for p in lies[1:] if p[1] < short[1] - FALLS_DEG]
    if not beyond:
        onward = points[-1][0] + max(APART_MM, APART_SHARE * short[0])
        if points[-1][0] >= longest_mm or len(lies) > 2:
            return short[0], True  # making it longer changes nothing
        return min(onward, longest_mm), False
    long = beyond[0]
    root = short[0] - short[1] * (long[0] - short[0]) / (long[1] - short[1])
    locked = [length for length, excess in points if excess > 0 and length < short[0]]
    root = max(root, *locked, 0.5 * short[0]) if locked else max(root, 0.5 * short[0])
    if short[0] - root <= NEAR_MM:
        return root, True
    return root + 0.5 * NEAR_MM, False


def lengthen(
    surface: SurfaceMesh,
    orbits: Sequence[Orbit],
    fabric: Fabric,
    drape: Draper,
    progress: Progress,
) -> Drape:
    """Carry the darts on by `BEYOND_MM`, and return how the cloth then lies."""
    lengths = np.array([orbit.length_mm + BEYOND_MM for orbit in orbits])
    longest = np.array([orbit.longest_mm for orbit in orbits])
    best: tuple[float, Floats, Drape] | None = None
    for number, nudge in enumerate(NUDGES_MM):
        progress(number / len(NUDGES_MM), "draping with the darts found")
        now = np.minimum(lengths + nudge, longest)
        laid = _drape_at(surface, orbits, now, drape)
        worst = max(excess_deg(laid, orbits, fabric)) if laid.converged else NEVER_DEG
        if best is None or worst < best[0]:
            best = (worst, now, laid)
        if worst <= 0:
            break
    assert best is not None
    set_lengths(orbits, best[1])
    slit_all(surface, orbits)
    return best[2]


def set_lengths(orbits: Sequence[Orbit], lengths: Floats) -> None:
    """Give each orbit its length, mm."""
    for orbit, length in zip(orbits, lengths.tolist(), strict=True):
        orbit.length_mm = length


def _drape_at(
    surface: SurfaceMesh, orbits: Sequence[Orbit], lengths: Floats, drape: Draper
) -> Drape:
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
    if not laid.converged:
        return np.full(len(orbits), np.nan)
    return np.array(excess_deg(laid, orbits, fabric))


def _crossing(lengths: Floats, excess: Floats) -> float:
    """Return where a falling excess passes zero; the last length if it does not."""
    below = np.flatnonzero(excess <= 0)
    if not len(below):
        return float(lengths[-1])
    k = int(below[0])
    if k == 0:
        return float(lengths[0])
    share = excess[k - 1] / (excess[k - 1] - excess[k])
    return float(lengths[k - 1] + share * (lengths[k] - lengths[k - 1]))


def slit_all(surface: SurfaceMesh, orbits: Sequence[Orbit]) -> SurfaceMesh:
    """Return the surface with all darts open; notes where they end."""
    for orbit in orbits:
        orbit.tips = []
        for line in orbit.lines:
            surface, tip = slit(surface, line.trace(surface, orbit.length_mm))
            orbit.tips.append(tip)
    return surface


def reference_mesh(surface: SurfaceMesh, orbits: Sequence[Orbit]) -> SurfaceMesh:
    """Return the surface with triangles of one size, smaller where the darts may end."""
    widest = float(np.sqrt(2.31 * surface.areas.sum() / REFERENCE_FACES)) * 1.5
    ends = []
    for orbit in orbits:
        for line in orbit.lines:
            trace = line.trace(surface, orbit.length_mm + FINE_ON_MM)
            at = np.arange(orbit.length_mm - FINE_BACK_MM, float(trace.length_mm[-1]), 1.0)
            ends.append(
                np.column_stack(
                    [np.interp(at, trace.length_mm, trace.points[:, i]) for i in range(3)]
                )
            )
    near = np.vstack(ends)

    def wanted(points: Floats) -> Floats:
        away = np.full(len(points), np.inf)
        for end in near:
            away = np.minimum(away, ((points - end) ** 2).sum(axis=1))
        grown = FINE_MM + GRADING * np.maximum(np.sqrt(away) - FINE_REACH_MM, 0)
        return np.asarray(np.minimum(grown, widest))

    return refine_near(surface, wanted, FINE_MM)


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
