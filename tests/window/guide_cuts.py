"""The guide's pictures of darts (--blend blend_samples/telescope_tray.blend, seams left out)."""

import bpy
import hands
from hands import in_view, look, shot


def flow():
    """A ply that locks at the corners, what is proposed, and the ply with it."""
    hands.open_tab()
    mould = next(one for one in bpy.data.objects if len(one.mouldply.plies))
    bpy.context.view_layer.objects.active = mould
    ply = mould.mouldply.plies[0]
    ply.use_seams = False
    mould.mouldply.active_ply = 0
    for curve in [one for one in bpy.data.objects if one.type == "CURVE"]:
        curve.hide_set(True)  # the cuts of the next ply
    yield 2
    in_view(bpy.ops.mouldply.flatten, which="ACTIVE")
    yield 2
    bpy.context.window_manager.mouldply_view.map = "shear_deg"
    close_to(mould)
    yield 4
    shot("guide_7_locks")
    in_view(bpy.ops.mouldply.propose_cuts)
    yield 2
    bpy.context.window_manager.mouldply_view.map = "NONE"
    hands.open_panel("MOULDPLY_PT_cuts")
    close_to(mould)
    yield 4
    shot("guide_8_proposed")
    in_view(bpy.ops.mouldply.accept_cuts)
    yield 1
    in_view(bpy.ops.mouldply.flatten, which="ACTIVE")
    yield 2
    look()
    yield 4
    shot("guide_9_cut")


def close_to(mould):
    """Look at the mould alone."""
    bpy.ops.object.select_all(action="DESELECT")
    mould.select_set(True)
    look(only=True)
