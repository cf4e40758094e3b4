"""Work for the engine: in place without a window, else in the worker, watched by a timer."""

from __future__ import annotations

import shutil
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import bpy

from . import engine, overlays
from .apply import find_patterns
from .aside import Aside
from .landing import Landing
from .scene_job import Draft, draft_job
from .worker import News, Worker

UNEXPECTED = "Unexpected error, nothing was changed; the details are in the system console."
KEPT = "Stopped: the best layout so far is kept."
TICK_S, SOON_S = 0.1, 0.02  # between looks at the worker; while its job is being written


@dataclass(slots=True)
class Errand:
    """What the worker is at, and for which mould."""

    label: str
    mould: int  # session_uid: survives renaming and undo
    scene: str
    mould_name: str
    files: str | None
    began: float
    request: dict[str, Any]  # without its job, which is being written
    job: Aside | None  # until the worker has the request
    result: Path | None = None
    stopped: bool = False  # by the person; a nest ends well all the same


class Desk:
    """The worker, the errand it is on, and the one whose result waits to be applied."""

    def __init__(self) -> None:
        self.worker: Worker | None = None
        self.errand: Errand | None = None
        self.finished: Errand | None = None
        self.landing: Landing | None = None  # of the finished one's result, in the file
        self.preview_job: Aside | None = None  # its folder, as of an errand's job
        self.preview_began = 0.0
        self.jobs: dict[str, Path] = {}  # digest -> job folder already written


DESK = Desk()


def begin(context: Any, mould: Any, label: str, **request: Any) -> bool:
    """Start work on a mould; return True if it is already done and applied.

    Raises
    ------
    InputError : the job is not fit to run, or other work is under way
    """
    under_way = DESK.errand or DESK.finished
    if under_way is not None:
        raise engine.load("errors").InputError(
            f"'{under_way.label}' for '{under_way.mould_name}' is still running.",
            "Wait for it, or press Esc to stop it.",
        )
    draft = draft_job(mould, context.scene, context.evaluated_depsgraph_get())
    home = find_patterns(mould)
    if home is not None and home.mouldply.nests:
        import json

        request["layouts"] = json.loads(home.mouldply.nests)
    if bpy.app.background:
        _in_place(context, mould, draft.job(), request)
        return True
    _in_worker(context, mould, draft, label, request)
    return False


def _in_place(context: Any, mould: Any, job: Any, request: dict[str, Any]) -> None:
    serve = engine.load("serve")
    answer = serve.do(serve.Request(job="", out="", **request), job)
    landing = Landing(mould, context.scene, lambda: answer, request)
    while landing.message is None:
        landing.step(mould, context.scene)
    context.window_manager.mouldply.message = landing.message


def _in_worker(context: Any, mould: Any, draft: Draft, label: str, request: dict[str, Any]) -> None:
    DESK.errand = Errand(
        label=label,
        mould=mould.session_uid,
        scene=context.scene.name,
        mould_name=mould.name,
        files=request.get("files"),
        began=time.monotonic(),
        request=request,
        job=store_job(draft),
    )
    if not context.window_manager.mouldply.running and context.window is not None:
        bpy.ops.mouldply.watch("INVOKE_DEFAULT")
    show(context.window_manager, running=True, share=0.0, what="Starting", left_s=-1.0)
    if not bpy.app.timers.is_registered(tick):
        bpy.app.timers.register(tick, first_interval=SOON_S, persistent=True)


def store_job(draft: Draft) -> Aside:
    """Make a job and write it for the worker, in a thread; the result is its folder."""
    worker = DESK.worker = DESK.worker or Worker()
    known = DESK.jobs

    def store() -> Path:
        job = draft.job()
        digest = job.digest
        folder = known.get(digest)
        if folder is None:
            folder = worker.home / f"job-{digest[:16]}"
            engine.load("job").save_job(job, folder, small=False)
            for old in known.values():  # the worker keeps one job too, and has read it
                shutil.rmtree(old, ignore_errors=True)
            known.clear()
            known[digest] = folder
        return folder

    worker.start()  # imports what it needs meanwhile
    return Aside(store)


def _handed_over(errand: Errand) -> bool:
    """Give the worker its request once the job is written; False where that failed."""
    assert DESK.worker is not None
    assert errand.job is not None
    try:
        folder = errand.job.result()
    except engine.load("errors").FlattenError as error:
        DESK.errand = None
        show(bpy.context.window_manager, running=False, message=str(error))
        return False
    errand.job = None
    DESK.worker.submit({"job": str(folder), **errand.request})
    return True


