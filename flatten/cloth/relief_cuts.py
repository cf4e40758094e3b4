"""Darts found as cuts a person can move, and the mould's faces their zones lie on."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..arrays import Floats
from ..surface.cut import Cut
from ..surface.locate import locate
from ..surface.mesh import SurfaceMesh
from .drape import Drape
from .fabric import Fabric
from .relief_line import DartLine, on_rim
from .relief_orbit import Orbit
from .relief_proposal import nearest_of

PATH_STEP_MM = 25.0  # between the points of a proposed cut


def cuts_of(
    plain: Drape, orbits: Sequence[Orbit], fabric: Fabric, surface: SurfaceMesh
) -> list[Cut]:
    """Return the darts as cuts, at their present lengths."""
    pairs = [
        (orbit, line, mirrored)
        for orbit in orbits
        for line, mirrored in zip(orbit.lines, orbit.left_handed, strict=True)
    ]
    return [
        _as_cut(f"dart-{k}", line, orbit, fabric, plain.fine.surface, surface, mirrored)
        for k, (orbit, line, mirrored) in enumerate(pairs, start=1)
    ]


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


def starts_of(orbits: Sequence[Orbit]) -> list[Floats]:
    """Return where the darts of all orbits start, (3,) mm each."""
    return [line.start for orbit in orbits for line in orbit.lines]


def faces_under(
    surface: SurfaceMesh, plain: Drape, orbits: Sequence[Orbit]
) -> list[tuple[int, ...]]:
    """Return for each dart the given surface's faces over which its zone lies.

    Zones are of the sought-on mesh; of an orbit's zone a dart has the part nearest to its start.
    """
    base = plain.fine.surface
    starts = starts_of(orbits)
    owner = nearest_of(base.corners.mean(axis=1), starts)
    zones = [
        orbit.zone[owner[orbit.zone] == k]
        for k, orbit in enumerate(one for one in orbits for _ in one.lines)
    ]
    if plain.surface is surface:
        on = [np.unique(plain.fine.source_faces[zone]) for zone in zones]
    else:
        under = locate(base, surface.corners.mean(axis=1)).faces
        on = [np.flatnonzero(np.isin(under, zone)) for zone in zones]
    return [tuple(faces.tolist()) for faces in on]
