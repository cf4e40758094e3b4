"""Options for what is cut besides the plies: covers, cores, corner tapes."""

from __future__ import annotations

import argparse
import re
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..errors import InputError
from ..units import parse_length_mm

if TYPE_CHECKING:
    from ..cloth.fabric import Fabric
    from ..job import Job
    from ..laminate.extra import Extra

# option -> (kind, field its number sets, what the number is)
OPTIONS = {
    "cover": ("cover", "trim_mm", "mm past the part's edge, or with a unit such as 1in"),
    "core": ("core", "bevel_deg", "bevel of its edge in degrees"),
    "tape": ("corner_tape", "width_mm", "width in mm, or with a unit such as 2in"),
}
HELP = {
    "cover": "also cut a sheet that goes on top: peel ply, film, breather",
    "core": "also cut a core that lies on PLY",
    "tape": "also cut tapes for sharp inner corners",
}

SEE_CLOTHS = "See the list: mouldply cloths. Your own are in a file that --library names."


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add `--cover`, `--core` and `--tape`; each may be given several times."""
    for option, (_, _, number) in OPTIONS.items():
        parser.add_argument(
            f"--{option}",
            action="append",
            default=[],
            metavar="CLOTH[:N][@PLY]",
            help=f"{HELP[option]}; N: {number}; PLY: number or id of a ply (else all plies)",
        )
    add_library(parser)


def add_library(parser: argparse.ArgumentParser) -> None:
    """Add `--library`, where a person's own cloths are."""
    parser.add_argument(
        "--library",
        type=Path,
        metavar="FILE",
        help="your own cloths, before the supplied ones: a file as Export Cloths or "
        "`mouldply cloths --json` writes it, or a folder of them",
    )


def with_extras(job: Job, given: argparse.Namespace) -> Job:
    """Return the job with the extras asked for on the command line, and their cloth.

    Raises
    ------
    InputError : a text that cannot be read, a cloth or a ply there is not
    """
    from ..cloth.library import load_fabrics

    asked = [(option, text) for option in OPTIONS for text in getattr(given, option)]
    if not asked:
        return job
    fabrics = {**load_fabrics(given.library), **{fabric.id: fabric for fabric in job.fabrics}}
    extras = list(job.extras)
    for option, text in asked:
        taken = {one.id for one in extras} | {ply.id for ply in job.plies}
        extras.append(_extra(option, text, job, fabrics, taken))
    new = {extra.fabric for extra in extras} - {fabric.id for fabric in job.fabrics}
    added = tuple(fabrics[name] for name in sorted(new))
    return replace(job, fabrics=(*job.fabrics, *added), extras=tuple(extras))


def _extra(option: str, text: str, job: Job, fabrics: dict[str, Fabric], taken: set[str]) -> Extra:
    from ..laminate.extra import Extra

    read = re.fullmatch(r"([^:@]+)(?::([^:@]+))?(?:@(.+))?", text)
    if read is None:
        raise InputError(f"--{option} is '{text}'.", "Write CLOTH, CLOTH:N or CLOTH:N@PLY.")
    cloth, number, ply = read.groups()
    if cloth not in fabrics:
        raise InputError(f"There is no cloth '{cloth}'.", SEE_CLOTHS)
    kind, field, _ = OPTIONS[option]
    values: dict[str, Any] = {}
    if number:
        try:
            values[field] = (
                parse_length_mm(number, field=f"--{option}")
                if field.endswith("_mm")
                else float(number)
            )
        except ValueError as error:
            raise InputError(
                f"--{option} is '{text}'.", "Write CLOTH, CLOTH:N or CLOTH:N@PLY."
            ) from error
    name = fabrics[cloth].name
    base = f"{option}-{re.sub('[^A-Za-z0-9]+', '-', cloth)}"[:36].rstrip("-")
    own = base
    while own.casefold() in {one.casefold() for one in taken}:
        own = f"{own}b"
    values |= {"kind": kind, "ply": _ply_id(job, ply)}
    return Extra(id=own, name=name, fabric=cloth, **values)


def _ply_id(job: Job, text: str | None) -> str:
    """Return a ply's id from its id or its number in the list; empty for all."""
    if text is None:
        return ""
    if text.isdigit() and 1 <= int(text) <= len(job.plies):
        return job.plies[int(text) - 1].id
    for ply in job.plies:
        if ply.id == text:
            return ply.id
    raise InputError(f"There is no ply '{text}'.", f"Use 1 to {len(job.plies)}, or a ply's id.")
