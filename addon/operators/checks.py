"""Findings: worked out for the mould alone, and shown where they are."""

import bpy

from .. import bridge, engine, looking, work
from ..apply import find_patterns, numbers_of
from ..moulds import need_mould
from ..props import IntProperty
from .base import EngineOperator, NeedsMould, NeedsPly


class MOULDPLY_OT_check_mould(NeedsPly, EngineOperator, bpy.types.Operator):
    """Check draft, layer lines, corners, walls and reach, and drape every ply"""

    bl_idname = "mouldply.check_mould"
    bl_label = "Check Mould"
    bl_options = {"REGISTER"}

    def run(self, context):
        """Run the job as far as the patterns: the checks are part of it."""
        work.begin(context, need_mould(context), "Check Mould", upto="patterns")


class MOULDPLY_OT_show_finding(NeedsMould, EngineOperator, bpy.types.Operator):
    """Light and select the faces this is about and look at them"""

    bl_idname = "mouldply.show_finding"
    bl_label = "Show on the Mould"
    bl_options = {"REGISTER", "UNDO"}

    number: IntProperty(
        name="Finding", description="Its place in the list, from 0; -1: the selected one",
        default=-1, min=-1, options={"SKIP_SAVE"},
    )  # fmt: skip

    def run(self, context):
        """Select, make the ply the selected one, and zoom where there is a view."""
        mould = need_mould(context)
        home = find_patterns(mould)
        error = engine.load("errors").InputError
        if home is None or not home.mouldply.findings:
            raise error("There are no findings.", "Press Flatten All first.")
        results = home.mouldply
        number = results.active_finding if self.number < 0 else self.number
        number = min(number, len(results.findings) - 1)
        finding = results.findings[number]
        if not finding.faces:
            raise error("This finding is about the whole part.", "Read the hint.")
        if context.mode != "OBJECT":  # where the lit faces are drawn
            bpy.ops.object.mode_set(mode="OBJECT")
        _choose_ply(mould, finding.ply_id)
        for thing in context.selected_objects:
            thing.select_set(False)
        mould.hide_set(False)
        mould.select_set(True)
        context.view_layer.objects.active = mould
        triangles = numbers_of(finding.faces)
        bridge.select_faces(mould, context, triangles)
        results.active_finding = results.lit = number
        if context.area is not None and context.area.type == "VIEW_3D":
            faces = bridge.corners_of(mould, context, triangles)
            if len(faces):
                looking.at(context.area, in_world(mould, faces))


class MOULDPLY_OT_hide_finding(NeedsMould, EngineOperator, bpy.types.Operator):
    """Light no faces of the mould any more"""

    bl_idname = "mouldply.hide_finding"
    bl_label = "Hide Finding"
    bl_options = {"REGISTER", "UNDO"}

    def run(self, context):
        """Forget which finding is shown."""
        home = find_patterns(need_mould(context))
        if home is not None:
            home.mouldply.lit = -1


def _choose_ply(mould, ply_id):
    """Make a ply the selected one, unless it is: that would select its patterns again."""
    for number, ply in enumerate(mould.mouldply.plies):
        if ply.id == ply_id and mould.mouldply.active_ply != number:
            mould.mouldply.active_ply = number


def in_world(mould, corners):
    """Return (n, 3) the corners of (k, 3, 3) triangles of a mould's own space, in the world."""
    import numpy as np

    matrix = np.array(mould.matrix_world)
    return corners.reshape(-1, 3) @ matrix[:3, :3].T + matrix[:3, 3]


CLASSES = (MOULDPLY_OT_check_mould, MOULDPLY_OT_show_finding, MOULDPLY_OT_hide_finding)
