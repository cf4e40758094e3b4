"""Where a dart would let the cloth lie down: proposals, each draped again, never changes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import Floats, Ints, frozen_floats
from ..errors import SolveError
from ..progress import Progress, part_of, silent
from ..surface.cut import Cut
from ..surface.locate import locate
from ..surface.mesh import SurfaceMesh
from .drape import Drape, Method, drape_surface
from .fabric import Fabric
from .relief_line import DartLine, on_rim
from .relief_mesh import coarser
from .relief_orbit import Orbit, orbits_of
from .relief_search import (
    LEFT_LOCKED,
    TIP_MM,
    find_lengths,
    lengthen,
    reference_mesh,
    refine_lengths,
)
from .relief_zones import locked_zones, over_limit_deg
from .strain import flat_areas

# Darts are sought on no more than about this many triangles: a finer mesh gains nothing.
SOUGHT_ON_FACES = 30_000
PATH_STEP_MM = 25.0  # between the points of a proposed cut


@dataclass(frozen=True, slots=True, kw_only=True)
class Lie:
    """How a cloth lies: locked flat area and its share, largest shear and fibre stretch.

    Largest means: exceeded on no more than the share of the flat area that may stay locked.
    The ends of darts, `TIP_MM` round, are not counted.
    """

    locked_mm2: float
    locked_share: float
    shear_deg: float
    stretch: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Proposal:
    """A cut that would let the cloth lie down, and what it gains; the person decides.

    `cut` to be accepted, moved or refused; mirror images of one another share `set_number`.
    `faces` of the surface that lock without it; `before` and `after` the lie of the cloth
    there, with all proposals taken. `accept_deg`: allow the cloth this much shear there, and
    no cut is needed. `enough`: with it the cloth lies down.
    """

    cut: Cut
    set_number: int
    length_mm: float
    faces: tuple[int, ...]
    before: Lie
    after: Lie
    accept_deg: float
    enough: bool

    @property
    def message(self) -> str:
        """What it gains, in one sentence for the panel."""
        gain = (
            f"{self.cut.kind} of {self.length_mm:.0f} mm: locked cloth "
            f"{self.before.locked_mm2 / 100:.1f} -> {self.after.locked_mm2 / 100:.1f} cm2, "
            f"fibre stretch {self.before.stretch:.1%} -> {self.after.stretch:.1%}"
        )
        rest = "" if self.enough else "; it will still not lie down: part the cloth here"
        return f"{gain}{rest}; or accept up to {self.accept_deg:.0f} degrees of shear here"


def propose_relief(
    surface: SurfaceMesh,
    fabric: Fabric,
    *,
    tack_mm: ArrayLike,
    warp: ArrayLike,
    method: Method = "worked_out",
    max_edge_mm: float | None = None,
    thorough: bool = True,
    progress: Progress = silent,
) -> list[Proposal]:
    """Return darts that let a cloth lie down that locks; none where it lies down already.

    Each zone that locks gets one straight dart, from where the rim is nearest, just long enough;
    where mould and cloth repeat over a plane, so do the darts. The lengths are found by draping
    again with all of them, on a mesh refined where they end.

    Parameters
    ----------
    surface, fabric, tack_mm, warp, method, max_edge_mm : as for `drape_surface`
    thorough : find the lengths on a fine mesh of their own, so that they depend on the given
        one by a millimetre or two; else on the drape's mesh, several times quicker
    progress : called with the share done; may raise Cancelled

    Raises
    ------
    InputError, SolveError : as `drape_surface`; the cloth without darts does not come to rest
    """
    tack, along = frozen_floats("tack_mm", tack_mm, (3,)), frozen_floats("warp", warp, (3,))

    def drape(mesh: SurfaceMesh) -> Drape:
        return drape_surface(
            mesh, fabric, tack_mm=tack, warp=along, method=method, max_edge_mm=max_edge_mm
        )

    progress(0.0, "draping without darts")
    plain = drape(coarser(surface, SOUGHT_ON_FACES))
    zones = locked_zones(plain, fabric)
    if not zones:
        return []
    if not plain.converged:
        raise SolveError(
            "The cloth does not come to rest here, so it cannot be said where to dart it.",
            "Draw a first dart or splice where the mould is deepest, or move the tack point; "
            "then ask again.",
        )
    base = plain.fine.surface
    orbits = orbits_of(base, plain, fabric, zones)
    find_lengths(base, orbits, fabric, drape, part_of(progress, 0.1, 0.4))
    fine = base
    if thorough:
        fine = reference_mesh(base, orbits)
        refine_lengths(fine, orbits, fabric, drape, part_of(progress, 0.4, 0.8))
    found = [orbit.length_mm for orbit in orbits]
    darted = lengthen(fine, orbits, fabric, drape, part_of(progress, 0.8, 0.9))
    if not darted.converged and fine is not base:
        for orbit, length in zip(orbits, found, strict=True):
            orbit.length_mm = length
        darted = lengthen(base, orbits, fabric, drape, part_of(progress, 0.9, 1.0))
    progress(1.0, "darts proposed")
    return _proposals(plain, darted, orbits, fabric, surface)


def _proposals(
    plain: Drape, darted: Drape, orbits: Sequence[Orbit], fabric: Fabric, surface: SurfaceMesh
) -> list[Proposal]:
    tips = np.array([tip for orbit in orbits for tip in orbit.tips])
    middles = [line.start for orbit in orbits for line in orbit.lines]
    before = _lies(plain, fabric, middles, np.zeros((0, 3)))
    after = _lies(darted, fabric, middles, tips)
    owner = _owner(plain, middles)
    proposals = []
    k = 0
    for number, orbit in enumerate(orbits, start=1):
        for line, mirrored in zip(orbit.lines, orbit.left_handed, strict=True):
            zone = orbit.zone[owner[orbit.zone] == k]
            name = f"dart-{k + 1}"
            cut = _as_cut(name, line, orbit, fabric, plain.fine.surface, surface, mirrored)
            proposals.append(
                Proposal(
                    cut=cut,
                    set_number=number,
                    length_mm=orbit.length_mm,
                    faces=_faces_under(surface, plain, zone),
                    before=before[k],
                    after=after[k],
                    accept_deg=float(np.ceil(before[k].shear_deg)),
                    enough=orbit.enough,
                )
            )
            k += 1
    return proposals


def _faces_under(surface: SurfaceMesh, plain: Drape, zone: Ints) -> tuple[int, ...]:
    """Return the given surface's faces over which a zone of the sought-on mesh lies."""
    if plain.surface is surface:
        return tuple(np.unique(plain.fine.source_faces[zone]).tolist())
    middles = surface.corners.mean(axis=1)
    nearest = locate(plain.fine.surface, middles).faces
    return tuple(np.flatnonzero(np.isin(nearest, zone)).tolist())


