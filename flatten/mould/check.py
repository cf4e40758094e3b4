"""All mould checks in one call.

Codes of findings, stable words, with the file that says them:

- here: empty, no_layup; layup.py: pull
- health.py: size, open_edges, flipped_faces, inside_out, crowded_edges, doubled_vertices,
  doubled_faces, no_area; crossings.py: self_crossing; walls.py: thin_wall
- draft.py: undercut, trapped, low_draft; split.py: part_line
- ridges.py: layer_ridges
- corners.py: sharp_corner, tight_corner
- reach.py: deep, no_brush, no_roller, narrow_flange

Which side counts. Size and health are about the whole mould. Draft, layer lines, corners and reach
are about the faces the cloth is laid on, with normals towards the cloth: the region, where one is
given. Without one, an open skin counts as lay-up surface in whole. On a closed block the lay-up
side cannot be guessed, so only size and health are checked, and a note says so.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import Floats, Ints, frozen_ints, unit_vector
from ..errors import InputError
from ..finding import Finding
from ..progress import Progress, part_of, silent
from ..surface.mesh import MouldMesh
from .crossings import check_crossings
from .health import check_health, check_size, is_closed, renumbered, usable
from .layup import Section, check_layup
from .report import (
    MouldMaps,
    MouldReport,
    corners_as_given,
    fill_maps,
    numbers_of,
    split_as_given,
)
from .settings import Direction, MouldSettings
from .walls import check_walls, wall_thickness
from .weld import Welded, box_mm, weld


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MouldPart:
    """One part of a split mould: its faces (k,) of the mould, and the pull that takes it off.

    The pull is the way the laminate moves against this part: away from it.
    """

    name: str
    faces: Ints
    pull: Direction | Literal["auto"] = "auto"

    def __post_init__(self) -> None:
        """Refuse a part without a name, faces that are not whole numbers, no direction."""
        if not self.name.strip():
            raise InputError("A mould part has no name.", "Give it one.")
        faces = frozen_ints(f"faces of mould part '{self.name}'", self.faces, (None,))
        object.__setattr__(self, "faces", faces)
        if self.pull != "auto":
            unit_vector(f"pull of mould part '{self.name}'", self.pull)


def check_mould(
    mesh: MouldMesh,
    settings: MouldSettings,
    region_faces: ArrayLike | None = None,
    progress: Progress = silent,
    *,
    parts: Sequence[MouldPart] = (),
) -> MouldReport:
    """Check size and health of the mould, and release, layer lines, corners, reach of the lay-up.

    Parameters
    ----------
    mesh : the mould as it was read, faulty or not
    settings : what it is checked against
    region_faces : (k,) faces the cloth is laid on; see the top of this file for None
    progress : told what is being checked
    parts : the parts of a split mould, each with its own pull; lay-up faces in none of them
        are checked against the pull of the settings

    Raises
    ------
    InputError : faces that the mould does not have, or that are in two parts
    """
    region = None if region_faces is None else _faces("The region", region_faces, mesh)
    part = _part_of_face(parts, mesh)
    if not len(mesh.faces):
        return _empty(settings)
    progress(0.0, "size and health")
    welded = weld(mesh)
    findings = [*check_size(mesh), *check_health(welded)]
    layup = _layup(welded, region)
    checks = None
    with ThreadPoolExecutor(1) as second:  # numpy lets two threads work at once
        crossings = second.submit(check_crossings, welded.mesh)
        walls = _walls(welded, settings, progress)
        if len(layup):
            checks = check_layup(
                welded.mesh,
                _sections(layup, part[welded.kept], parts, settings),
                settings,
                part_of(progress, 0.3, 0.95),
                split_given=bool(parts),
            )
        progress(0.95, "self-crossing")
        later = [*crossings.result(), *check_walls(walls, settings.wall_min_mm)]
    later += checks.findings if checks else [_no_layup(region)]
    progress(1.0, "mould checked")
    return MouldReport(
        settings=settings,
        findings=(*findings, *(renumbered(finding, welded.kept) for finding in later)),
        maps=fill_maps(len(mesh.faces), welded, walls, checks),
        numbers=numbers_of(welded.mesh, walls, checks),
        size=box_mm(mesh),
        corners=corners_as_given(checks.corners, welded) if checks else (),
        builds=tuple(checks.builds) if checks else (),
        split=split_as_given(checks.split, welded) if checks and checks.split else None,
    )


def _faces(name: str, faces: ArrayLike, mesh: MouldMesh) -> Ints:
    numbers = np.unique(frozen_ints(f"{name}'s faces", faces, (None,)))
    wrong = numbers[(numbers < 0) | (numbers >= len(mesh.faces))]
    if len(wrong):
        raise InputError(
            f"{name} names face {wrong[0]}, but the mould has {len(mesh.faces)} faces.",
            "Mark its faces again.",
        )
    return numbers


def _part_of_face(parts: Sequence[MouldPart], mesh: MouldMesh) -> Ints:
    """(m,) number of the part each face is in, -1 in none."""
    part_of_face = np.full(len(mesh.faces), -1)
    for number, part in enumerate(parts):
        faces = _faces(f"Mould part '{part.name}'", part.faces, mesh)
        taken = faces[part_of_face[faces] >= 0]
        if len(taken):
            other = parts[int(part_of_face[taken[0]])].name
            raise InputError(
                f"{len(taken)} faces are in mould part '{part.name}' and in '{other}'.",
                "Give each face to one part.",
                faces=taken,
            )
        part_of_face[faces] = number
    return part_of_face


def _layup(welded: Welded, region: Ints | None) -> Ints:
    """Lay-up faces that have an area, in the welded mesh's numbers."""
    mesh = welded.mesh
    fair = usable(mesh)
    if region is None:
        return np.flatnonzero(fair) if not is_closed(mesh) else np.zeros(0, np.int64)
    return np.flatnonzero(fair & np.isin(welded.kept, region))


def _sections(
    layup: Ints, part: Ints, parts: Sequence[MouldPart], settings: MouldSettings
) -> list[Section]:
    sections: list[Section] = []
    for number, one in enumerate(parts):
        pull = None if isinstance(one.pull, str) else unit_vector("The part's pull", one.pull)
        sections.append((one.name, layup[part[layup] == number], pull))
    sections.append(("the rest" if parts else "", layup[part[layup] < 0], settings.pull_direction))
    return [section for section in sections if len(section[1])]


def _walls(welded: Welded, settings: MouldSettings, progress: Progress) -> Floats:
    if not settings.ray_test or not is_closed(welded.mesh):
        return np.full(len(welded.kept), np.nan)
    progress(0.15, "wall thickness")
    return wall_thickness(welded.mesh, settings.wall_min_mm)


def _no_layup(region: Ints | None) -> Finding:
    why = (
        "The mould is a block and no face is marked for lay-up"
        if region is None
        else "No face of the lay-up has an area"
    )
    return Finding(
        code="no_layup",
        severity="note",
        message=f"{why}: draft, layer lines, corners and reach are not checked.",
        hint="Select the faces the cloth is laid on and make a ply of them.",
    )


def _empty(settings: MouldSettings) -> MouldReport:
    finding = Finding(
        code="empty",
        severity="stop",
        message="The mould has no faces.",
        hint="Import the mould again, or pick another object.",
    )
    mesh = MouldMesh(np.zeros((0, 3)), np.zeros((0, 3), np.int64))
    return MouldReport(
        settings=settings,
        findings=(finding,),
        maps=MouldMaps.empty(0),
        numbers=numbers_of(mesh, np.zeros(0), None),
        size=np.zeros(3),
    )
