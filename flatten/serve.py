"""The warm worker: takes jobs one after the other, so that imports are paid for once.

Requests come as lines of JSON on the standard input; when that closes, because the program
that started the worker ended in whatever way, the worker ends at once. Everything else goes
through files in the request's own folder:

progress.jsonl   a line a step: {"share": 0..1, "what": "..."}
stop             made by the asker: a drape ends within a step, a nest with its best so far
answer.json/.npz the end of good work, see `answer.py`
error.json       the end of other work: {"kind", "message", "hint", "faces"}

Longer than most files: every kind of request is done here, and answered alike.
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
from numpy.typing import NDArray

from .answer import Answer, save_answer
from .answer_parts import answer_of, drape_arrays, proposal_facts
from .cloth.drape import drape_surface
from .cloth.fabric import Fabric
from .errors import Cancelled, FlattenError, InputError
from .job import Job, load_job
from .kept import KeptPatches
from .laminate.ply import Ply
from .laminate.stack import Stack
from .lay import LaidPieces, lay_ply, tack_and_warp
from .nest.clock import Stop, never
from .nest.layout import Nest
from .progress import Progress, part_of, silent
from .records import from_plain
from .run import run, stored_layouts
from .surface.cut import cut
from .surface.mesh import MouldMesh
from .surface.patch import Patch
from .surface.region import Region

PROGRESS_FILE, STOP_FILE, ERROR_FILE = "progress.jsonl", "stop", "error.json"
PREVIEW_EDGE_MM, PREVIEW_EDGES = 5.0, 40  # triangles of a preview: this long, or a share
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
    propose: str | None = None  # id of a ply: where it would help to cut it
    seek: str | None = None  # id of a ply: a better tack point for it


def do(
    request: Request,
    job: Job,
    progress: Progress = silent,
    *,
    stop: Stop = never,
    patches: KeptPatches | None = None,
    bare: KeptPatches | None = None,
) -> Answer:
    """Do one request on a job that is already read; return its answer.

    Once `stop` says True a nest ends with the best layout so far. `patches`: those of earlier
    requests; `bare`: those of earlier previews.
    """
    if request.propose is not None:
        return propose_cuts(job, request.propose, progress)
    if request.seek is not None:
        return seek_tack(job, request.seek, progress)
    if request.change is not None:
        return preview(job, request.change, progress, patches=bare)
    if request.plies is not None:
        return lay_some(job, request.plies, progress, patches=patches)
    folder = None if request.files is None else Path(request.files)
    layouts = request.layouts or {}
    stored = {cloth: Nest.from_plain(plain) for cloth, plain in layouts.items()}
    if folder is not None:
        stored |= stored_layouts(folder)
    result = run(
        job, progress=part_of(progress, 0.0, 0.9), upto=request.upto, stored=stored, stop=stop
    )
    if folder is not None:
        from .deliver import deliver  # its writers are heavy, and a drape alone needs none

        deliver(result, job, folder, progress=part_of(progress, 0.9, 1.0))
    return answer_of(job, result.pieces, result.findings, extras=result.extras, result=result)


def lay_some(
    job: Job,
    ids: Collection[str],
    progress: Progress = silent,
    *,
    patches: KeptPatches | None = None,
) -> Answer:
    """Lay only these plies, for a quick look: on the others' thickness before shear.

    Raises
    ------
    InputError : a ply the job does not have, or whatever keeps one from being laid
    """
    for ply_id in ids:
        _ply(job, ply_id)
    laminate = job.settings.laminate
    fabrics = {fabric.id: fabric for fabric in job.fabrics}
    stack = Stack.of(job.plies, laminate, job.cores)
    wanted = [laid for laid in stack.laid if laid.ply.id in ids]
    plies: list[LaidPieces] = []
    for laid, below_mm in stack.with_thickness_below(fabrics, laminate, len(job.mould.faces)):
        if laid.ply.id in ids:
            share = part_of(progress, len(plies) / len(wanted), (len(plies) + 1) / len(wanted))
            share(0.0, f"draping ply {laid.number} {laid.ply.name}")
            plies.append(lay_ply(job, laid, below_mm, share, cutter=patches))
    return answer_of(
        job,
        [piece for ply in plies for piece in ply.pieces],
        [finding for ply in plies for finding in ply.findings],
        extras=[patch for ply in plies for patch in ply.patches],
        plies=ids,
    )


def preview(
    job: Job, change: Change, progress: Progress = silent, *, patches: KeptPatches | None = None
) -> Answer:
    """Drape a ply from another tack point, quickly: bare mould, no allowance, larger triangles.

    Good enough to look at while the point is dragged; the answer has drapes but no patterns.
    `progress` may end it between two steps; `patches`: those of earlier previews.

    Raises
    ------
    InputError : a ply the job does not have, or whatever keeps it from being draped
    """
    ply = replace(_ply(job, change.ply), tack_mm=np.array(change.tack_mm))
    fabric = job.fabric_of(ply)
    pieces, arrays = [], dict[str, NDArray[Any]]()
    for number, patch in enumerate((patches or bare_patches)(job, ply, fabric, job.mould)):
        tack, warp = tack_and_warp(job, ply, patch)
        edge_mm = max(PREVIEW_EDGE_MM, patch.surface.size_mm / PREVIEW_EDGES)
        drape = drape_surface(
            patch.surface, fabric, tack_mm=tack, warp=warp, method=ply.method, max_edge_mm=edge_mm,
            progress=progress,
        )  # fmt: skip
        pieces.append({"ply_id": ply.id, "tack_mm": drape.tack_mm.tolist()})
        arrays |= {f"piece{number}_{name}": array for name, array in drape_arrays(drape).items()}
    return Answer(facts={"pieces": pieces, "complete": False}, arrays=arrays)


def bare_patches(job: Job, ply: Ply, fabric: Fabric, surface: MouldMesh) -> list[Patch]:
    """Return a ply's patches without allowance; raises as `cut` does."""
    seams = job.seams if ply.use_seams else ()
    return cut(surface, Region(ply.name, ply.faces), ply.cuts, seams=seams)


