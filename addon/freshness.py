"""Which patterns still fit their inputs: worked out a moment after the last change, then only read.

In a window the answer is kept until Blender reports a change, so that drawing the sidebar costs
nothing, and arrays are worked on in a thread; without a window it is worked out on each call.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any

import bpy
from bpy.app.handlers import persistent
from mathutils import Vector

from . import bridge, engine, warm
from .apply import find_patterns
from .aside import Aside
from .scene_job import draft_job

QUIET_S = 0.3  # after the last change
STEP_S = 0.02  # between the steps of a look
AT_ONCE = 20_000  # faces that are worked out in some 15 ms
DONE = object()
# Above this share of the flat area beyond the cloth's limit a ply will not lie down.
NEEDS_CUT_SHARE = 5e-4
STATES = {
    "no_faces": ("No faces", "CANCEL"),
    "to_drape": ("To drape", "RADIOBUT_OFF"),
    "out_of_date": ("Out of date", "FILE_REFRESH"),
    "needs_cut": ("Needs a cut", "ERROR"),
    "current": ("Current", "CHECKMARK"),
}


@dataclass(slots=True)
class Known:
    """What is known of one mould: each ply's state, or what keeps its job from being read."""

    states: dict[str, str] = field(default_factory=dict)
    extras: dict[str, str] = field(default_factory=dict)  # states of covers, cores and tapes
    whole_is_current: bool = False
    problem: str = ""
    size_mm: tuple[float, float, float] = (0.0, 0.0, 0.0)
    looked: bool = True  # whether the mould was looked at


class Memory:
    """What the sidebar reads."""

    def __init__(self) -> None:
        self.known: dict[int, Known] = {}
        self.changed_at = 0.0
        self.just_loaded = True
        self.steps: Iterator[None] | None = None  # of the look under way


MEMORY = Memory()


def known_of(mould: Any, scene: Any) -> Known:
    """Return what is known of a mould; after a change or an undo, until it is quiet, what was."""
    if bpy.app.background:
        return work_out(mould, scene)
    found = MEMORY.known.get(mould.session_uid)
    if found is None:
        note_change()
    return found or Known(looked=False)


def work_out(mould: Any, scene: Any) -> Known:
    """Read the job and compare each ply's digest with its patterns', here and now."""
    known, found_of = _begun(mould, scene)
    return known if found_of is None else _ended(mould, known, found_of)


@dataclass(slots=True)
class Found:
    """What the arrays of a mould tell."""

    size_mm: tuple[float, float, float]
    plies: dict[str, str] | None = None  # digests; None where the job is not fit to run
    extras: dict[str, str] = field(default_factory=dict)
    whole: str = ""


def _begun(mould: Any, scene: Any) -> tuple[Known, Callable[[], Found] | None]:
    """Return what a look at the mould tells, and what works out the rest without Blender."""
    plies = mould.mouldply.plies
    depsgraph = bpy.context.evaluated_depsgraph_get()
    try:
        taken = bridge.take_mould(mould, scene, depsgraph)
        empty = {ply.id for ply in plies if not taken.regions[ply.id].any()}
        known = Known()
        known.states = {ply.id: "no_faces" if ply.id in empty else "to_drape" for ply in plies}
        draft = None if not plies or empty else draft_job(mould, scene, depsgraph, taken)
        return known, lambda: _found(taken, draft)
    except engine.load("errors").FlattenError as error:
        return Known(problem=str(error)), None


def _found(taken: Any, draft: Any) -> Found:
    """Return the mould's size and the digests of plies, extras and the whole job."""
    read = taken.read()
    if draft is None:
        return Found(_size(read))
    job, stamp = draft.job(read), engine.load("stamp")
    plies = stamp.ply_stamps(job)
    return Found(_size(read), plies, stamp.extra_stamps(job, plies), job.digest)


def _ended(mould: Any, known: Known, found_of: Callable[[], Found]) -> Known:
    """Put together what is known of a mould."""
    try:
        found = found_of()
    except engine.load("errors").FlattenError as error:
        return Known(problem=str(error))
    known.size_mm = found.size_mm
    return _compared(mould, known, found)


def _compared(mould: Any, known: Known, found: Found) -> Known:
    """Say of everything that has patterns whether they carry these digests."""
    known.states |= _by_age(mould, found.plies, known.states)
    if found.plies is None:
        return known
    known.extras = {extra.id: "to_drape" for extra in mould.mouldply.extras}
    known.extras |= _by_age(mould, found.extras, known.extras)
    home = find_patterns(mould)
    known.whole_is_current = home is not None and home.mouldply.job_digest == found.whole
    if known.whole_is_current:  # tapes of a mould without sharp corners have no patterns
        known.extras |= {one: "current" for one, now in known.extras.items() if now == "to_drape"}
    return known


def note_change() -> None:
    """Remember that something changed, and look again once it is quiet."""
    MEMORY.changed_at = time.monotonic()
    MEMORY.steps = None  # holds objects that the change may have taken away
    if not bpy.app.background and not bpy.app.timers.is_registered(look_again):
        bpy.app.timers.register(look_again, first_interval=QUIET_S, persistent=True)


