"""`mouldply cuts`: where to dart or splice a ply that will not lie down or is too wide."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..errors import InputError, SolveError
from . import show
from .run import chosen_plies, read_mould

if TYPE_CHECKING:
    from ..cloth.relief import Proposal
    from ..job import Job
    from ..laminate.ply import Ply
    from ..surface.cut import Cut

HELP = """\
Look where a dart or a splice would let a ply lie down that locks, or fit its roll. Each cut is
draped again before it is told, with what it gains and the shear to accept instead.

  mouldply cuts my_job/                    tell, write nothing
  mouldply cuts my_job/ --ply p1 --accept all
  mouldply cuts my_job/ --accept dart-1 --accept dart-2
  mouldply cuts my_job/ --stagger          move cuts off the joints of the ply below
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
    cuts.add_argument(
        "--stagger",
        action="store_true",
        help="propose nothing: write copies of the cuts that lie too near a joint of the ply "
        "below, moved until they are clear, into the job folder in their place",
    )
    cuts.add_argument("--json", action="store_true", help="print what was found as JSON")
    cuts.add_argument("--progress", type=Path, metavar="FILE", help=argparse.SUPPRESS)
    cuts.set_defaults(command=cuts_command)


def cuts_command(given: argparse.Namespace) -> int:
    """Propose ply by ply, tell the gain, write what is accepted.

    What is wrong with one ply is told after the cuts of the others.
    """
    from dataclasses import replace

    from ..answer_parts import proposal_facts
    from ..job import save_job
    from ..progress import part_of
    from ..proposals import cut_proposals, lies_down

    if (given.accept or given.stagger) and not given.mould.is_dir():
        raise InputError(
            f"'{given.mould}' is not a job folder, so no cut can be written into it.",
            "Use Take Moved Copy in Blender."
            if given.stagger
            else "Leave --accept away and use Propose Cuts in Blender.",
        )
    if given.stagger:
        return _stagger(given)
    found: list[tuple[Ply, Proposal]] = []
    helpless: list[Ply] = []
    wrong: list[tuple[Ply, InputError | SolveError]] = []
    with show.progress(given) as progress:
        job = read_mould(given.mould)
        chosen = chosen_plies(job, given.ply)
        for number, ply in enumerate(chosen):
            share = part_of(progress, number / len(chosen), (number + 1) / len(chosen))
            try:
                of_ply = cut_proposals(job, ply, share)
                if not of_ply and not lies_down(job, ply):
                    helpless.append(ply)
            except (InputError, SolveError) as error:
                wrong.append((ply, error))
            else:
                found += [(ply, proposal) for proposal in of_ply]
    if wrong and not found:
        raise _of_plies(wrong)
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
    else:
        _tell(found, taken, helpless)
    if wrong:
        raise _of_plies(wrong)
    return 0


def _of_plies(wrong: list[tuple[Ply, InputError | SolveError]]) -> InputError:
    """Return what is wrong with plies as one error that names them."""
    said = " ".join(f"Ply '{ply.name}': {error.message}" for ply, error in wrong)
    return InputError(said, wrong[0][1].hint, faces=wrong[0][1].faces)


def _tell(
    found: list[tuple[Ply, Proposal]], taken: list[tuple[Ply, Proposal]], helpless: list[Ply]
) -> None:
    for ply, proposal in found:
        mark = "accepted, " if (ply, proposal) in taken else ""
        print(f"{ply.id} {ply.name}, {proposal.cut.id}: {mark}{proposal.message}")
    for ply in helpless:
        print(
            f"No cut was found that lets ply '{ply.name}' lie down. Move its tack point, or choose "
            "a cloth that shears further."
        )
    if not found and not helpless:
        print("Every ply lies down and fits its roll; no cut is needed.")


def _stagger(given: argparse.Namespace) -> int:
    """Move the cuts that lie over a joint of the ply below, from the tool upwards; tell which."""
    from ..job import save_job

    job = read_mould(given.mould)
    moved = []
    for ply in chosen_plies(job, given.ply):
        for _ in ply.cuts:  # each is moved once: a moved one is clear
            step = _clear(job, ply.id)
            if step is None:
                break
            job, old, by_mm = step
            moved.append({"ply_id": ply.id, "cut": old.id, "moved_mm": round(by_mm, 1)})
            if not given.json:
                what = f"moved by {by_mm:.0f} mm, clear of the joint below."
                print(f"{ply.id} {ply.name}, {old.id}: {what}")
    if moved:
        save_job(job, given.mould)
    if given.json:
        print(json.dumps(moved, indent=1))
    elif not moved:
        print("No cut lies too near a joint of the ply below.")
    return 0


def _clear(job: Job, ply_id: str) -> tuple[Job, Cut, float] | None:
    """Return the job with one cut of a ply moved clear, the cut as it was and how far it went."""
    from dataclasses import replace

    import numpy as np

    from ..laminate.stack import Stack
    from ..laminate.stagger import clear_copy

    laid = [one.ply for one in Stack.of(job.plies, job.settings.laminate).laid]
    cloths = {fabric.id: fabric for fabric in job.fabrics}
    found = clear_copy(job.mould, laid, cloths, ply_id, seams=job.seams)
    if found is None:
        return None
    old, copy = found
    middle = old.path[len(old.path) // 2]
    by_mm = float(np.linalg.norm(copy.path - middle, axis=1).min())
    plies = tuple(
        replace(
            ply, cuts=tuple(replace(copy, id=old.id) if c.id == old.id else c for c in ply.cuts)
        )
        if ply.id == ply_id
        else ply
        for ply in job.plies
    )
    return replace(job, plies=plies), old, by_mm


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