def _as_cut(
    name: str,
    line: DartLine,
    orbit: Orbit,
    fabric: Fabric,
    base: SurfaceMesh,
    surface: SurfaceMesh,
    mirrored: bool,
) -> Cut:
    """Return a dart as an editable cut, its points on the given surface."""
    trace = line.trace(base, orbit.length_mm)
    at = np.linspace(0, orbit.length_mm, int(np.ceil(orbit.length_mm / PATH_STEP_MM)) + 1)
    path = np.column_stack([np.interp(at, trace.length_mm, trace.points[:, i]) for i in range(3)])
    butt = fabric.kind == "unidirectional" or fabric.lap_mm == 0
    return Cut(
        id=name,
        kind="dart",
        path=np.vstack([on_rim(surface, path[0]), locate(surface, path[1:]).points]),
        joint="butt" if butt else "lap",
        lap_mm=fabric.lap_mm,
        under="right" if mirrored else "left",
    )


def _owner(drape: Drape, middles: Sequence[Floats]) -> Ints:
    centres = drape.fine.surface.corners.mean(axis=1)
    return np.asarray(
        np.stack([np.linalg.norm(centres - m, axis=1) for m in middles]).argmin(axis=0)
    )


def _lies(drape: Drape, fabric: Fabric, middles: Sequence[Floats], tips: Floats) -> list[Lie]:
    """Return how the cloth lies round each dart: each face counts for the nearest one."""
    fine = drape.fine
    area = np.abs(flat_areas(fine.flat, fine.surface.faces))
    over, shear = over_limit_deg(fine.strain, fabric), np.abs(np.degrees(fine.strain[:, 2]))
    stretch = np.abs(fine.strain[:, :2]).max(axis=1)
    centres = fine.surface.corners.mean(axis=1)
    clear = np.ones(len(area), bool)
    for tip in tips:
        clear &= np.linalg.norm(centres - tip, axis=1) > TIP_MM
    owner, total = _owner(drape, middles), float(area.sum())
    small = LEFT_LOCKED * total / len(middles)
    lies = []
    for k in range(len(middles)):
        mine = clear & (owner == k)
        locked = float(area[mine & (over > 0)].sum())
        lies.append(
            Lie(
                locked_mm2=locked,
                locked_share=locked / total,
                shear_deg=_quantile(shear[mine], area[mine], small),
                stretch=_quantile(stretch[mine], area[mine], small),
            )
        )
    return lies


def _quantile(values: Floats, area: Floats, above_mm2: float) -> float:
    """Return the value that no more than this area exceeds."""
    if not len(values):
        return 0.0
    order = np.argsort(-values, kind="stable")
    count = int(np.searchsorted(np.cumsum(area[order]), above_mm2))
    return float(values[order[min(count, len(order) - 1)]])
