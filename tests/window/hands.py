"""What a person does at the window: look, press, drag, open the tab, take a picture."""

import importlib
import os
import shutil
import subprocess
from math import radians
from pathlib import Path

import bpy
from bpy_extras.view3d_utils import location_3d_to_region_2d
from mathutils import Euler

OUT = Path(os.environ.get("WINDOW_OUT", "."))
EXTENSION = "bl_ext.user_default.mouldply"


def part(name):
    """Return a module of the installed add-on."""
    return importlib.import_module(f"{EXTENSION}.{name}")


def window():
    """Return the first window."""
    return bpy.context.window_manager.windows[0]


def area():
    """Return its 3D view."""
    return next(one for one in window().screen.areas if one.type == "VIEW_3D")


def region(kind="WINDOW"):
    """Return a region of the 3D view."""
    return next(one for one in area().regions if one.type == kind)


def in_view(operator, *how, **options):
    """Call an operator in the 3D view."""
    with bpy.context.temp_override(window=window(), area=area(), region=region()):
        return operator(*how, **options)


def redraw():
    """Draw the window now."""
    for one in window().screen.areas:
        one.tag_redraw()
    with bpy.context.temp_override(window=window()):
        bpy.ops.wm.redraw_timer(type="DRAW_WIN_SWAP", iterations=1)


def shot(name):
    """Take a picture of the whole window: of the screen under X11, else by Blender itself.

    With software drawing Blender's own picture is black.
    """
    for _ in range(2):  # a panel that has grown is placed with the next drawing
        redraw()
    if os.environ.get("DISPLAY") and shutil.which("import"):
        command = ["import", "-window", "root", str(OUT / f"{name}.png")]
        subprocess.run(command, check=True, timeout=60)
        return
    with bpy.context.temp_override(window=window()):
        bpy.ops.screen.screenshot(filepath=str(OUT / f"{name}.png"), check_existing=False)


def open_tab():
    """Open the sidebar on our tab."""
    area().spaces.active.show_region_ui = True
    for _ in range(3):  # a tab is unknown until it has been drawn
        redraw()
        try:
            region("UI").active_panel_category = "mouldply"
        except TypeError:
            continue
    redraw()


def open_panels():
    """Register the closed panels again as open ones; their state cannot be set otherwise."""
    panels = part("panels")
    panels.unregister()
    for module in panels.MODULES:
        for kind in module.CLASSES:
            if "DEFAULT_CLOSED" in getattr(kind, "bl_options", ()):
                kind.bl_options = set()
    panels.register()


def open_panel(name, closed=False):
    """Register one panel and those under it again, open or closed."""
    panels = part("panels")
    kinds = [kind for module in panels.MODULES for kind in module.CLASSES]
    (kind,) = (one for one in kinds if one.__name__ == name)
    bpy.utils.unregister_class(kind)
    kind.bl_options = {"DEFAULT_CLOSED"} if closed else set()
    bpy.utils.register_class(kind)
    redraw()


def scroll(pages):
    """Move the sidebar down by pages; below zero up."""
    with bpy.context.temp_override(window=window(), area=area(), region=region("UI")):
        step = bpy.ops.view2d.scroll_down if pages > 0 else bpy.ops.view2d.scroll_up
        for _ in range(abs(pages)):
            step(page=True)


def look(only=False, turn_deg=(52, 0, 24)):
    """Look from the front and above at everything, or at what is selected."""
    space = area().spaces.active
    space.region_3d.view_rotation = Euler(map(radians, turn_deg)).to_quaternion()
    in_view(bpy.ops.view3d.view_selected if only else bpy.ops.view3d.view_all)


def pixel_of(point):
    """Return where a point of the world is in the window."""
    place = location_3d_to_region_2d(region(), area().spaces.active.region_3d, point)
    return round(region().x + place.x), round(region().y + place.y)


def event(kind, value, at, **keys):
    """Send one event to the window (Blender started with --enable-event-simulate)."""
    window().event_simulate(type=kind, value=value, x=at[0], y=at[1], **keys)


def press(key, at, **keys):
    """Press and let go a key."""
    event(key, "PRESS", at, **keys)
    event(key, "RELEASE", at, **keys)
