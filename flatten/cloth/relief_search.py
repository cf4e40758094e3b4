"""How long a dart must be: draped again and again, on triangles fine enough where it ends."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from ..arrays import Floats
from ..progress import Progress, part_of
from ..surface.mesh import SurfaceMesh
from .drape import Drape
from .fabric import Fabric
from .relief_line import slit
from .relief_mesh import refine_near
from .relief_orbit import Orbit
from .relief_zones import over_limit_deg
from .strain import flat_areas

TIP_MM = 3.0  # round the end of a dart shear is singular: not counted; a dart goes on this far
LEFT_LOCKED = 5e-4  # share of the flat area that may stay locked
SAFETY = 0.6  # of it is aimed at: the accepted cuts are laid on another mesh than this search
# Away from the darts the reference mesh is as fine as this many triangles make it: then a dart's
# length depends little on the mesh it is asked for on. Where it may end, edges are `FINE_MM`.
REFERENCE_FACES = 45_000
FINE_MM, FINE_REACH_MM, GRADING = 2.5, 12.0, 0.35
GROWTH, MOST_GROWTHS = 1.25, 14  # lengths tried first, each this much longer than the last
WINDOW_MM = (-3.0, -1.5, 0.0, 1.5, 3.0)  # lengths tried then, round the one found
MOST_WINDOWS = 3  # moved on so often where the length looked for lies beyond
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
    """Find each orbit's length more closely: where a line through the excess of several is zero.

    Where the drape does not come to rest on this mesh the lengths stay as they are. The line is
    the repeated median, which half the tries may miss. Source: Siegel, Robust regression using
    repeated medians, Biometrika 69 (1982) 242.
    """
    longest = np.array([orbit.longest_mm for orbit in orbits])
    for again in range(MOST_WINDOWS):
        share = part_of(progress, again / MOST_WINDOWS, (again + 1) / MOST_WINDOWS)
        if not _closer(surface, orbits, longest, fabric, drape, share):
            return


def _closer(
    surface: SurfaceMesh,
    orbits: Sequence[Orbit],
    longest: Floats,
    fabric: Fabric,
    drape: Draper,
    progress: Progress,
) -> bool:
    """Try a window of lengths; True where the one looked for lies beyond it."""
    middle = np.array([orbit.length_mm for orbit in orbits])
    tried, found = [], []
    for number, offset in enumerate(WINDOW_MM):
        progress(number / len(WINDOW_MM), f"draping with darts, closer try {number + 1}")
        tried.append(np.clip(middle + offset, 0.5 * middle, longest))
        found.append(_try(surface, orbits, tried[-1], fabric, drape))
    lengths, excess = np.array(tried), np.array(found)
    beyond = False
    for k, orbit in enumerate(orbits):
        orbit.length_mm = float(middle[k])
        known = np.isfinite(excess[:, k])
        if orbit.enough and known.sum() > len(WINDOW_MM) // 2:
            root = _zero_of_line(lengths[known, k], excess[known, k])
            orbit.length_mm = float(np.clip(root, lengths[0, k], lengths[-1, k]))
            beyond |= root < lengths[0, k] or lengths[-1, k] < min(root, longest[k])
    return beyond


def lengthen(
    surface: SurfaceMesh,
    orbits: Sequence[Orbit],
    fabric: Fabric,
    drape: Draper,
    progress: Progress,
) -> Drape:
    """Carry the darts on past the locked zone by `TIP_MM`, and return how the cloth then lies."""
    lengths = np.array([orbit.length_mm + TIP_MM for orbit in orbits])
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
    """Give each orbit its length."""
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


def _zero_of_line(lengths: Floats, excess: Floats) -> float:
    """Return where the repeated-median line is zero; the last length if it does not fall."""
    slopes = []
    for i in range(len(lengths)):
        others = np.flatnonzero(np.abs(lengths - lengths[i]) > 1e-9)
        if len(others):
            rise = (excess[others] - excess[i]) / (lengths[others] - lengths[i])
            slopes.append(float(np.median(rise)))
    slope = float(np.median(slopes)) if slopes else 0.0
    if slope >= 0:
        return float(lengths[-1])
    height = float(np.median(excess - slope * lengths))
    return -height / slope


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
            trace = line.trace(surface, orbit.length_mm + 2 * FINE_REACH_MM)
            at = np.arange(orbit.length_mm - FINE_REACH_MM, float(trace.length_mm[-1]), 1.0)
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
    """Return how far beyond the limit the worst of each orbit's cloth is on average, degrees.

    The worst is as much flat area as may stay locked: at zero no more than that is locked.
    A mean changes smoothly with the length of the dart, a count of triangles does not.
    """
    fine = drape.fine
    centres = fine.surface.corners.mean(axis=1)
    area = np.abs(flat_areas(fine.flat, fine.surface.faces))
    over = over_limit_deg(fine.strain, fabric)
    tips = [tip for orbit in orbits for tip in orbit.tips]
    owner = np.repeat(np.arange(len(orbits)), [len(orbit.tips) for orbit in orbits])
    away = np.stack([np.linalg.norm(centres - tip, axis=1) for tip in tips])
    nearest, clear = owner[away.argmin(axis=0)], away.min(axis=0) > TIP_MM
    each = SAFETY * LEFT_LOCKED * float(area.sum()) / len(tips)
    excess = []
    for number, orbit in enumerate(orbits):
        mine = clear & (nearest == number)
        excess.append(_worst_mean(over[mine], area[mine], each * len(orbit.tips)))
    return excess


def _worst_mean(values: Floats, area: Floats, worst_mm2: float) -> float:
    """Return the mean of the largest values over an area."""
    if not len(values):
        return -np.inf
    order = np.argsort(-values, kind="stable")
    sums = np.cumsum(area[order])
    count = int(np.searchsorted(sums, worst_mm2)) + 1
    top = order[:count]
    return float((values[top] * area[top]).sum() / area[top].sum())
