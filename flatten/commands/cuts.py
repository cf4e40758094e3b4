"""`mouldply cuts`: where to dart or splice a ply that will not lie down or is too wide."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..errors import InputError
from . import show
from .run import chosen_plies, read_mould

if TYPE_CHECKING:
    from ..cloth.relief import Proposal
    from ..laminate.ply import Ply

HELP = """\
Look where a dart or a splice would let a ply lie down that locks, or fit its roll. Each cut is
draped again before it is told, with what it gains and the shear to accept instead.

  mouldply cuts my_job/                    tell, write nothing
  mouldply cuts my_job/ --ply p1 --accept all
  mouldply cuts my_job/ --accept dart-1 --accept dart-2
"""


def add_parsers(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    cuts = commands.add_parser(
        "cuts",
        help="propose darts and splices, accept them into the job",
        description=HELP,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    cuts.add_argument("mould", type=Path, help="a .blend file or a job folder")
    cuts.add_argument("--ply", metavar="ID", help="only this ply (default: all)")
    cuts.add_argument(
        "--accept",
        action="append",
        metavar="CUT",
        help="write this cut into the job folder; all: every one",
    )
    cuts.add_argument("--json", action="store_true", help="print what was found as JSON")
    cuts.add_argument("--progress", type=Path, metavar="FILE", help=argparse.SUPPRESS)
    cuts.set_defaults(command=cuts_command)


def cuts_command(given: argparse.Namespace) -> int:
    """Propose ply by ply, tell the gain, write what is accepted."""
    from dataclasses import replace

    from ..answer_parts import proposal_facts
    from ..job import save_job
    from ..progress import part_of
    from ..proposals import cut_proposals

    if given.accept and not given.mould.is_dir():
        raise InputError(
            f"'{given.mould}' is not a job folder, so no cut can be written into it.",
            "Leave --accept away and use Propose Cuts in Blender.",
        )
    found: list[tuple[Ply, Proposal]] = []
    with show.progress(given) as progress:
        job = read_mould(given.mould)
        chosen = chosen_plies(job, given.ply)
        for number, ply in enumerate(chosen):
            share = part_of(progress, number / len(chosen), (number + 1) / len(chosen))
            found += [(ply, proposal) for proposal in cut_proposals(job, ply, share)]
    taken = _accepted(found, given.accept or [])
    if taken:
        plies = tuple(
            replace(ply, cuts=ply.cuts + _numbered(ply, [p for q, p in taken if q is ply]))
            for ply in job.plies
        )
        save_job(replace(job, plies=plies), given.mould)
    if given.json:
        told: list[dict[str, Any]] = [
            {**proposal_facts(p), "ply_id": ply.id, "accepted": (ply, p) in taken}
            for ply, p in found
        ]
        print(json.dumps(told, indent=1))
        return 0
    for ply, proposal in found:
        mark = "accepted, " if (ply, proposal) in taken else ""
        print(f"{ply.name}, {proposal.cut.id}: {mark}{proposal.message}")
    if not found:
        print("Every ply lies down and fits its roll; no cut is needed.")
    return 0


def _accepted(found: list[tuple[Ply, Proposal]], wanted: list[str]) -> list[tuple[Ply, Proposal]]:
    """Return the proposals named, or all."""
    names = [proposal.cut.id for _, proposal in found]
    for name in wanted:
        if name != "all" and name not in names:
            raise InputError(
                f"There is no proposed cut '{name}'.",
                f"Choose of all, {', '.join(sorted(set(names)))}."
                if names
                else "No cut is needed: leave --accept away.",
            )
    return [one for one in found if "all" in wanted or one[1].cut.id in wanted]


def _numbered(ply: Ply, proposals: list[Proposal]) -> tuple[Any, ...]:
    """Return the cuts under names the ply does not have yet."""
    from dataclasses import replace

    used, cuts, number = {one.id for one in ply.cuts}, [], 1
    for proposal in proposals:
        while f"{ply.id}c{number}" in used:
            number += 1
        used.add(f"{ply.id}c{number}")
        cuts.append(replace(proposal.cut, id=f"{ply.id}c{number}"))
    return tuple(cuts)
