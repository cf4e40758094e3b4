"""`mouldply run` and `mouldply check`: a mould with plies becomes files, or findings."""

from __future__ import annotations

import argparse
import json
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..errors import InputError
from . import extras, show

if TYPE_CHECKING:
    from ..job import Job
    from ..laminate.ply import Ply
    from ..result import Result

DONE, CHANGE_SOMETHING = 0, 2

RAW: dict[str, Any] = {"formatter_class": argparse.RawDescriptionHelpFormatter}
RUN_HELP = """\
Check the mould, drape every ply, lay the patterns on the roll and write what the bench needs:
patterns and roll as DXF and SVG, paper templates, lay-up sheet, cut list. The folder is written
whole or not at all; old files of an earlier run are replaced, yours stay.

  mouldply run hatch.blend                 writes into "hatch cut" beside the file
  mouldply run my_job/ --out cut/ --json   the numbers as JSON on stdout
  mouldply run my_job/ --cover peel_ply_85 --core pvc_foam_80_5mm:45@1
"""
CHECK_HELP = """\
Look at the mould (will the part come off, can cloth be pressed in, will the print show) and
drape every ply. Writes no file. Ends with 2 where something stops the work.

  mouldply check hatch.blend
"""


def add_parsers(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the two commands."""
    run = commands.add_parser(
        "run", help="make everything that is needed at the bench", description=RUN_HELP, **RAW
    )
    run.add_argument("mould", type=Path, help="a .blend file or a job folder")
    run.add_argument("--out", type=Path, help="folder for the files (default: beside the mould)")
    run.add_argument("--printer", metavar="NAME", help="correct the paper for this printer")
    run.add_argument("--stock", type=Path, metavar="FILE", help="rolls and offcuts to nest on")
    run.add_argument("--book", action="store_true", help="take what is cut off the stock file")
    run.set_defaults(command=run_command)
    check = commands.add_parser(
        "check", help="look at mould and plies, write nothing", description=CHECK_HELP, **RAW
    )
    check.add_argument("mould", type=Path, help="a .blend file or a job folder")
    check.set_defaults(command=check_command)
    for parser in (run, check):
        extras.add_options(parser)
        parser.add_argument("--json", action="store_true", help="print the summary as JSON")
        parser.add_argument(
            "--progress", type=Path, metavar="FILE", help="append progress to FILE, a line a step"
        )


def run_command(given: argparse.Namespace) -> int:
    """Read, run, write, tell."""
    from dataclasses import replace

    from ..deliver import deliver
    from ..nest.stock import read_stock
    from ..run import run, stored_layouts
    from ..summary import summary

    if given.book and not given.stock:
        raise InputError("--book needs a stock file.", "Name it with --stock FILE.")
    with show.progress(given) as progress, show.interrupt() as stop:
        progress(0.0, "reading the mould")
        job = extras.with_extras(read_mould(given.mould), given)
        if given.printer:
            from ..export.calibration import calibrated
            from .printer import printer_named

            paper = calibrated(job.settings.paper, printer_named(given.printer))
            job = replace(job, settings=replace(job.settings, paper=paper))
        if given.stock:
            job = replace(job, stock=read_stock(given.stock))
        folder = given.out or _beside(given.mould)
        result = run(job, progress=progress, stored=stored_layouts(folder), stop=stop)
        deliver(result, job, folder, progress=progress)
        if given.book:
            _book(result, given.stock)
    facts = summary(result, job)
    if given.json:
        print(json.dumps(facts, ensure_ascii=False, indent=1))
    else:
        show.tell_result(facts, folder)
    return CHANGE_SOMETHING if result.stopped else DONE


def _book(result: Result, file: Path) -> None:
    """Take the cloth of all nests off the stock file; the state before stays beside it."""
    from ..nest.stock import book, read_stock, write_stock

    if result.stopped:
        cloths = {one.fabric: one.fabric_name for one in result.patterns}
        left = [name for cloth, name in cloths.items() if cloth not in result.nests]
        why = "The work was stopped"
        if left:
            what = "Nothing" if len(left) == len(cloths) else f"No {' and no '.join(left)}"
            why = f"{what} was nested"
        raise InputError(f"{why}, so nothing is booked.", "See the findings.")
    shelf = read_stock(file)
    for nest in result.nests.values():
        shelf = book(shelf, nest)
    write_stock(file, shelf)


def check_command(given: argparse.Namespace) -> int:
    """Read, drape, tell the findings."""
    from ..run import run
    from ..summary import summary

    with show.progress(given) as progress:
        progress(0.0, "reading the mould")
        job = extras.with_extras(read_mould(given.mould), given)
        result = run(job, progress=progress, upto="patterns")
    facts = summary(result, job)
    if given.json:
        print(json.dumps(facts, ensure_ascii=False, indent=1))
    else:
        show.tell_findings(facts)
    return CHANGE_SOMETHING if result.stopped else DONE


def chosen_plies(job: Job, ply_id: str | None) -> list[Ply]:
    """Return the ply of this id, or all where none is asked for.

    Raises
    ------
    InputError : the job has no such ply
    """
    chosen = [ply for ply in job.plies if ply_id in (None, ply.id)]
    if not chosen:
        raise InputError(
            f"There is no ply '{ply_id}'.", f"Choose of {', '.join(p.id for p in job.plies)}."
        )
    return chosen


def read_mould(path: Path) -> Job:
    """Return the job in a job folder, or in a file some installed reader knows.

    Raises
    ------
    InputError : no such file, no reader for it, or whatever the reader finds wrong
    """
    from ..job import load_job

    if path.is_dir():
        return load_job(path)
    if not path.is_file():
        raise InputError(f"There is no file or folder '{path}'.", "Check the name.")
    reader = _reader_for(path.suffix.lower().removeprefix("."))
    with _talk_on_stderr():
        return reader(path)  # type: ignore[no-any-return]


@contextmanager
def _talk_on_stderr() -> Iterator[None]:
    """Send what a foreign library prints to stderr: stdout is for our own answer, or JSON."""
    sys.stdout.flush()
    kept = os.dup(1)
    try:
        os.dup2(2, 1)
        yield
    finally:
        sys.stdout.flush()
        os.dup2(kept, 1)
        os.close(kept)


def _reader_for(kind: str):  # type: ignore[no-untyped-def]  # an entry point: its type is its own
    """Return the reader for this kind of file; readers outside the engine register themselves."""
    from importlib.metadata import entry_points

    for entry in entry_points(group="mouldply.readers"):
        if entry.name == kind:
            return entry.load()
    raise InputError(
        f"Files of kind '.{kind}' cannot be read here.",
        "Use a .blend file with mouldply and bpy installed (pip install 'mouldply[blender]'), "
        "or a job folder.",
    )


def _beside(mould: Path) -> Path:
    return mould / "cut" if mould.is_dir() else mould.with_name(f"{mould.stem} cut")
