"""Where a ply of a job would have to be cut: to lie down, or to fit its roll."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from .arrays import Floats
from .cloth.drape import Drape, drape_surface
from .cloth.relief import propose_relief
from .cloth.relief_part import width_proposals
from .cloth.relief_proposal import Proposal, lies_of
from .cloth.relief_search import LEFT_LOCKED
from .cloth.relief_zones import locked_zones
from .errors import InputError
from .job import Job
from .laminate.ply import Ply
from .lay import drape_patch, patches_of, tack_and_warp
from .progress import Progress, part_of, silent
from .run import roll_room
from .surface.mesh import SurfaceMesh
from .surface.patch import Patch


def cut_proposals(job: Job, ply: Ply, progress: Progress = silent) -> list[Proposal]:
    """Return the cuts proposed for a ply on the bare mould, each draped again.

    Cloth that locks comes first; only what lies down is looked at for the width of its roll. What
    cannot be cut together with the ply's own cuts is left out. None if the ply lies, or if no cut
    that can be made is of use: `lies_down` tells which.

    Raises
    ------
    InputError : whatever keeps the ply from being laid
    """
    patches = patches_of(job, ply, job.fabric_of(ply), job.mould)
    found: list[Proposal] = []
    for number, patch in enumerate(patches):
        share = part_of(progress, number / len(patches), (number + 1) / len(patches))
        share(0.0, f"looking for cuts of ply {ply.name}")
        found += _of_patch(job, ply, patch, share)
    if len(patches) > 1:  # names of cuts are told apart
        found = [
            replace(one, cut=replace(one.cut, id=f"{one.cut.kind}-{number}"))
            for number, one in enumerate(found, start=1)
        ]
    kept = those_that_can_be_cut(job, ply, found)
    return found if len(kept) == len(found) else _laid_again(job, ply, kept, progress)


def lies_down(job: Job, ply: Ply, progress: Progress = silent) -> bool:
    """Tell whether no zone of a ply locks on the bare mould, with the cuts it has."""
    fabric = job.fabric_of(ply)
    return not any(
        locked_zones(drape_patch(job, ply, fabric, patch, progress), fabric)
        for patch in patches_of(job, ply, fabric, job.mould)
    )


def those_that_can_be_cut(job: Job, ply: Ply, found: Sequence[Proposal]) -> list[Proposal]:
    """Return the proposals that can be cut into the ply, its own cuts and the others made too.

    They are sought on pieces cut already, where a line may end at a cut that is no rim of the
    ply. Those taken together are kept or left out together.
    """
    if not found or _can_be_cut(job, ply, found):
        return list(found)
    kept: list[Proposal] = []
    for number in dict.fromkeys(one.set_number for one in found):
        more = [*kept, *(one for one in found if one.set_number == number)]
        if _can_be_cut(job, ply, more):
            kept = more
    return kept


def _can_be_cut(job: Job, ply: Ply, found: Sequence[Proposal]) -> bool:
    try:
        patches_of(job, _with(ply, found), job.fabric_of(ply), job.mould)
    except InputError:
        return False
    return True


def _with(ply: Ply, found: Sequence[Proposal]) -> Ply:
    return replace(
        ply,
        cuts=(
            *ply.cuts,
            *(replace(one.cut, id=f"proposed {k}") for k, one in enumerate(found, start=1)),
        ),
    )


def _laid_again(job: Job, ply: Ply, kept: Sequence[Proposal], progress: Progress) -> list[Proposal]:
    """Return the proposals with how the cloth lies when these alone are taken."""
    if not kept:
        return []
    fabric, cut_ply = job.fabric_of(ply), _with(ply, kept)
    heard = part_of(progress, 1.0, 1.0)  # may stop the work; the share stays
    drapes = [
        drape_patch(job, cut_ply, fabric, patch, heard)
        for patch in patches_of(job, cut_ply, fabric, job.mould)
    ]
    tips = [one.path[-1] for one in cut_ply.cuts if one.kind == "dart"]
    lies = lies_of(
        drapes,
        fabric,
        [one.cut.path.mean(axis=0) for one in kept],
        np.array(tips).reshape(-1, 3),
    )
    return [
        replace(one, after=lie, enough=lie.locked_share <= LEFT_LOCKED)
        for one, lie in zip(kept, lies, strict=True)
    ]


def _of_patch(job: Job, ply: Ply, patch: Patch, progress: Progress) -> list[Proposal]:
    fabric = job.fabric_of(ply)
    tack, warp = tack_and_warp(job, ply, patch)
    locking = propose_relief(
        patch.surface,
        fabric,
        tack_mm=tack,
        warp=warp,
        method=ply.method,
        max_edge_mm=job.settings.edge_mm,
        slits=patch.surface.vertices[patch.edge_vertices[patch.edge_joints >= 0]],
        progress=progress,
    )
    room = roll_room(job, ply, patch)
    if locking or room is None:
        return locking
    heard = part_of(progress, 1.0, 1.0)

    def drape(part: SurfaceMesh, tack_mm: Floats, warp_there: Floats) -> Drape:
        return drape_surface(
            part,
            fabric,
            tack_mm=tack_mm,
            warp=warp_there,
            method=ply.method,
            max_edge_mm=job.settings.edge_mm,
            progress=heard,
        )

    whole = drape_patch(job, ply, fabric, patch, heard)
    return width_proposals(whole, fabric, drape, usable_mm=room[0], trim_mm=room[1])
