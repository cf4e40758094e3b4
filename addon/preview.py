"""Drapes to look at while a tack point is dragged: asked of the worker one at a time."""

from __future__ import annotations

import time
from typing import Any

from . import bridge, engine
from .scene_job import draft_job
from .work import DESK, store_job

STALE_S = 0.3  # a drape of another place under way for longer than this is given up


def ask(context: Any, mould: Any, *, last: bool = False) -> bool:
    """Ask for a drape of the active ply from its tack point; False while that cannot begin yet.

    A drape of an earlier place is waited for unless it takes long, or this is the `last` place.
    """
    if DESK.errand is not None or DESK.finished is not None:
        return False
    if DESK.worker is not None and DESK.worker.busy:
        if not last and time.monotonic() - DESK.preview_began < STALE_S:
            return False
        DESK.worker.drop()
    own = mould.mouldply
    ply = own.plies[min(own.active_ply, len(own.plies) - 1)]
    if DESK.preview_job is None:  # the mould stays as it is while the tack point is dragged
        DESK.preview_job = store_job(
            draft_job(mould, context.scene, context.evaluated_depsgraph_get())
        )
    if not DESK.preview_job.done:
        return False
    at = bridge.points_to_mm(mould, context.scene, [tuple(ply.tack)])[0].tolist()
    change = {"ply": ply.id, "tack_mm": at}
    assert DESK.worker is not None
    DESK.worker.submit({"job": str(DESK.preview_job.result()), "change": change})
    DESK.preview_began = time.monotonic()
    return True


def take() -> Any:
    """Return the answer of the last preview once it is there, else None."""
    if DESK.errand is not None or DESK.worker is None or not DESK.worker.busy:
        return None
    out = DESK.worker.out
    if DESK.worker.look().state != "done":
        return None  # a place where the cloth cannot be laid simply shows nothing new
    return engine.load("answer").load_answer(out)


def drop() -> None:
    """End previews: the next work starts on a free worker."""
    DESK.preview_job = None
    if DESK.worker is not None and DESK.worker.busy and DESK.errand is None:
        DESK.worker.drop()
