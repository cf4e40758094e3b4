"""Will the part come off: draft of each face against the pull, and what holds it.

Codes: undercut (faces that look away from the pull), trapped (faces with draft that stand
under another part of the mould), low_draft.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..arrays import Bools, Floats, Ints
from ..finding import Finding
from ..surface.mesh import MouldMesh
from ..units import percent
from .rays import Sight, spread_points
from .smooth import share_below

# Faces this close to upright count as upright: float32 files tilt them by less.
UPRIGHT = np.radians(0.01)
# Facets round a drafted corner lean less than the wall they stand for, tan(draft) times
# cos(pi / n): 0.024 degrees less at 5 degrees and n = 32. That is not a wall without draft.
FACET_SLACK = np.radians(0.05)
LIFT_MM = 0.02  # an overhang smaller than this does not hold a part
POINTS = 20_000  # looked at by area, besides one on each face
TOLD_SHARE = 1e-4  # below a ten-thousandth of the lay-up area it is a rounding of the file


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Draft:
    """Release of some faces along one pull.

    `faces` (k,); `pull` (3,) unit; `angle` (k,) radians, negative where the face looks away;
    `trapped` (k,) share 0..1 of the face with mould above it (all 0 when not looked for).
    """

    faces: Ints
    pull: Floats
    angle: Floats
    trapped: Floats

    @property
    def undercut(self) -> Bools:
        """(k,) the face looks away from the pull."""
        away: Bools = self.angle < -UPRIGHT
        return away

    @property
    def held(self) -> Floats:
        """(k,) share of the face that does not come off along the pull."""
        share: Floats = np.where(self.undercut, 1.0, self.trapped)
        return share


def draft_angles(normals: Floats, pull: Floats) -> Floats:
    """Return (m,) radians between each face and the pull, 90 degrees where it faces the pull.

    d = asin(n . p), with n the unit normal towards the part and p the unit vector the part
    leaves along.
    """
    angle: Floats = np.arcsin(np.clip(normals @ pull, -1, 1))
    return angle


def measure_draft(
    mesh: MouldMesh,
    faces: Ints,
    pull: Floats,
    *,
    ray_test: bool = True,
    blockers: Ints | None = None,
    points: int = POINTS,
) -> Draft:
    """Measure draft on `faces` and look along the pull for mould above them.

    Parameters
    ----------
    mesh : the whole mould, normals towards the part on `faces`
    faces : (k,) the lay-up faces this pull must free
    pull : (3,) unit vector
    ray_test : look for trapped faces
    blockers : (j,) faces of the same mould part; all by default. Other parts of a split mould are
        taken off by themselves and hold nothing.
    points : looked at by area, besides one on each face
    """
    angle = draft_angles(mesh.normals[faces], pull)
    trapped = np.zeros(len(faces))
    if ray_test and len(faces):
        trapped = _trapped_share(mesh, faces, pull, blockers, points)
    return Draft(faces=faces, pull=pull, angle=angle, trapped=trapped)


def low_share(mesh: MouldMesh, draft: Draft, min_draft_deg: float) -> Floats:
    """Return (k,) the share of each face with less draft than asked for, undercuts included.

    Draft runs smoothly from facet to facet of a curved wall: half of a facet may have enough.
    """
    limit = np.radians(min_draft_deg) - UPRIGHT
    return share_below(mesh, draft.faces, draft.angle, limit)


def check_draft(mesh: MouldMesh, draft: Draft, min_draft_deg: float, part: str) -> list[Finding]:
    """Report what holds the part, gravest first. `part` names the mould part in the messages."""
    areas = mesh.areas[draft.faces]
    low = ~draft.undercut & (draft.angle < np.radians(min_draft_deg) - FACET_SLACK)
    held = ~draft.undercut & (draft.trapped > 0)
    found = [
        _finding(
            "undercut",
            "look away from the pull and hold the part",
            "Change the pull, split the mould, or reshape the wall.",
            (draft.faces, areas, draft.undercut, areas * draft.undercut, part),
        ),
        _finding(
            "trapped",
            "have draft but stand under another part of the mould, which holds the part",
            "Change the pull, split the mould, or cut back what stands above.",
            (draft.faces, areas, held, areas * draft.trapped * held, part),
        ),
    ]
    if not low.any():
        return [finding for finding in found if finding]
    low_area = areas * np.where(draft.undercut, 0, low_share(mesh, draft, min_draft_deg))
    low_area *= 1 - draft.trapped  # said already, and more draft would not free it
    least = np.degrees(draft.angle[low].min())
    found.append(
        _finding(
            "low_draft",
            f"have less than {min_draft_deg:g}° of draft, down to {max(least, 0.0):.1f}°",
            "Lean the walls outwards, or polish them and release with care.",
            (draft.faces, areas, low, low_area, part),
        )
    )
    return [finding for finding in found if finding]


def _finding(
    code: str,
    what: str,
    hint: str,
    where: tuple[Ints, Floats, Bools, Floats, str],
) -> Finding | None:
    faces, areas, marked, held_area, part = where
    share = held_area.sum() / areas.sum() if areas.sum() > 0 else 0.0
    if not share > TOLD_SHARE:
        return None
    return Finding(
        code=code,
        severity="warning",
        message=f"{part}{held_area.sum() / 100:.3g} cm² ({percent(share)} of the lay-up area) "
        f"{what}.",
        hint=hint,
        faces=tuple(faces[marked].tolist()),
    )


def _trapped_share(
    mesh: MouldMesh, faces: Ints, pull: Floats, blockers: Ints | None, count: int
) -> Floats:
    """Only a face that looks down can close the way up, and only above the lowest lay-up face."""
    blockers = np.arange(len(mesh.faces)) if blockers is None else blockers
    blockers = blockers[mesh.normals[blockers] @ pull < -UPRIGHT]
    height = mesh.vertices @ pull
    lowest = height[mesh.faces[faces]].min()
    blockers = blockers[height[mesh.faces[blockers]].max(axis=1) > lowest + LIFT_MM]
    place = np.full(len(mesh.faces), -1)
    place[faces] = np.arange(len(faces))
    face, points = spread_points(mesh, faces, count)
    points += LIFT_MM * mesh.normals[face]
    sight = Sight(mesh, pull, blockers)
    some = slice(None, None, sight.stride(points))
    below, number = sight.is_below(points[some]), place[face[some]]
    looked = np.bincount(number, minlength=len(faces))
    share: Floats = np.bincount(number[below], minlength=len(faces)) / np.maximum(looked, 1)
    return share
