"""Search for a better tack point, and a better warp angle where the ply may be turned."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import Floats, frozen_floats, unit_vector
from ..errors import InputError
from ..progress import Progress, part_of, silent
from ..surface.geodesic import vertex_normals
from ..surface.mesh import SurfaceMesh
from ..surface.refine import EQUILATERAL, refine
from .coarse import coarse_surface
from .drape import Drape, Method, drape_surface
from .fabric import Fabric
from .strain import beyond_limit, flat_areas, locked_flat_area_fraction

# Trials are draped on about so many triangles: locked areas hold to a few tenths of a percent.
TRIAL_TRIANGLES = 2500
TRIALS = 16  # places spread over the ply; then as many again around the best
# Two trials are alike when their locked shares differ by less; then the mean shear decides.
ALIKE = 5e-4
# A tack point within a hand's breadth of the rim (or an eighth of a small part) is hard to press
# down and lifts as the cloth is worked outwards: a place further in is taken where it locks and
# shears hardly more. Common practice, no source.
FROM_RIM_MM, FROM_RIM_SHARE = 40.0, 1 / 8
LOSS_LOCKED, LOSS_SHEAR_DEG = 2e-3, 0.5
ALONG_NORMAL = 0.2  # no trial where the warp direction stands so steep on the surface

# The roll direction (3,) at a place (3,) mm with this normal (3,).
WarpAt = Callable[[Floats, Floats], Floats]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Trial:
    """One tack point and turn of the warp (degrees, counter-clockwise), and what it gives.

    `locked_fraction` of the flat cloth will not lie down; `shear_rms_deg` over the surface;
    `rim_mm` from the tack point to the nearest edge of the cloth.
    """

    tack_mm: Floats
    turn_deg: float
    locked_fraction: float
    shear_rms_deg: float
    rim_mm: float = np.inf

    def better_than(self, other: Trial) -> bool:
        """Tell whether less of it locks or, where alike, whether it shears less."""
        if abs(self.locked_fraction - other.locked_fraction) > ALIKE:
            return self.locked_fraction < other.locked_fraction
        return self.shear_rms_deg < other.shear_rms_deg

    def hardly_worse_than(self, other: Trial) -> bool:
        """Tell whether it locks and shears so little more that a handier place outweighs it."""
        return (
            self.locked_fraction <= other.locked_fraction + LOSS_LOCKED
            and self.shear_rms_deg <= other.shear_rms_deg + LOSS_SHEAR_DEG
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TackSearch:
    """The best trial, the given one, both draped in full, and how many were tried."""

    best: Trial
    given: Trial
    drape: Drape
    tried: int

    @property
    def gain(self) -> str:
        """What the better place gains, in one sentence."""
        if self.best is self.given:
            return "No better tack point was found."
        return (
            f"Locked: {100 * self.best.locked_fraction:.1f} % instead of "
            f"{100 * self.given.locked_fraction:.1f} % of the cloth; mean shear "
            f"{self.best.shear_rms_deg:.1f}° instead of {self.given.shear_rms_deg:.1f}°."
        )


def search_tack(
    mesh: SurfaceMesh,
    fabric: Fabric,
    *,
    tack_mm: ArrayLike,
    warp: ArrayLike | WarpAt,
    turns_deg: Sequence[float] = (0.0,),
    method: Method = "worked_out",
    trials: int = TRIALS,
    progress: Progress = silent,
) -> TackSearch:
    """Search the tack point for the least locked area, then the least shear.

    Places spread over the ply are tried on a coarse mesh, then places around the best; the winner
    is draped in full beside the given one, and kept only where it is better there too. It keeps
    its distance from the rim (`FROM_RIM_MM`) where that costs next to nothing.

    Parameters
    ----------
    tack_mm : (3,) the given tack point, tried first
    warp : (3,) the roll direction, laid into the surface at each place, or a function of place
        and normal that returns it
    turns_deg : turns of the warp that the ply allows, counter-clockwise; (0,): none
    trials : how many places, at least 4; a count, never a time: the same call, the same answer
    progress : may raise Cancelled

    Raises
    ------
    InputError : as drape_surface; fewer than 4 trials; no turn
    """
    if trials < 4 or not len(turns_deg):
        raise InputError(
            f"The search has {trials} trials and {len(turns_deg)} turns.",
            "Allow four trials or more, and at least the turn of 0 degrees.",
        )
    warp_at = warp if callable(warp) else _constant(unit_vector("warp", warp))
    search = _Search(mesh, fabric, warp_at, method)
    tack = frozen_floats("tack_mm", tack_mm, (3,))
    full, given = search.drape(mesh, tack, 0.0)  # also refuses what cannot be draped
    trial_mesh = _trial_mesh(mesh)
    trials_made = [search.drape(trial_mesh, tack, 0.0)[1]]
    places = _spread(trial_mesh, tack, trials)
    around = max(trials // 8, 1)
    jobs = [(place, turn) for place in places for turn in turns_deg]
    total, done = len(jobs) + 8 * around, 0
    for place, turn in jobs:
        part_of(progress, 0.1, 0.8)(done / total, "Trying tack points")
        trials_made += search.try_at(trial_mesh, place, turn)
        done += 1
    radius = float(np.sqrt(trial_mesh.areas.sum() / max(len(places), 1)))
    for _ in range(around):
        radius *= 0.6
        centre = _choice(trials_made, mesh)
        for way in _ring(trial_mesh, centre.tack_mm, radius):
            part_of(progress, 0.1, 0.8)(done / total, "Trying tack points")
            trials_made += search.try_at(trial_mesh, way, centre.turn_deg)
            done += 1
    best = _choice(trials_made, mesh)
    progress(0.9, "Draping the best")
    drape, found = search.drape(mesh, best.tack_mm, best.turn_deg)
    if found.better_than(given):
        return TackSearch(best=found, given=given, drape=drape, tried=done)
    return TackSearch(best=given, given=given, drape=full, tried=done)


class _Search:
    """What stays the same between trials."""

    def __init__(self, mesh: SurfaceMesh, fabric: Fabric, warp_at: WarpAt, method: Method) -> None:
        self.mesh, self.fabric, self.warp_at, self.method = mesh, fabric, warp_at, method

    def drape(self, mesh: SurfaceMesh, tack: Floats, turn_deg: float) -> tuple[Drape, Trial]:
        normal = _normal_at(mesh, tack)
        along = self._turned(tack, normal, turn_deg)
        drape = drape_surface(
            mesh,
            self.fabric,
            tack_mm=tack,
            warp=along,
            method=self.method,
            max_edge_mm=None if mesh is self.mesh else mesh.size_mm,  # trials as they are
        )
        return drape, self._trial(drape, turn_deg)

    def try_at(self, mesh: SurfaceMesh, place: Floats, turn_deg: float) -> list[Trial]:
        normal = _normal_at(mesh, place)
        along = self._turned(place, normal, turn_deg)
        if np.linalg.norm(along - normal * (normal @ along)) < ALONG_NORMAL:
            return []
        return [self.drape(mesh, place, turn_deg)[1]]

    def _turned(self, place: Floats, normal: Floats, turn_deg: float) -> Floats:
        along = unit_vector("warp", self.warp_at(place, normal))
        angle = np.radians(turn_deg)
        return np.asarray(
            along * np.cos(angle)
            + np.cross(normal, along) * np.sin(angle)
            + normal * (normal @ along) * (1 - np.cos(angle))
        )

    def _trial(self, drape: Drape, turn_deg: float) -> Trial:
        fine = drape.fine
        areas = np.abs(flat_areas(fine.flat, fine.surface.faces))
        if self.fabric.directional:
            bad = locked_flat_area_fraction(drape, self.fabric)
            spread = fine.strain[:, 2]
        else:
            bad = float(areas[beyond_limit(fine.strain, self.fabric)].sum() / areas.sum())
            spread = fine.strain[:, :2].max(axis=1)
        rms = float(np.degrees(np.sqrt((areas @ spread**2) / areas.sum())))
        edges = fine.surface.edges
        rim = fine.surface.vertices[np.unique(edges.vertices[edges.boundary])]
        return Trial(
            tack_mm=drape.tack_mm,
            turn_deg=turn_deg,
            locked_fraction=bad,
            shear_rms_deg=rms,
            rim_mm=float(np.sqrt(((rim - drape.tack_mm) ** 2).sum(axis=1).min())),
        )


def _choice(trials: list[Trial], mesh: SurfaceMesh) -> Trial:
    """Return the best trial, or the best one away from the rim where that is hardly worse."""
    best = _best(trials)
    away_mm = min(FROM_RIM_MM, FROM_RIM_SHARE * mesh.spread_mm)
    inside = [
        trial for trial in trials if trial.rim_mm >= away_mm and trial.hardly_worse_than(best)
    ]
    return best if best.rim_mm >= away_mm or not inside else _best(inside)


def _best(trials: list[Trial]) -> Trial:
    best = trials[0]
    for trial in trials[1:]:
        if trial.better_than(best):
            best = trial
    return best


def _constant(warp: Floats) -> WarpAt:
    return lambda place, normal: warp


def _trial_mesh(mesh: SurfaceMesh) -> SurfaceMesh:
    edge = 1.4 * np.sqrt(float(mesh.areas.sum()) / (EQUILATERAL * TRIAL_TRIANGLES))
    fine = refine(mesh, max_edge_mm=edge).surface
    if len(fine.faces) < 2 * TRIAL_TRIANGLES:
        return fine
    coarse = coarse_surface(fine, TRIAL_TRIANGLES / len(fine.faces))
    return fine if coarse is None else coarse.surface


def _normal_at(mesh: SurfaceMesh, place: Floats) -> Floats:
    nearest = int(((mesh.vertices - place) ** 2).sum(axis=1).argmin())
    normals, _ = vertex_normals(mesh)
    return np.asarray(normals[nearest])


def _spread(mesh: SurfaceMesh, first: Floats, count: int) -> list[Floats]:
    """Return face middles far from each other and from the rim, the farthest first."""
    middles = mesh.corners.mean(axis=1)
    rim = mesh.vertices[np.unique(mesh.edges.vertices[mesh.edges.boundary])]
    to_rim = np.array([((rim - middle) ** 2).sum(axis=1).min() for middle in middles])
    middles = middles[to_rim > 0.01 * to_rim.max()]
    away = ((middles - first) ** 2).sum(axis=1)
    chosen = []
    for _ in range(min(count, len(middles))):
        at = int(away.argmax())
        chosen.append(middles[at])
        away = np.minimum(away, ((middles - middles[at]) ** 2).sum(axis=1))
    return chosen


def _ring(mesh: SurfaceMesh, centre: Floats, radius: float) -> list[Floats]:
    """Return eight face middles about `radius` away from the centre, all round."""
    normal = _normal_at(mesh, centre)
    middles = mesh.corners.mean(axis=1)
    side = np.cross(normal, [1.0, 0, 0] if abs(normal[0]) < 0.8 else [0, 1.0, 0])
    side = side / np.linalg.norm(side)
    other = np.cross(normal, side)
    turns = 2 * np.pi * np.arange(8) / 8
    wanted = centre + radius * (np.cos(turns)[:, None] * side + np.sin(turns)[:, None] * other)
    return [middles[((middles - place) ** 2).sum(axis=1).argmin()] for place in wanted]
