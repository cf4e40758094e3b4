"""Pictures of the whole sidebar, every panel open; SCALE and LANGUAGE are set here."""

import sys
import time

import bpy

SCALE, LANGUAGE = 1.0, ""  # of the interface: 2.0 for a fine screen, "de_DE" for German
STATE = {"at": 0, "wait": 0.0, "ready": False}
PAGES = 7


def open_all_panels():
    """Register the closed panels again as open ones; their state cannot be set otherwise."""
    import importlib

    package = next(m for m in sys.modules if m.endswith(".mouldply") and m.startswith("bl_ext"))
    panels = importlib.import_module(f"{package}.panels")
    panels.unregister()
    for module in panels.MODULES:
        for kind in module.CLASSES:
            if "DEFAULT_CLOSED" in getattr(kind, "bl_options", ()):
                kind.bl_options = set()
    panels.register()


def scroll(pages):
    """Move the sidebar down; below zero up."""
    window = bpy.context.window_manager.windows[0]
    area = next(a for a in window.screen.areas if a.type == "VIEW_3D")
    region = next(r for r in area.regions if r.type == "UI")
    with bpy.context.temp_override(window=window, area=area, region=region):
        step = bpy.ops.view2d.scroll_down if pages > 0 else bpy.ops.view2d.scroll_up
        step(page=True)


def done():
    """Open, flatten, then one picture a page."""
    manager = bpy.context.window_manager
    if manager.mouldply.running or time.monotonic() < STATE["wait"]:
        return False
    STATE["wait"] = time.monotonic() + 1.0
    if not STATE["ready"]:
        STATE["ready"] = True
        view = bpy.context.preferences.view
        view.ui_scale = SCALE
        if LANGUAGE:
            view.language = LANGUAGE
            view.use_translate_interface = view.use_translate_tooltips = True
        open_all_panels()
        sidebar("mouldply")  # noqa: F821
        bpy.ops.mouldply.nest()
        return False
    shot(f"page{STATE['at']}.png")  # noqa: F821
    STATE["at"] += 1
    scroll(1)
    return STATE["at"] == PAGES
