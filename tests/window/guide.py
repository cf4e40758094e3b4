"""The guide's pictures, on the kayak hatch cover (--blend blend_samples/hatch_cover.blend)."""

import bpy
import hands
from hands import in_view, look, shot


def flow():
    """One picture a step."""
    hands.open_tab()
    look(only=True)
    yield 4
    shot("guide_1_mould")
    in_view(bpy.ops.mouldply.select_ply)
    in_view(bpy.ops.object.mode_set, mode="EDIT")
    in_view(bpy.ops.mesh.select_mode, type="FACE")
    yield 2
    shot("guide_2_faces")
    in_view(bpy.ops.object.mode_set, mode="OBJECT")
    in_view(bpy.ops.mouldply.flatten, which="ALL")
    yield 4
    look()
    yield 4
    shot("guide_3_patterns")
    bpy.context.window_manager.mouldply_view.map = "shear_deg"
    look(only=True)
    yield 4
    shot("guide_4_shear")
    bpy.context.window_manager.mouldply_view.map = "NONE"
    in_view(bpy.ops.mouldply.nest)
    yield 4
    in_view(bpy.ops.mouldply.show_roll)
    yield 4
    hands.area().spaces.active.region_3d.view_distance *= 0.85  # the roll fills the view
    yield 2
    shot("guide_5_roll")
