"""The warm worker: takes jobs one after the other, so that imports are paid for once.

Requests come as lines of JSON on the standard input; when that closes, because the program
that started the worker ended in whatever way, the worker ends at once. Everything else goes
through files in the request's own folder:

progress.jsonl   a line a step: {"share": 0..1, "what": "..."}
stop             made by the asker: the work ends within a step
answer.json/.npz the end of good work, see `answer.py`
error.json       the end of other work: {"kind", "message", "hint", "faces"}
"""

from __future__ import annotations

import json
import os
import queue
import sys
import threading
import traceback
from collections.abc import Callable, Collection
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal, TextIO

import numpy as np

from .answer import Answer, answer_of, save_answer
from .errors import Cancelled, FlattenError, InputError
from .job import Job, load_job
from .laminate.ply import Ply
from .laminate.stack import Stack
from .lay import LaidPieces, lay_ply
from .nest.layout import Nest
from .progress import Progress, part_of, silent
from .records import from_plain
from .run import run, stored_layouts

PROGRESS_FILE, STOP_FILE, ERROR_FILE = "progress.jsonl", "stop", "error.json"
MOST_MEMORY_MB = 2500  # a worker that has held more is replaced by a fresh one


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """What differs from the job on disk, while a tack point is dragged: (3,) mm."""

    ply: str
    tack_mm: tuple[float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Request:
    """One piece of work. `out` is the request's folder; `files` where files are delivered."""

    job: str
    out: str
    upto: Literal["patterns", "nest"] = "nest"
    plies: tuple[str, ...] | None = None
    files: str | None = None
    layouts: dict[str, Any] | None = None  # earlier nests by cloth id, kept where not beaten
    change: Change | None = None


def do(request: Request, job: Job, progress: Progress = silent) -> Answer:
    """Do one request on a job that is already read; return its answer."""
    if request.change is not None:
        job = _changed(job, request.change)
        return lay_some(job, (request.change.ply,), progress)
    if request.plies is not None:
        return lay_some(job, request.plies, progress)
    folder = None if request.files is None else Path(request.files)
    layouts = request.layouts or {}
    stored = {cloth: Nest.from_plain(plain) for cloth, plain in layouts.items()}
    if folder is not None:
        stored |= stored_layouts(folder)
    result = run(job, progress=part_of(progress, 0.0, 0.9), upto=request.upto, stored=stored)
    if folder is not None:
        from .deliver import deliver  # its writers are heavy, and a drape alone needs none

        deliver(result, job, folder, progress=part_of(progress, 0.9, 1.0))
    return answer_of(job, result.pieces, result.findings, result=result)


def lay_some(job: Job, ids: Collection[str], progress: Progress = silent) -> Answer:
    """Lay only these plies, for a quick look: on the others' thickness before shear.

    Raises
    ------
    InputError : a ply the job does not have, or whatever keeps one from being laid
    """
    for unknown in sorted(set(ids) - {ply.id for ply in job.plies}):
        raise InputError(f"The job has no ply '{unknown}'.", "Choose another ply.")
    laminate = job.settings.laminate
    fabrics = {fabric.id: fabric for fabric in job.fabrics}
    stack = Stack.of(job.plies, laminate)
    wanted = [laid for laid in stack.laid if laid.ply.id in ids]
    plies: list[LaidPieces] = []
    for laid, below_mm in stack.with_thickness_below(fabrics, laminate, len(job.mould.faces)):
        if laid.ply.id in ids:
            share = part_of(progress, len(plies) / len(wanted), (len(plies) + 1) / len(wanted))
            share(0.0, f"draping ply {laid.number} {laid.ply.name}")
            plies.append(lay_ply(job, laid, below_mm, share))
    return answer_of(
        job,
        [piece for ply in plies for piece in ply.pieces],
        [finding for ply in plies for finding in ply.findings],
        plies=ids,
    )


def serve(lines: TextIO, *, end: Callable[[int], Any] = os._exit) -> int:
    """Do requests until the input closes; return the exit code."""
    waiting: queue.Queue[str] = queue.Queue()

    def listen() -> None:
        for line in lines:
            waiting.put(line)
        end(0)  # the asker is gone: nothing we could finish is wanted

    threading.Thread(target=listen, daemon=True).start()
    kept: dict[str, Job] = {}
    while True:
        request = from_plain(Request, json.loads(waiting.get()), "request")
        _answer(request, kept)
        if _peak_memory_mb() > MOST_MEMORY_MB:
            return 0


def _answer(request: Request, kept: dict[str, Job]) -> None:
    """Do one request; leave an answer or an error in its folder."""
    out = Path(request.out)
    try:
        job = kept.get(request.job)
        if job is None:
            job = load_job(Path(request.job))
            kept.clear()  # one job at a time is enough: its drapes are asked for again and again
            kept[request.job] = job
        save_answer(do(request, job, _progress_in(out)), out)
    except FlattenError as error:
        kind = type(error).__name__
        _write_error(out, kind, error.message, error.hint, error.faces)
    except MemoryError:
        hint = "Choose larger triangles, or fewer faces."
        _write_error(out, "InputError", "There is not enough memory for this job.", hint)
    except BaseException:
        _write_error(out, "bug", traceback.format_exc(), "")
        raise


def _progress_in(out: Path) -> Progress:
    """Return a progress that is written to the request's folder and hears `stop`."""
    file, stop = out / PROGRESS_FILE, out / STOP_FILE

    def tell(share: float, what: str) -> None:
        if stop.exists():
            raise Cancelled
        with file.open("a", encoding="utf-8") as log:
            log.write(json.dumps({"share": round(share, 4), "what": what}) + "\n")

    return tell


def _write_error(
    out: Path, kind: str, message: str, hint: str, faces: tuple[int, ...] = ()
) -> None:
    text = json.dumps({"kind": kind, "message": message, "hint": hint, "faces": list(faces)})
    fresh = out / f".{ERROR_FILE}.new"
    fresh.write_text(text, encoding="utf-8")
    os.replace(fresh, out / ERROR_FILE)


def _changed(job: Job, change: Change) -> Job:
    def moved(ply: Ply) -> Ply:
        return replace(ply, tack_mm=np.array(change.tack_mm)) if ply.id == change.ply else ply

    if change.ply not in {ply.id for ply in job.plies}:
        raise InputError(f"The job has no ply '{change.ply}'.", "Choose another ply.")
    return replace(job, plies=tuple(moved(ply) for ply in job.plies))


def _peak_memory_mb() -> float:
    """Return the most memory this process has held; 0 where the system does not tell (Windows)."""
    try:
        import resource
    except ImportError:
        return 0.0
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak / (2**20 if sys.platform == "darwin" else 2**10)


if __name__ == "__main__":
    sys.exit(serve(sys.stdin))
