"""The mould: size, how it releases and is printed."""

import bpy

from .. import freshness
from ..moulds import find_mould
from .parts import ClosedSection, MouldSection, facts, paragraph, say, sizes, tidy

SMALLEST_MM, LARGEST_MM = 10.0, 20_000.0


class MOULDPLY_PT_mould(MouldSection, bpy.types.Panel):
    """Size and name."""

    bl_label = "Mould"
    bl_order = 1

    def draw(self, context):
        """Draw name, size and whether that is plausible."""
        layout, mould = self.layout, find_mould(context)
        column = tidy(layout)
        column.prop(mould.mouldply, "part", placeholder=mould.name)
        size = freshness.known_of(mould, context.scene).size_mm
        if max(size) > 0:
            facts(layout, [("Size", sizes(context.scene, size))])
            if not SMALLEST_MM <= max(size) <= LARGEST_MM:
                paragraph(layout, context, "Was the file in mm, or in inches?", icon="ERROR")
                row = layout.row(align=True)
                row.operator("mouldply.rescale", text=say("In mm")).factor = 0.001
                row.operator("mouldply.rescale", text=say("In Inches")).factor = 0.0254


class MOULDPLY_PT_release(ClosedSection, bpy.types.Panel):
    """Pull, print and what the checks look for."""

    bl_label = "Release and Print"
    bl_parent_id = "MOULDPLY_PT_mould"

    def draw(self, context):
        """Draw the settings and the button."""
        mould = find_mould(context)
        own, column = mould.mouldply, tidy(self.layout)
        column.prop(own, "pull_by")
        if own.pull_by == "given":
            column.prop(own, "pull")
            column.operator("mouldply.pull_from_view", icon="VIEW_CAMERA")
        column.prop(own, "min_draft")
        column.prop(own, "ray_test")
        column.separator()
        column.prop(own, "build")
        column.prop(own, "layer_height")
        column.prop(own, "bead_share")
        column.prop(own, "overhang")
        column.separator()
        for name in ("cloth_radius", "wall_min", "brush", "roller"):
            column.prop(own, name)
        self.layout.operator("mouldply.check_mould")


class MOULDPLY_PT_mould_parts(ClosedSection, bpy.types.Panel):
    """A mould that comes apart."""

    bl_label = "Mould Parts"
    bl_parent_id = "MOULDPLY_PT_mould"

    def draw(self, context):
        """Draw each part with its pull."""
        layout, own = self.layout, find_mould(context).mouldply
        if not own.parts:
            paragraph(layout, context, "In one piece. For a split mould, select each part's faces.")
        for part in own.parts:
            box = layout.box()
            row = box.row(align=True)
            row.prop(part, "name", text="")
            row.operator("mouldply.remove_mould_part", text="", icon="X").part = part.id
            column = tidy(box)
            column.prop(part, "pull_by")
            if part.pull_by == "given":
                column.prop(part, "pull")
                view = column.operator("mouldply.pull_from_view", icon="VIEW_CAMERA")
                view.part = part.id
        layout.operator("mouldply.new_mould_part", icon="ADD")


CLASSES = (MOULDPLY_PT_mould, MOULDPLY_PT_release, MOULDPLY_PT_mould_parts)
