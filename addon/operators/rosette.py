"""The rosette: arrows in the scene that the normal tools turn."""

import bpy

from .. import bridge
from ..moulds import need_mould
from ..rosettes import default_rosette
from ..translation import new_name
from .base import EngineOperator, NeedsMould

SIZE_SHARE = 0.15  # of the mould's size


class MOULDPLY_OT_add_rosette(NeedsMould, EngineOperator, bpy.types.Operator):
    """Add and select arrows for the fibre angles: X is 0 degrees, Z points to you; turn them"""

    bl_idname = "mouldply.add_rosette"
    bl_label = "Add Rosette"
    bl_options = {"REGISTER", "UNDO"}

    def run(self, context):
        """Stand it where the default rosette is, or take the one there is; select it to turn it."""
        mould = need_mould(context)
        own = mould.mouldply
        if own.rosette is None or own.rosette.name not in context.scene.objects:
            own.rosette = _new_rosette(context, mould)
        if context.mode != "OBJECT":
            bpy.ops.object.mode_set(mode="OBJECT")
        for other in context.selected_objects:
            other.select_set(False)
        if own.rosette.name not in context.view_layer.objects:  # its collection is left out of it
            return
        own.rosette.hide_set(False)
        own.rosette.select_set(True)
        context.view_layer.objects.active = own.rosette


def _new_rosette(context, mould):
    """Return arrows where the mould's plies take their angles from while it has none."""
    read = bridge.read_mould(mould, context.scene, context.evaluated_depsgraph_get())
    given = default_rosette(read)
    arrows = bpy.data.objects.new(new_name("Rosette of {}", mould.name), None)
    context.collection.objects.link(arrows)
    arrows.empty_display_type = "ARROWS"
    arrows.empty_display_size = SIZE_SHARE * max(mould.dimensions)
    arrows.matrix_world = bridge.frame_to_world(context.scene, given)
    arrows.mouldply.owner = mould
    arrows.show_in_front = True
    return arrows


CLASSES = (MOULDPLY_OT_add_rosette,)
