"""A dart and its mirror images: where they start, where they may end, how long they must be."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from ..arrays import Floats, Ints
from ..surface.geodesic import closest_point
from ..surface.mesh import SurfaceMesh
from .drape import Drape
from .fabric import Fabric
from .relief_line import NO_SLITS, DartLine, shortest_to_rim
from .relief_mirror import mirrors
from .relief_zones import Zone

TACK_CLEAR_MM = 15.0  # a dart ends this far from the tack point and from the far rim


@dataclass(slots=True, eq=False)
class Orbit:
    """One dart and its mirror images, all of one length.

    `lines` from the rim inwards; `left_handed` for the images a mirror made; `zone` the locked
    faces of the zones they cure; `length_mm` the present length, `longest_mm` the most it may
    be; `enough`: at that length the cloth lies down; `tips` where they end at that length.
    """

    lines: list[DartLine]
    left_handed: list[bool]
    zone: Ints
    longest_mm: float
    length_mm: float
    enough: bool = True
    tips: list[Floats] = field(default_factory=list)


def orbits_of(
    surface: SurfaceMesh,
    drape: Drape,
    fabric: Fabric,
    zones: Sequence[Zone],
    slits: Floats = NO_SLITS,
) -> list[Orbit]:
    """Return one dart for each zone, the mirror images of one together, the hardest first.

    `slits` (k, 2, 3) mm: edges of the boundary that are sides of cuts already there. A zone from
    which no straight line reaches the rim between them has no dart.
    """
    group = mirrors(surface, drape, fabric)
    left, orbits = list(zones), []
    while left:
        zone = left.pop(0)
        near = 0.7 * float(np.sqrt(zone.area_mm2))
        images = [_moved(g, zone.centre, drape.tack_mm) for g in group]
        same = [
            other
            for other in left
            if min(np.linalg.norm(other.centre - image) for image in images) <= near
        ]
        left = [other for other in left if other not in same]
        orbit = _orbit(surface, drape, group, zone, near, slits)
        if orbit is None:
            continue
        orbit.zone = np.concatenate([zone.faces, *(other.faces for other in same)])
        orbits.append(orbit)
    return orbits


def _orbit(
    surface: SurfaceMesh,
    drape: Drape,
    group: list[Floats],
    zone: Zone,
    near: float,
    slits: Floats,
) -> Orbit | None:
    """Return the dart of a zone and its images; on a mirror plane it lies in the plane exactly."""
    about = drape.tack_mm
    own = [g for g in group if np.linalg.norm(_moved(g, zone.centre, about) - zone.centre) < near]
    centre = np.mean([_moved(g, zone.centre, about) for g in own], axis=0)
    line = shortest_to_rim(surface, centre, slits=slits)
    if line is None:
        return None
    start = np.mean([_moved(g, line.start, about) for g in own], axis=0)
    start = closest_point(surface, start).position
    inward = np.mean([g @ line.inward for g in own], axis=0)
    inward = inward / np.linalg.norm(inward)
    lines: list[DartLine] = []
    left_handed = []
    for g in group:
        image = DartLine(start=_moved(g, start, about), inward=g @ inward)
        if all(np.linalg.norm(image.start - other.start) > near for other in lines):
            lines.append(image)
            left_handed.append(bool(np.linalg.det(g) < 0))
    longest, to_centre = _reach(surface, lines[0], centre, about)
    return Orbit(
        lines=lines,
        left_handed=left_handed,
        zone=zone.faces,
        longest_mm=longest,
        length_mm=min(1.5 * to_centre + near / 2, longest),
    )


def _reach(
    surface: SurfaceMesh, line: DartLine, centre: Floats, tack: Floats
) -> tuple[float, float]:
    """Return the longest a dart may be, and how far along it the zone's middle is, mm."""
    trace = line.trace(surface, 4 * surface.size_mm)
    length = trace.length_mm
    from_tack = np.linalg.norm(trace.points - tack, axis=1)
    passes = np.flatnonzero(from_tack < 2 * TACK_CLEAR_MM)
    end = float(length[passes[0]]) if len(passes) else float(length[-1])
    middle = int(np.linalg.norm(trace.points - centre, axis=1).argmin())
    return max(end - TACK_CLEAR_MM, 0.5 * end), float(length[middle])


def _moved(isometry: Floats, point: Floats, about: Floats) -> Floats:
    return np.asarray(isometry @ (point - about) + about)
