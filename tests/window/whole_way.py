"""In a real window: open a sample, flatten, look, nest, show the roll; pictures on the way.

Run with a runner that offers `shot(name)` and `sidebar(tab)`; see README.md beside this file.
"""

import time

import bpy

STEPS = []
STATE = {"at": 0, "wait": 0.0}


def step(function):
    STEPS.append(function)
    return function


def in_view(operator, **options):
    """Call a 3D view operator in the window's first 3D view."""
    window = bpy.context.window_manager.windows[0]
    for area in window.screen.areas:
        if area.type == "VIEW_3D":
            region = next(r for r in area.regions if r.type == "WINDOW")
            with bpy.context.temp_override(window=window, area=area, region=region):
                operator(**options)
            return


def frame():
    """Look at everything from above."""
    smooth = bpy.context.preferences.view.smooth_view
    bpy.context.preferences.view.smooth_view = 0
    in_view(bpy.ops.view3d.view_all)
    bpy.context.preferences.view.smooth_view = smooth


@step
def opened():
    frame()
    shot("01_opened.png")  # noqa: F821
    bpy.ops.mouldply.flatten(which="ALL")


@step
def flattened():
    frame()
    shot("02_flattened.png")  # noqa: F821
    bpy.context.window_manager.mouldply_view.map = "shear_deg"


@step
def shear():
    in_view(bpy.ops.view3d.view_selected)
    shot("03_shear.png")  # noqa: F821
    bpy.context.window_manager.mouldply_view.map = "draft_deg"


@step
def draft():
    shot("04_draft.png")  # noqa: F821
    bpy.context.window_manager.mouldply_view.map = "NONE"
    bpy.ops.mouldply.nest()


@step
def nested():
    frame()
    shot("05_nested.png")  # noqa: F821
    bpy.ops.mouldply.show_roll()


@step
def roll():
    in_view(bpy.ops.view3d.view_axis, type="TOP")
    frame()
    shot("06_roll.png")  # noqa: F821
    bpy.ops.mouldply.leave_roll()


bpy.context.preferences.view.smooth_view = 0
sidebar("mouldply")  # noqa: F821


def done():
    """Take the next step when the last one has settled; True at the end."""
    if bpy.context.window_manager.mouldply.running or time.monotonic() < STATE["wait"]:
        return False
    if STATE["at"] == len(STEPS):
        return True
    STEPS[STATE["at"]]()
    STATE["at"] += 1
    STATE["wait"] = time.monotonic() + 1.5
    return False
