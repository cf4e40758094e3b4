"""Where a ply of a job would have to be cut: to lie down, or to fit its roll."""

from __future__ import annotations

from dataclasses import replace

from .arrays import Floats
from .cloth.drape import Drape, drape_surface
from .cloth.relief import propose_relief
from .cloth.relief_part import width_proposals
from .cloth.relief_proposal import Proposal
from .job import Job
from .laminate.ply import Ply
from .lay import drape_patch, patches_of, tack_and_warp
from .progress import Progress, part_of, silent
from .run import roll_room
from .surface.mesh import SurfaceMesh
from .surface.patch import Patch


def cut_proposals(job: Job, ply: Ply, progress: Progress = silent) -> list[Proposal]:
    """Return the cuts proposed for a ply on the bare mould, each draped again; none if it lies.

    Cloth that locks comes first; only what lies down is looked at for the width of its roll.

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
    if len(patches) == 1:
        return found
    return [  # names of cuts are told apart
        replace(one, cut=replace(one.cut, id=f"{one.cut.kind}-{number}"))
        for number, one in enumerate(found, start=1)
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
        progress=progress,
    )
    room = roll_room(job, ply, patch)
    if locking or room is None:
        return locking

    def hear(share: float, what: str) -> None:
        progress(1.0, what)

    def drape(part: SurfaceMesh, tack_mm: Floats, warp_there: Floats) -> Drape:
        return drape_surface(
            part,
            fabric,
            tack_mm=tack_mm,
            warp=warp_there,
            method=ply.method,
            max_edge_mm=job.settings.edge_mm,
            progress=hear,
        )

    whole = drape_patch(job, ply, fabric, patch, hear)
    return width_proposals(whole, fabric, drape, usable_mm=room[0], trim_mm=room[1])
