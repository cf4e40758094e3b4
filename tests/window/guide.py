"""In a real window: the guide's pictures, on the kayak hatch cover. Open that sample first."""

import time

import bpy

STATE = {"at": 0, "wait": 0.0}
VIEW_DEG = (52, 0, 24)


def view3d(operator, **options):
    """Call an operator in the window's first 3D view."""
    window = bpy.context.window_manager.windows[0]
    area = next(a for a in window.screen.areas if a.type == "VIEW_3D")
    region = next(r for r in area.regions if r.type == "WINDOW")
    with bpy.context.temp_override(window=window, area=area, region=region):
        return operator(**options)


def look(only_mould=False):
    """Look from the front and above at everything, or at the mould."""
    from math import radians

    from mathutils import Euler

    window = bpy.context.window_manager.windows[0]
    area = next(a for a in window.screen.areas if a.type == "VIEW_3D")
    area.spaces.active.region_3d.view_rotation = Euler(map(radians, VIEW_DEG)).to_quaternion()
    view3d(bpy.ops.view3d.view_selected if only_mould else bpy.ops.view3d.view_all)


def opened():
    look(only_mould=True)


def chosen():
    shot("guide_1_mould.png")  # noqa: F821
    view3d(bpy.ops.mouldply.select_ply)
    view3d(bpy.ops.object.mode_set, mode="EDIT")
    view3d(bpy.ops.mesh.select_mode, type="FACE")


def edited():
    shot("guide_2_faces.png")  # noqa: F821
    view3d(bpy.ops.object.mode_set, mode="OBJECT")
    view3d(bpy.ops.mouldply.flatten, which="ALL")


def flattened():
    look()


def seen():
    shot("guide_3_patterns.png")  # noqa: F821
    bpy.context.window_manager.mouldply_view.map = "shear_deg"
    look(only_mould=True)


def mapped():
    shot("guide_4_shear.png")  # noqa: F821
    bpy.context.window_manager.mouldply_view.map = "NONE"
    view3d(bpy.ops.mouldply.nest)


def nested():
    view3d(bpy.ops.mouldply.show_roll)


def rolled():
    view3d(bpy.ops.view3d.view_axis, type="TOP")
    view3d(bpy.ops.view3d.view_all)


def ended():
    shot("guide_5_roll.png")  # noqa: F821


FLOW = [opened, chosen, edited, flattened, seen, mapped, nested, rolled, ended]


def done():
    """One step after the other."""
    if bpy.context.window_manager.mouldply.running or time.monotonic() < STATE["wait"]:
        return False
    if STATE["at"] == len(FLOW):
        return True
    FLOW[STATE["at"]]()
    STATE["at"] += 1
    STATE["wait"] = time.monotonic() + 4.0  # states are worked out a moment later
    return False


bpy.context.preferences.view.smooth_view = 0
sidebar("mouldply")  # noqa: F821