def propose_cuts(job: Job, ply_id: str, progress: Progress = silent) -> Answer:
    """Look for cuts that let a ply lie down on the bare mould, or fit its roll, for the facts.

    Raises
    ------
    InputError : a ply the job does not have, or whatever keeps it from being laid
    """
    from .proposals import cut_proposals

    proposals = [proposal_facts(one) for one in cut_proposals(job, _ply(job, ply_id), progress)]
    answer = answer_of(job, [], [], plies=[])
    return Answer(facts={**answer.facts, "proposals": proposals}, arrays={})


def seek_tack(job: Job, ply_id: str, progress: Progress = silent) -> Answer:
    """Look for a better tack point of a ply; place (mm) and gain come in the facts.

    Raises
    ------
    InputError : a ply the job does not have, or whatever keeps it from being laid
    """
    from .lay import better_tack

    ply = _ply(job, ply_id)
    progress(0.0, f"looking for a tack point of ply {ply.name}")
    found = better_tack(job, ply, progress=progress)
    tack = {
        "ply_id": ply_id,
        "at_mm": found.best.tack_mm.tolist(),
        "better": found.best is not found.given,
        "gain": found.gain,
    }
    return Answer(facts={"tack": tack, "pieces": [], "complete": False}, arrays={})


def serve(lines: TextIO, *, end: Callable[[int], Any] = os._exit) -> int:
    """Do requests until the input closes; return the exit code."""
    waiting: queue.Queue[str] = queue.Queue()

    def listen() -> None:
        for line in lines:
            waiting.put(line)
        end(0)  # the asker is gone: nothing we could finish is wanted

    threading.Thread(target=listen, daemon=True).start()
    kept: dict[str, Job] = {}
    patches, bare = KeptPatches(), KeptPatches(bare_patches)
    while True:
        request = from_plain(Request, json.loads(waiting.get()), "request")
        _answer(request, kept, patches, bare)
        if _peak_memory_mb() > MOST_MEMORY_MB:
            return 0


def _answer(
    request: Request, kept: dict[str, Job], patches: KeptPatches, bare: KeptPatches
) -> None:
    """Do one request; leave an answer or an error in its folder."""
    out = Path(request.out)
    try:
        job = kept.get(request.job)
        if job is None:
            job = load_job(Path(request.job))
            kept.clear()  # one job at a time is enough: its drapes are asked for again and again
            kept[request.job] = job
        stopped = (out / STOP_FILE).exists
        if _keeps_best(request):
            answer = do(request, job, _progress_in(out, never), stop=stopped, patches=patches)
        else:
            answer = do(request, job, _progress_in(out, stopped), patches=patches, bare=bare)
        save_answer(answer, out)
    except FlattenError as error:
        kind = type(error).__name__
        _write_error(out, kind, error.message, error.hint, error.faces)
    except MemoryError:
        hint = "Choose larger triangles, or fewer faces."
        _write_error(out, "InputError", "There is not enough memory for this job.", hint)
    except BaseException:
        _write_error(out, "bug", traceback.format_exc(), "")
        raise


def _keeps_best(request: Request) -> bool:
    """Whether stopping means to keep the best layout so far: a nest that writes no files."""
    others = (request.plies, request.change, request.propose, request.seek, request.files)
    return request.upto == "nest" and all(other is None for other in others)


def _progress_in(out: Path, stopped: Stop) -> Progress:
    """Return a progress that is written to the request's folder and ends the work once stopped."""
    file = out / PROGRESS_FILE

    def tell(share: float, what: str) -> None:
        if stopped():
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


def _ply(job: Job, ply_id: str) -> Ply:
    """Return a ply of the job; InputError where it has none of this id."""
    for ply in job.plies:
        if ply.id == ply_id:
            return ply
    raise InputError(f"The job has no ply '{ply_id}'.", "Choose another ply.")


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