def tick() -> float | None:
    """Look at the worker; Blender calls this ten times a second while it works."""
    errand, worker = DESK.errand, DESK.worker
    if DESK.finished is not None:
        return _apply_when_free(DESK.finished)
    if errand is None or worker is None:
        return None
    if errand.job is not None:
        return SOON_S if not errand.job.done or _handed_over(errand) else None
    out = worker.out
    news = worker.look()
    manager = bpy.context.window_manager
    if news.state == "running":
        spent = time.monotonic() - errand.began
        left = spent * (1 - news.share) / news.share if news.share > 0.05 and spent > 1 else -1.0
        show(manager, running=True, share=news.share, what=news.what, left_s=left)
        return TICK_S
    DESK.errand = None
    if news.state == "done":
        errand.result, DESK.finished = out, errand
        return SOON_S
    show(manager, running=False, message=_words(news, errand))
    overlays.drop_preview()
    return None


def stop() -> None:
    """Ask the work under way to end."""
    errand = DESK.errand
    if DESK.worker is None or errand is None:
        return
    if errand.job is not None:  # the worker has not heard of it
        DESK.errand = None
        show(bpy.context.window_manager, running=False, message="Stopped.")
        return
    errand.stopped = True
    DESK.worker.ask_to_stop()
    show(bpy.context.window_manager, what="Stopping")


def forget() -> None:
    """Drop the work under way: another file is opened, or the add-on is switched off."""
    if DESK.worker is not None:
        DESK.worker.close()
    if bpy.app.timers.is_registered(tick):
        bpy.app.timers.unregister(tick)
    DESK.__init__()  # type: ignore[misc]


def find_errand_mould(errand: Errand) -> Any:
    """Return the mould an errand is about, None if it is gone: references do not survive undo."""
    for thing in bpy.data.objects:
        if thing.session_uid == errand.mould:
            return thing
    return None


def show(manager: Any, **values: Any) -> None:
    """Show progress in the sidebar; the view itself stays as it is."""
    before = _seen(manager)
    for name, value in values.items():
        setattr(manager.mouldply, name, value)
    if _seen(manager) == before:  # nothing to draw: the processor is the worker's
        return
    for window in manager.windows:
        for area in window.screen.areas:
            for region in area.regions if area.type == "VIEW_3D" else ():
                if region.type == "UI":
                    region.tag_redraw()


def _seen(manager: Any) -> tuple[Any, ...]:
    """Return what a person sees of the progress."""
    own = manager.mouldply
    return own.running, own.message, own.what, round(100 * own.share), round(own.left_s)


def _apply_when_free(errand: Errand) -> float | None:
    """Write the result into the file as one undo step, in slices between which the window goes on.

    Waits while the person is in the middle of a movement.
    """
    manager = bpy.context.window_manager
    window = manager.windows[0] if manager.windows else None
    if window is not None:
        others = [op for op in window.modal_operators if op.bl_idname != "MOULDPLY_OT_watch"]
        if others:
            return TICK_S
    said: str | None = UNEXPECTED  # of anything but an error of the engine
    try:
        said = _land(errand, window)
    except engine.load("errors").FlattenError as error:
        said = str(error)
    finally:
        if said is not None:
            _landed(said)
    return SOON_S if said is None else None


def _land(errand: Errand, window: Any) -> str | None:
    """Do one slice; return what there is to say once all is done, None before."""
    mould, scene = find_errand_mould(errand), bpy.data.scenes.get(errand.scene)
    scene = scene or bpy.context.scene
    if mould is None:
        return f"'{errand.mould_name}' was deleted while '{errand.label}' ran."
    if DESK.landing is None:
        result, load = errand.result, engine.load("answer").load_answer
        DESK.landing = Landing(mould, scene, lambda: load(result), errand.request)
    landing = DESK.landing
    if landing.message is None:
        landing.step(mould, scene)
        return None
    with bpy.context.temp_override(window=window):
        bpy.ops.mouldply.apply_result("EXEC_DEFAULT", True)
    return f"{KEPT} {landing.message}".strip() if errand.stopped else landing.message


def _landed(message: str) -> None:
    """End the errand whose result was written, or could not be."""
    DESK.finished = DESK.landing = None
    overlays.drop_preview()
    show(bpy.context.window_manager, running=False, message=message)


def start_over() -> None:
    """Undo or redo took half-written results away: write them anew."""
    DESK.landing = None


def _words(news: News, errand: Errand) -> str:
    """Say in one sentence how the work ended."""
    if news.state == "lost":
        return (
            f"'{errand.label}' ended unexpectedly, nothing was changed. Press it again; if it "
            "ends again, choose larger triangles or report it."
        )
    error = news.error or {}
    if error.get("kind") == "bug":
        print(error["message"])
        return UNEXPECTED
    return f"{error.get('message', '')} {error.get('hint', '')}".strip()