def note_now(mould: Any, scene: Any) -> None:
    """Its patterns have just been replaced: work a mould out at once, unless that takes long."""
    if bpy.app.background or len(mould.data.polygons) <= AT_ONCE:
        MEMORY.known[mould.session_uid] = work_out(mould, scene)
    else:
        note_change()


def look_again() -> float | None:
    """Work every mould of the scene out in steps, unless the person is still changing things."""
    quiet = time.monotonic() - MEMORY.changed_at
    if quiet < QUIET_S:
        MEMORY.steps = None
        return QUIET_S - quiet + 0.01
    scene = bpy.context.scene
    if not any(thing.mouldply.is_mould for thing in scene.objects):
        return None
    if not warm.done():
        warm.start()
        return QUIET_S
    MEMORY.steps = MEMORY.steps or _steps(scene)
    if next(MEMORY.steps, DONE) is not DONE:
        return STEP_S
    MEMORY.steps, MEMORY.just_loaded = None, False
    for window in bpy.context.window_manager.windows:
        for area in window.screen.areas:
            if area.type == "VIEW_3D":
                area.tag_redraw()
    return None


def _steps(scene: Any) -> Iterator[None]:
    """Work the moulds out; between the steps the window goes on. A change begins it anew."""
    moulds = [thing for thing in scene.objects if thing.mouldply.is_mould and thing.mode != "EDIT"]
    for mould in moulds:
        known, found_of = _begun(mould, scene)
        if found_of is not None:
            found = Aside(found_of)
            while not found.done:
                yield
            known = _ended(mould, known, found.result)
        MEMORY.known[mould.session_uid] = known
        _widen_views(mould, max(known.size_mm) / bridge.mm_per_unit(scene))
        yield


@persistent
def after_update(scene: Any, depsgraph: Any) -> None:
    """Blender changed something."""
    watched = (bpy.types.Object, bpy.types.Mesh, bpy.types.Scene)
    if any(isinstance(update.id, watched) for update in depsgraph.updates):
        note_change()


@persistent
def after_step(*_: Any) -> None:
    """Undo or redo. Moulds keep their number: what was known of them is told until it is quiet."""
    note_change()


@persistent
def after_load(*_: Any) -> None:
    """Another file."""
    MEMORY.just_loaded = True
    MEMORY.known.clear()
    note_change()


HANDLERS = {
    "depsgraph_update_post": after_update,
    "undo_post": after_step,
    "redo_post": after_step,
    "load_post": after_load,
}


def register() -> None:
    """Listen to Blender's changes."""
    for name, handler in HANDLERS.items():
        getattr(bpy.app.handlers, name).append(handler)


def unregister() -> None:
    """Stop listening."""
    for name, handler in HANDLERS.items():
        handlers = getattr(bpy.app.handlers, name)
        if handler in handlers:
            handlers.remove(handler)
    if bpy.app.timers.is_registered(look_again):
        bpy.app.timers.unregister(look_again)
    MEMORY.__init__()  # type: ignore[misc]


def needs_cut(mould: Any, ply_id: str) -> bool:
    """Whether a pattern of this ply, as it was flattened last, will not lie down."""
    home = find_patterns(mould)
    return any(
        thing.mouldply.ply_id == ply_id and thing.mouldply.piece.locked_share > NEEDS_CUT_SHARE
        for thing in (home.objects if home is not None else ())
        if thing.mouldply.piece.is_pattern
    )


def _by_age(mould: Any, stamps: dict[str, str] | None, states: dict[str, str]) -> dict[str, str]:
    """Return the states of the plies that have patterns."""
    home = find_patterns(mould)
    found: dict[str, str] = {}
    for thing in home.objects if home is not None else ():
        own = thing.mouldply
        if not own.piece.is_pattern or states.get(own.ply_id) in (None, "no_faces"):
            continue
        if stamps is None or own.piece.stamp != stamps[own.ply_id]:
            state = "out_of_date"
        else:
            state = "needs_cut" if own.piece.locked_share > NEEDS_CUT_SHARE else "current"
        worst = ("out_of_date", "needs_cut", "current")
        old = found.get(own.ply_id, "current")
        found[own.ply_id] = min(state, old, key=worst.index)
    return found


def _widen_views(mould: Any, size: float) -> None:
    """Let the 3D views reach round a mould of this many units, with patterns and roll beside it.

    A view ends at 1000 units at first: a mould in mm would be out of sight; and begins at 0.01:
    so near that what lies behind shows through. A file without a window layout of its own would
    also be looked at from inside the mould: step back once.
    """
    for window in bpy.context.window_manager.windows:
        for area in window.screen.areas:
            if area.type == "VIEW_3D":
                space = area.spaces.active
                space.clip_start = max(space.clip_start, size / 1000)
                space.clip_end = max(space.clip_end, 100 * size)
                view = space.region_3d
                if MEMORY.just_loaded and view.view_distance < 0.6 * size:
                    corners = [mould.matrix_world @ Vector(corner) for corner in mould.bound_box]
                    view.view_location = sum(corners, Vector()) / 8
                    view.view_distance = 1.8 * size


def _size(read: Any) -> tuple[float, float, float]:
    import numpy as np

    used = np.zeros(len(read.vertices), bool)
    used[read.triangles] = True
    points = read.vertices if used.all() else read.vertices[used]
    x, y, z = (float(axis.max() - axis.min()) for axis in points.T)  # quicker than one by one
    return x, y, z
