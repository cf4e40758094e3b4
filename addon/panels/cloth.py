"""Cloth and stock of the file."""

import bpy

from .. import engine
from ..properties import words
from .parts import ClosedSection, MouldSection, optional, say, tidy


class MOULDPLY_UL_cloths(bpy.types.UIList):
    """Cloths of the file."""

    def draw_item(self, context, layout, data, item, icon, active_data, active_property):
        """Draw name and weight."""
        row = layout.row(align=True)
        row.prop(item, "name", text="", emboss=False)
        right = row.row()
        right.alignment = "RIGHT"
        right.label(text=f"{item.areal_weight_gsm:.0f} g/m²", translate=False)


class MOULDPLY_PT_cloth(MouldSection, bpy.types.Panel):
    """Cloths, and the rolls of the active one."""

    bl_label = "Cloth and Stock"
    bl_order = 2
    bl_options = {"DEFAULT_CLOSED"}

    def draw(self, context):
        """Draw the list, then the rolls."""
        layout, kept = self.layout, context.scene.mouldply
        row = layout.row()
        row.template_list("MOULDPLY_UL_cloths", "", kept, "cloths", kept, "active_cloth", rows=3)
        side = row.column(align=True)
        side.operator("mouldply.add_cloth", text="", icon="ADD")
        side.operator("mouldply.remove_cloth", text="", icon="REMOVE")
        side.separator()
        side.operator("mouldply.duplicate_cloth", text="", icon="DUPLICATE")
        cloth = active_cloth(kept)
        if cloth is None:
            return
        for number, roll in enumerate(kept.rolls):
            if roll.fabric != cloth.id:
                continue
            box = layout.box()
            top = box.row()
            top.prop(roll, "name", text="", emboss=False)
            top.operator("mouldply.remove_roll", text="", icon="X", emboss=False).number = number
            column = tidy(box)
            column.prop(roll, "width")
            column.prop(roll, "endless")
            if not roll.endless:
                column.prop(roll, "length")
            column.prop(roll, "selvedge")
            column.prop(roll, "price_per_m")
            _draw_flaws(box, roll, number)
        layout.operator("mouldply.add_roll", icon="ADD")


class MOULDPLY_PT_cloth_values(ClosedSection, bpy.types.Panel):
    """Every value of the active cloth."""

    bl_label = "Values of the Cloth"
    bl_parent_id = "MOULDPLY_PT_cloth"

    def draw(self, context):
        """Draw the fields of the cloth's kind."""
        cloth = active_cloth(context.scene.mouldply)
        if cloth is None:
            return
        column = tidy(self.layout)
        for field in engine.load("cloth.fabric").Fabric.__dataclass_fields__:
            if field not in words.CLOTH:
                continue
            if field == "fibre_angles_deg":  # several angles: kept and shown as text
                column.prop(cloth, field)
            elif f"use_{field}" in cloth.bl_rna.properties:
                optional(column, cloth, field)
            else:
                column.prop(cloth, field.removesuffix("_mm").removesuffix("_deg"))
        self.layout.operator("mouldply.keep_cloth", icon="ASSET_MANAGER")


class MOULDPLY_PT_offcuts(ClosedSection, bpy.types.Panel):
    """Remnants of the active cloth."""

    bl_label = "Offcuts"
    bl_parent_id = "MOULDPLY_PT_cloth"

    def draw(self, context):
        """Draw each remnant with its switch."""
        layout, kept = self.layout, context.scene.mouldply
        cloth = active_cloth(kept)
        mine = [(n, o) for n, o in enumerate(kept.offcuts) if cloth and o.fabric == cloth.id]
        if not mine:
            layout.label(text=say("None of this cloth"))
        for number, offcut in mine:
            box = layout.box()
            row = box.row(align=True)
            row.prop(offcut, "used", text="")
            row.prop(offcut, "name", text="")
            row.operator("mouldply.remove_offcut", text="", icon="X").number = number
            row = box.row(align=True)
            row.prop(offcut, "length", text="")
            row.prop(offcut, "width", text="")
        layout.operator("mouldply.add_offcut", icon="ADD")


def _draw_flaws(box, roll, number):
    """Draw the places of a roll that pieces are kept off."""
    for place, flaw in enumerate(roll.defects):
        row = box.row()
        row.label(text=say("Flaw {}").format(place + 1), translate=False)
        remove = row.operator("mouldply.remove_defect", text="", icon="X", emboss=False)
        remove.roll, remove.number = number, place
        column = tidy(box)
        for name in ("x", "y", "radius"):
            column.prop(flaw, name)
    box.operator("mouldply.add_defect", icon="ADD").roll = number


def active_cloth(kept):
    """Return the file's active cloth, None without any."""
    return kept.cloths[min(kept.active_cloth, len(kept.cloths) - 1)] if kept.cloths else None


CLASSES = (
    MOULDPLY_UL_cloths, MOULDPLY_PT_cloth, MOULDPLY_PT_cloth_values, MOULDPLY_PT_offcuts,
)  # fmt: skip
