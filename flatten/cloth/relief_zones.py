"""Where cloth will not lie down: the zones that want a dart."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..arrays import Floats, Ints
from ..surface.mesh import SurfaceMesh, components
from .drape import Drape
from .fabric import Fabric
from .strain import flat_areas, principal_stretch

MARGIN_DEG = 3.0  # a zone reaches out to this much below the locking angle
SMALLEST_ZONE = 5e-4  # of the flat area; smaller ones lie down under the hand
TYPICAL_LOCK_DEG = 50.0  # a stretch past its limit is told on the scale of a lock at this angle


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Zone:
    """A connected place where the cloth locks, on the mesh the drape was solved on.

    `faces` (k,) of that mesh; `centre` (3,) mm, weighted by how hard it locks; flat areas mm2.
    """

    faces: Ints
    centre: Floats
    area_mm2: float
    locked_mm2: float


def over_limit_deg(strain: Floats, fabric: Fabric) -> Floats:
    """Return (m,) degrees of shear beyond the locking angle, negative below it.

    Where cloth is limited by stretch instead (unidirectional across its fibres, mat, film)
    the share of the limit used counts, on the scale of a lock at 50 degrees.
    """
    closing, opening = fabric.lock_deg(closing=True), fabric.lock_deg(closing=False)
    limit = fabric.stretch_limit_across
    over = np.full(len(strain), -TYPICAL_LOCK_DEG)
    if closing is not None:
        shear_deg = np.degrees(strain[:, 2])
        over = np.where(shear_deg >= 0, shear_deg - closing, -shear_deg - (opening or closing))
        stretch = np.abs(np.log1p(strain[:, 1]))
        limited = fabric.kind == "unidirectional" and limit > 0
    else:
        logs = np.log(np.maximum(principal_stretch(strain), 1e-12))
        stretch, limited = np.abs(logs).max(axis=1), limit > 0
    if limited:
        over = np.maximum(over, TYPICAL_LOCK_DEG * (stretch / np.log1p(limit) - 1))
    return np.asarray(over)


def locked_zones(drape: Drape, fabric: Fabric) -> list[Zone]:
    """Return the zones that lock, the largest first.

    The excess is smoothed twice over the vertices; a zone is what is left above the limit less
    `MARGIN_DEG`, if it is larger than `SMALLEST_ZONE` and locks somewhere.
    """
    fine = drape.fine
    surface, area = fine.surface, np.abs(flat_areas(fine.flat, fine.surface.faces))
    over = over_limit_deg(fine.strain, fabric)
    members = np.flatnonzero(smoothed(surface, over, area, times=2) > -MARGIN_DEG)
    if not len(members):
        return []
    piece = components(surface.faces[members])
    centres = surface.corners.mean(axis=1)
    # how hard it locks: the growth of the shear energy, tan^2, above the limit less the margin
    weight = area * np.maximum(over + MARGIN_DEG, 0.0) ** 2
    zones = []
    for number in range(int(piece.max()) + 1):
        faces = members[piece == number]
        size, locked = float(area[faces].sum()), float(area[faces][over[faces] > 0].sum())
        if size > SMALLEST_ZONE * area.sum() and locked > 0.5 * SMALLEST_ZONE * area.sum():
            centre = (centres[faces] * weight[faces, None]).sum(axis=0) / weight[faces].sum()
            zones.append(Zone(faces=faces, centre=centre, area_mm2=size, locked_mm2=locked))
    return sorted(zones, key=lambda zone: -zone.locked_mm2)


def smoothed(surface: SurfaceMesh, values: Floats, area: Floats, *, times: int) -> Floats:
    """Return face values (m,) averaged over the vertices so many times, by `area` (m,)."""
    count, faces = len(surface.vertices), surface.faces
    around = np.bincount(faces.ravel(), np.repeat(area, 3), count)
    around[around == 0] = 1.0
    for _ in range(times):
        vertex = np.bincount(faces.ravel(), np.repeat(area * values, 3), count) / around
        values = vertex[faces].mean(axis=1)
    return values
