"""The checks of the faces the cloth is laid on, along the pull of each mould part."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..arrays import Floats, Ints
from ..finding import Finding
from ..progress import Progress
from ..surface.mesh import MouldMesh
from .corners import CornerSpot, check_corners, find_corners
from .curvature import Turning, measure_turning
from .draft import Draft, check_draft, low_share, measure_draft
from .pull import find_pull, say_direction
from .reach import Reach, check_reach, measure_reach
from .ridges import BuildChoice, Ridges, build_choices, check_ridges, measure_ridges
from .settings import MouldSettings
from .split import Split, check_split, propose_split

# Faces of a mould part, its name for messages, and its pull (None: to be found).
Section = tuple[str, Ints, Floats | None]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LayupChecks:
    """Results on the lay-up `faces` (k,), which are the faces of `drafts` one after the other.

    `low_draft` (k,) is the share of each face with less draft than asked for. `turning` is
    of the whole surface, whatever the parts; `reaches` one for each draft.
    """

    findings: list[Finding]
    faces: Ints
    drafts: list[Draft]
    low_draft: Floats
    ridges: Ridges
    turning: Turning
    corners: list[CornerSpot]
    builds: list[BuildChoice]
    reaches: list[Reach]
    split: Split | None


def check_layup(
    mesh: MouldMesh,
    sections: Sequence[Section],
    settings: MouldSettings,
    progress: Progress,
    *,
    split_given: bool,
) -> LayupChecks:
    """Check draft, layer lines, corners and reach. No section is empty."""
    progress(0.0, "draft")
    drafts = [_draft(mesh, faces, pull, settings, split_given) for _, faces, pull in sections]
    findings: list[Finding] = []
    for draft, (name, _, pull) in zip(drafts, sections, strict=True):
        said = f"{name}: " if name else ""
        findings += [_found_pull(mesh, draft, said)] if pull is None else []
        findings += check_draft(mesh, draft, settings.min_draft_deg, said)
    progress(0.3, "part line")
    split = None if split_given else propose_split(mesh, drafts[0], ray_test=settings.ray_test)
    findings += check_split(mesh, split) if split else []
    progress(0.5, "layer lines")
    faces = np.concatenate([draft.faces for draft in drafts])
    ridges, builds = _ridges(mesh, drafts, faces, settings)
    angle = np.concatenate([draft.angle for draft in drafts])
    findings += check_ridges(mesh.areas[faces], angle, ridges, builds, settings, faces)
    progress(0.7, "inside corners")
    turning = measure_turning(mesh, faces)
    corners = find_corners(mesh, turning, settings)
    findings += check_corners(corners, settings)
    progress(0.8, "reach")
    reaches = [measure_reach(mesh, draft.faces, draft.pull, settings) for draft in drafts]
    for draft, reach in zip(drafts, reaches, strict=True):
        findings += check_reach(reach, draft.faces, settings)
    return LayupChecks(
        findings=findings,
        faces=faces,
        drafts=drafts,
        low_draft=np.concatenate([low_share(mesh, d, settings.min_draft_deg) for d in drafts]),
        ridges=ridges,
        turning=turning,
        corners=corners,
        builds=builds,
        reaches=reaches,
        split=split,
    )


def _draft(
    mesh: MouldMesh, faces: Ints, pull: Floats | None, settings: MouldSettings, split_given: bool
) -> Draft:
    blockers = faces if split_given else None
    if pull is None:
        return find_pull(
            mesh, faces, settings.min_draft_deg, ray_test=settings.ray_test, blockers=blockers
        )
    return measure_draft(mesh, faces, pull, ray_test=settings.ray_test, blockers=blockers)


def _ridges(
    mesh: MouldMesh, drafts: list[Draft], faces: Ints, settings: MouldSettings
) -> tuple[Ridges, list[BuildChoice]]:
    pulls = np.concatenate([np.tile(draft.pull, (len(draft.faces), 1)) for draft in drafts])
    ridges = measure_ridges(
        mesh.normals[faces],
        pulls,
        settings.build_direction,
        layer_height_mm=settings.layer_height_mm,
        bead_share=settings.bead_share,
    )
    return ridges, build_choices(mesh, faces, pulls, settings)


def _found_pull(mesh: MouldMesh, draft: Draft, said: str) -> Finding:
    areas = mesh.areas[draft.faces]
    freed = 1 - (areas * draft.held).sum() / max(float(areas.sum()), 1e-300)
    return Finding(
        code="pull",
        severity="note",
        message=f"{said}The pull that frees most is {say_direction(draft.pull)}: "
        f"{100 * freed:.0f} % of the lay-up area comes off.",
        hint="Set the pull yourself if the part leaves another way.",
    )
