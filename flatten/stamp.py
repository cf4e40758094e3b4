"""What each ply's patterns depend on, as a digest: a pattern with another one is out of date."""

from __future__ import annotations

import hashlib
import json
from typing import Any

import numpy as np

from .job import Job
from .laminate.ply import Ply
from .records import to_plain


def ply_stamps(job: Job) -> dict[str, str]:
    """Return ply id -> a digest of everything that ply's patterns depend on.

    That is the mould, the ply and its cloth, the rosette, the dressing, and the laminate under
    it. A pattern that carries another stamp is out of date.
    """
    shape = hashlib.sha256()
    for array in (job.mould.vertices, job.mould.faces, job.seams):
        shape.update(np.ascontiguousarray(array).tobytes())
    below = hashlib.sha256(json.dumps(_laminate_facts(job)).encode())
    laminate = job.settings.laminate
    if laminate.stack_order != "as_listed" or laminate.stack_times > 1:
        for ply in job.plies:  # every ply also lies on copies of the later ones
            below.update(_layer(job, ply))
        below.update(json.dumps([[core.ply, core.thickness_mm] for core in job.cores]).encode())
    stamps = {}
    cores = {core.ply: core for core in job.cores}
    for ply in job.plies:
        plain = to_plain(ply)
        del plain["faces"]
        text = json.dumps(
            [
                plain,
                to_plain(job.fabric_of(ply)),
                to_plain(job.rosette_of(ply)),
                to_plain(job.settings.dressing),
                job.settings.edge_mm,
                job.part,
            ]
        )
        own = hashlib.sha256(shape.digest() + below.digest() + text.encode() + ply.faces.tobytes())
        stamps[ply.id] = own.hexdigest()
        below.update(_layer(job, ply))
        if ply.id in cores:
            below.update(json.dumps(["core", cores[ply.id].thickness_mm]).encode())
    return stamps


def extra_stamps(job: Job, plies: dict[str, str]) -> dict[str, str]:
    """Return extra id -> a digest of everything that extra's patterns depend on.

    That is the extra and its cloth, its place in the list, which numbers it, all plies, and the
    thickness of the cores. `plies`: the plies' own digests.
    """
    cores = [[core.ply, core.thickness_mm] for core in job.cores]
    stack = json.dumps([list(plies.values()), cores])
    stamps = {}
    for number, extra in enumerate(job.extras):
        text = json.dumps([stack, number, to_plain(extra), to_plain(job.fabric_of(extra))])
        stamps[extra.id] = hashlib.sha256(text.encode()).hexdigest()
    return stamps


def _layer(job: Job, ply: Ply) -> bytes:
    """Return what a ply adds to the thickness under later ones, as bytes; a film adds nothing."""
    fabric = job.fabric_of(ply)
    if not fabric.dry:
        return b""
    facts = [fabric.areal_weight_gsm, fabric.fibre_density_g_cm3, fabric.kind, ply.repeat]
    return json.dumps(facts).encode() + ply.faces.tobytes()


def _laminate_facts(job: Job) -> list[Any]:
    laminate = job.settings.laminate
    return [
        laminate.process,
        laminate.fibre_volume_fraction,
        laminate.fibre_mass_fraction,
        laminate.mat_fibre_volume_fraction,
        laminate.void_fraction,
        laminate.resin_density_g_cm3,
        laminate.stack_order,
        laminate.stack_times,
    ]
