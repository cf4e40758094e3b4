"""What the add-on listens to besides changes: another file, the active object, the end."""

from __future__ import annotations

from typing import Any

import bpy
from bpy.app.handlers import persistent

from . import looking, maps, work
from .apply import find_patterns

OWNER = object()  # of the subscription to the active object


@persistent
def before_load(*_: Any) -> None:
    """Another file is opened: the work under way is for the old one."""
    work.forget()
    maps.MEMORY.shown = None
    looking.MEMORY.before.clear()
    manager = bpy.context.window_manager
    if manager is not None:
        manager.mouldply.running = False
        manager.mouldply.message = ""


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
    """A pattern was selected: make its ply the selected one."""
    thing = bpy.context.view_layer.objects.active if bpy.context.view_layer else None
    if thing is None or thing.mouldply.owner is None:
        return
    own = thing.mouldply.owner.mouldply
    for number, ply in enumerate(own.plies):
        if ply.id == thing.mouldply.ply_id and own.active_ply != number:
            own.active_ply = number


def show_active_ply(mould: Any, context: Any) -> None:
    """A ply was selected: select its patterns beside the mould, and show its map."""
    home, own = find_patterns(mould), mould.mouldply
    if home is None or not own.plies or bpy.context.mode != "OBJECT":
        return
    ply = own.plies[min(own.active_ply, len(own.plies) - 1)]
    for thing in home.objects:
        if thing.mouldply.piece.is_pattern and thing.name in context.view_layer.objects:
            thing.select_set(thing.mouldply.ply_id == ply.id)
    maps.refresh(context)


def register() -> None:
    """Start listening."""
    bpy.app.handlers.load_pre.append(before_load)
    bpy.app.handlers.load_post.append(after_load)
    subscribe()


def unregister() -> None:
    """Stop listening and end the worker."""
    bpy.msgbus.clear_by_owner(OWNER)
    for handlers, handler in (
        (bpy.app.handlers.load_pre, before_load),
        (bpy.app.handlers.load_post, after_load),
    ):
        if handler in handlers:
            handlers.remove(handler)
    work.forget()
