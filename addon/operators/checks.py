"""Findings: worked out for the mould alone, and shown where they are."""

from itertools import product

import bpy
from mathutils import Vector

from .. import bridge, engine, looking, work
from ..apply import find_patterns, numbers_of
from ..moulds import need_mould
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
    """Select the faces this is about and look at them"""

    bl_idname = "mouldply.show_finding"
    bl_label = "Show on the Mould"
    bl_options = {"REGISTER", "UNDO"}

    def run(self, context):
        """Select, make the ply the selected one, and zoom where there is a view."""
        mould = need_mould(context)
        home = find_patterns(mould)
        error = engine.load("errors").InputError
        if home is None or not home.mouldply.findings:
            raise error("There are no findings.", "Press Flatten All first.")
        results = home.mouldply
        finding = results.findings[min(results.active_finding, len(results.findings) - 1)]
        for number, ply in enumerate(mould.mouldply.plies):
            if ply.id == finding.ply_id:
                mould.mouldply.active_ply = number
        if not finding.faces:
            raise error("This finding is about the whole part.", "Read the hint.")
        for thing in context.selected_objects:
            thing.select_set(False)
        mould.hide_set(False)
        mould.select_set(True)
        context.view_layer.objects.active = mould
        bridge.select_faces(mould, context, numbers_of(finding.faces))
        if bpy.app.background:
            return
        corners = _corners(mould)
        if mould.mode == "EDIT":
            bpy.ops.mesh.select_mode(type="FACE")
        else:  # chosen before the mode: its operator walks over the whole mesh again
            context.tool_settings.mesh_select_mode = (False, False, True)
            bpy.ops.object.mode_set(mode="EDIT")
        if corners and context.area is not None and context.area.type == "VIEW_3D":
            looking.at(context.area.spaces.active.region_3d, corners)


def _corners(mould):
    """Return the world's corners of the box round the selected vertices; read before edit mode."""
    import numpy as np

    vertices = mould.data.vertices
    points, chosen = np.empty(3 * len(vertices), np.float32), np.empty(len(vertices), bool)
    vertices.foreach_get("co", points)  # in edit mode the attributes are out of reach
    vertices.foreach_get("select", chosen)
    axes = points.reshape(-1, 3)[chosen].T
    if not axes.size:
        return []
    ends = [(float(axis.min()), float(axis.max())) for axis in axes]
    return [mould.matrix_world @ Vector(corner) for corner in product(*ends)]


CLASSES = (MOULDPLY_OT_check_mould, MOULDPLY_OT_show_finding)
