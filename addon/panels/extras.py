"""Covers, cores and corner tapes: what is cut besides the plies."""

import bpy

from .. import freshness
from ..moulds import find_mould
from .parts import ClosedSection, paragraph, tidy

SHOWN = {"cover": ("angle", "trim"), "core": ("angle", "bevel"), "corner_tape": ("width",)}


class MOULDPLY_UL_extras(bpy.types.UIList):
    """What is cut besides the plies, in the order its patterns are numbered."""

    def draw_item(self, context, layout, data, item, icon, active_data, active_property):
        """Draw name, kind and state."""
        known = freshness.known_of(data.id_data, context.scene)
        _, sign = freshness.STATES[known.extras.get(item.id, "to_drape")]
        row = layout.row(align=True)
        row.prop(item, "name", text="", emboss=False)
        row.prop(item, "kind", text="", emboss=False)
        row.label(text="", icon=sign)


class MOULDPLY_PT_extras(ClosedSection, bpy.types.Panel):
    """Sheets on top of the plies, cores between them, tapes under them."""

    bl_label = "Covers, Cores and Tapes"
    bl_parent_id = "MOULDPLY_PT_files"

    def draw(self, context):
        """Draw the list, its buttons and the selected one's fields."""
        layout, own = self.layout, find_mould(context).mouldply
        if own.extras:
            row = layout.row()
            row.template_list("MOULDPLY_UL_extras", "", own, "extras", own, "active_extra", rows=3)
            side = row.column(align=True)
            side.operator_menu_enum("mouldply.add_extra", "kind", text="", icon="ADD")
            side.operator("mouldply.remove_extra", text="", icon="REMOVE")
            side.separator()
            side.operator("mouldply.move_extra", text="", icon="TRIA_UP").by = "UP"
            side.operator("mouldply.move_extra", text="", icon="TRIA_DOWN").by = "DOWN"
            extra = own.extras[min(own.active_extra, len(own.extras) - 1)]
            column = tidy(layout)
            for name in ("kind", "cloth", "over", *SHOWN[extra.kind]):
                column.prop(extra, name)
        else:
            paragraph(layout, context, "None: only plies are cut.")
            layout.operator_menu_enum("mouldply.add_extra", "kind", icon="ADD")


CLASSES = (MOULDPLY_UL_extras, MOULDPLY_PT_extras)
