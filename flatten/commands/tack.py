"""`mouldply tack`: where to press the cloth down first, searched for the least locking."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import TYPE_CHECKING

from ..errors import InputError
from . import show
from .run import chosen_plies, read_mould

if TYPE_CHECKING:
    from ..cloth.tack import TackSearch
    from ..laminate.ply import Ply


def add_parsers(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    tack = commands.add_parser("tack", help="search for better tack points")
    tack.add_argument("mould", type=Path, help="a .blend file or a job folder")
    tack.add_argument("--ply", metavar="ID", help="only this ply (default: all)")
    tack.add_argument("--save", action="store_true", help="write better ones into the job folder")
    tack.add_argument("--json", action="store_true", help="print what was found as JSON")
    tack.add_argument("--progress", type=Path, metavar="FILE", help=argparse.SUPPRESS)
    tack.set_defaults(command=tack_command)


def tack_command(given: argparse.Namespace) -> int:
    """Search ply by ply, tell the gain, save where asked."""
    from dataclasses import replace

    from ..job import save_job
    from ..lay import better_tack
    from ..progress import part_of

    if given.save and not given.mould.is_dir():
        raise InputError(
            f"'{given.mould}' is not a job folder, so nothing can be saved in it.",
            "Leave --save away and place the tack point in Blender.",
        )
    found: list[tuple[Ply, TackSearch]] = []
    plies = []
    with show.progress(given) as progress:
        job = read_mould(given.mould)
        chosen = chosen_plies(job, given.ply)
        for ply in job.plies:
            if ply not in chosen:
                plies.append(ply)
                continue
            share = part_of(progress, len(found) / len(chosen), (len(found) + 1) / len(chosen))
            search = better_tack(job, ply, progress=share)
            better = search.best is not search.given
            plies.append(replace(ply, tack_mm=search.best.tack_mm) if better else ply)
            found.append((ply, search))
    if given.save:
        save_job(replace(job, plies=tuple(plies)), given.mould)
    if given.json:
        facts = [
            {
                "ply_id": ply.id,
                "tack_mm": search.best.tack_mm.tolist(),
                "better": search.best is not search.given,
                "locked_fraction": search.best.locked_fraction,
                "locked_fraction_given": search.given.locked_fraction,
                "shear_rms_deg": search.best.shear_rms_deg,
                "shear_rms_deg_given": search.given.shear_rms_deg,
            }
            for ply, search in found
        ]
        print(json.dumps(facts, indent=1))
        return 0
    for ply, search in found:
        x, y, z = search.best.tack_mm
        print(f"{ply.name}: tack at {x:.1f}, {y:.1f}, {z:.1f} mm. {search.gain}")
    return 0
