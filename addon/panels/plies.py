"""Plies in laying order, and the selected one."""

import bpy

from .. import freshness
from ..moulds import find_mould
from ..said import said
from .parts import ClosedSection, MouldSection, optional, paragraph, say, tidy


class MOULDPLY_UL_plies(bpy.types.UIList):
    """Plies, tool side first."""

    def draw_item(self, context, layout, data, item, icon, active_data, active_property, index):
        """Draw number, name, angle and state."""
        known = freshness.known_of(data.id_data, context.scene)
        _, sign = freshness.STATES[known.states.get(item.id, "to_drape")]
        row = layout.row(align=True)
        number = row.row()
        number.ui_units_x = 1.1
        number.label(text=f"{index + 1}", translate=False)
        row.prop(item, "name", text="", emboss=False)
        right = row.row(align=True)
        right.alignment = "RIGHT"
        times = f"{item.repeat}×  " if item.repeat > 1 else ""
        right.label(text=f"{times}{item.angle_deg:g}°", translate=False)
        right.label(text="", icon=sign)


class MOULDPLY_PT_plies(MouldSection, bpy.types.Panel):
    """The stack."""

    bl_label = "Plies"
    bl_order = 3

    def draw(self, context):
        """Draw the list and its buttons."""
        layout, mould = self.layout, find_mould(context)
        own = mould.mouldply
        row = layout.row()
        row.template_list("MOULDPLY_UL_plies", "", own, "plies", own, "active_ply", rows=4)
        side = row.column(align=True)
        side.operator("mouldply.new_ply", text="", icon="ADD")
        side.operator("mouldply.remove_ply", text="", icon="REMOVE")
        side.separator()
        side.operator("mouldply.copy_ply", text="", icon="DUPLICATE")
        side.separator()
        side.operator("mouldply.move_ply", text="", icon="TRIA_UP").by = "UP"
        side.operator("mouldply.move_ply", text="", icon="TRIA_DOWN").by = "DOWN"
        if not own.plies:
            return
        laminate = context.scene.mouldply.laminate
        column = tidy(layout)
        column.prop(laminate, "stack_order")
        row = column.row(align=True)
        row.prop(own, "rosette")
        row.operator("mouldply.add_rosette", text="", icon="ADD")


class MOULDPLY_PT_ply(MouldSection, bpy.types.Panel):
    """The selected ply."""

    bl_label = "Selected Ply"
    bl_order = 4

    @classmethod
    def poll(cls, context):
        """Need a ply."""
        mould = find_mould(context)
        return mould is not None and len(mould.mouldply.plies) > 0

    def draw(self, context):
        """Draw what it is cut from and how it is laid."""
        layout, ply = self.layout, active_ply(context)
        state, sign = freshness.STATES[
            freshness.known_of(find_mould(context), context.scene).states.get(ply.id, "to_drape")
        ]
        layout.label(text=say(state), icon=sign, translate=False)
        column = tidy(layout)
        column.prop(ply, "cloth")
        column.prop(ply, "angle")
        column.prop(ply, "repeat")
        column.prop(ply, "method")
        row = layout.row(align=True)
        row.operator("mouldply.place_tack", icon="PIVOT_CURSOR")
        if ply.use_tack:
            row.operator("mouldply.clear_tack", text="", icon="X")
        layout.operator("mouldply.seek_tack", icon="VIEWZOOM")
        if ply.tack_gain:
            paragraph(layout, context, said(ply.tack_gain))


class MOULDPLY_PT_ply_faces(ClosedSection, bpy.types.Panel):
    """Which faces it covers."""

    bl_label = "Faces"
    bl_parent_id = "MOULDPLY_PT_ply"

    def draw(self, context):
        """Draw the ways to change the region."""
        layout = self.layout
        layout.operator("mouldply.paint_faces", icon="BRUSH_DATA")
        layout.operator("mouldply.select_ply", icon="RESTRICT_SELECT_OFF")
        row = layout.row(align=True)
        for how, text in (("SET", "Set"), ("ADD", "Add"), ("TAKE", "Take Out")):
            row.operator("mouldply.change_faces", text=text).how = how
        row = layout.row(align=True)
        row.operator("mouldply.grow_faces", text=say("Grow")).by = 1
        row.operator("mouldply.grow_faces", text=say("Shrink")).by = -1
        row.operator("mouldply.fill_faces", text=say("Up to Edges"))


class MOULDPLY_PT_ply_allowance(ClosedSection, bpy.types.Panel):
    """Allowances of its own."""

    bl_label = "Allowances"
    bl_parent_id = "MOULDPLY_PT_ply"

    def draw(self, context):
        """Draw the ply's own, then the file's."""
        ply, column = active_ply(context), tidy(self.layout)
        optional(column, ply, "trim_mm")
        optional(column, ply, "lap_mm")
        column.separator()
        dressing = context.scene.mouldply.dressing
        column.label(text=say("All Plies"))
        for name in (
            "trim",
            "corner",
            "trim_on_mould",
            "relieve",
            "patch_gaps",
            "notch_style",
            "notch_every",
            "text",
        ):
            column.prop(dressing, name)


def active_ply(context):
    """Return the selected ply of the mould; there is one."""
    own = find_mould(context).mouldply
    return own.plies[min(own.active_ply, len(own.plies) - 1)]


CLASSES = (
    MOULDPLY_UL_plies, MOULDPLY_PT_plies, MOULDPLY_PT_ply, MOULDPLY_PT_ply_faces,
    MOULDPLY_PT_ply_allowance,
)  # fmt: skip
