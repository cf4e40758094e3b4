"""In a real window: place the tack point; the runner's keys then click on the mould."""

import bpy

STATE = {"ready": False}


def view3d():
    window = bpy.context.window_manager.windows[0]
    area = next(a for a in window.screen.areas if a.type == "VIEW_3D")
    region = next(r for r in area.regions if r.type == "WINDOW")
    return window, area, region


def done():
    """Flatten first, look at the mould, then start the operator."""
    if bpy.context.window_manager.mouldply.running:
        return False
    window, area, region = view3d()
    with bpy.context.temp_override(window=window, area=area, region=region):
        if not STATE["ready"]:
            STATE["ready"] = True
            bpy.ops.mouldply.flatten(which="ACTIVE")
            return False
        bpy.ops.view3d.view_selected()
        bpy.ops.mouldply.place_tack("INVOKE_DEFAULT")
    return True


bpy.context.preferences.view.smooth_view = 0
sidebar("mouldply")  # noqa: F821
