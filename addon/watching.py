"""What the add-on listens to besides changes: another file, the active object, the end."""

from __future__ import annotations

from typing import Any

import bpy
from bpy.app.handlers import persistent

from . import looking, maps, overlays, work
from .apply import find_patterns

OWNER = object()  # of the subscription to the active object


@persistent
def before_load(*_: Any) -> None:
    """Another file is opened: the work under way is for the old one."""
    work.forget()
    overlays.forget()
    maps.MEMORY.shown = None
    looking.MEMORY.before.clear()
    manager = bpy.context.window_manager
    if manager is not None:
        manager.mouldply.running = False
        manager.mouldply.message = ""


@persistent
def after_step(*_: Any) -> None:
    """Undo or redo: what was half written is gone."""
    work.start_over()


@persistent
def after_load(*_: Any) -> None:
    """A new file needs a new subscription."""
    subscribe()


def subscribe() -> None:
    """Hear when another object becomes the active one."""
    bpy.msgbus.clear_by_owner(OWNER)
    bpy.msgbus.subscribe_rna(
        key=(bpy.types.LayerObjects, "active"), owner=OWNER, args=(), notify=follow_selection
    )


def follow_selection() -> None:
    """A pattern was selected: make its ply, cover, core or tapes the selected one of its list."""
    thing = bpy.context.view_layer.objects.active if bpy.context.view_layer else None
    if thing is None or thing.mouldply.owner is None:
        return
    own = thing.mouldply.owner.mouldply
    for rows, active in ((own.plies, "active_ply"), (own.extras, "active_extra")):
        number = _place(rows, thing)
        if number is not None and getattr(own, active) != number:
            setattr(own, active, number)


def show_active_ply(mould: Any, context: Any) -> None:
    """A ply was selected: select its patterns beside the mould, and show its map."""
    own = mould.mouldply
    if own.plies and _select_patterns(mould, context, own.plies, own.active_ply):
        maps.refresh(context)


def show_active_extra(mould: Any, context: Any) -> None:
    """A cover, core or tapes were selected: select their patterns beside the mould."""
    own = mould.mouldply
    if own.extras:
        _select_patterns(mould, context, own.extras, own.active_extra)


def _place(rows: Any, thing: Any) -> int | None:
    """Return the row a pattern is of, if any."""
    ids = [row.id for row in rows]
    return ids.index(thing.mouldply.ply_id) if thing.mouldply.ply_id in ids else None


def _select_patterns(mould: Any, context: Any, rows: Any, number: int) -> bool:
    """Select the patterns of a row and no others; False where there is nothing to select."""
    home = find_patterns(mould)
    if home is None or bpy.context.mode != "OBJECT":
        return False
    chosen = rows[min(number, len(rows) - 1)].id
    for thing in home.objects:
        if thing.mouldply.piece.is_pattern and thing.name in context.view_layer.objects:
            thing.select_set(thing.mouldply.ply_id == chosen)
    return True


HANDLERS = {
    "load_pre": before_load,
    "load_post": after_load,
    "undo_post": after_step,
    "redo_post": after_step,
}


def register() -> None:
    """Start listening."""
    for name, handler in HANDLERS.items():
        getattr(bpy.app.handlers, name).append(handler)
    subscribe()


def unregister() -> None:
    """Stop listening and end the worker."""
    bpy.msgbus.clear_by_owner(OWNER)
    for name, handler in HANDLERS.items():
        handlers = getattr(bpy.app.handlers, name)
        if handler in handlers:
            handlers.remove(handler)
    work.forget()
