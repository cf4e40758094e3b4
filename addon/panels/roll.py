"""The roll: nest, and what it takes."""

import json

import bpy

from ..apply import find_patterns
from ..moulds import find_mould
from .parts import ClosedSection, MouldSection, facts, length, tidy


class MOULDPLY_PT_roll(MouldSection, bpy.types.Panel):
    """Patterns on the roll."""

    bl_label = "Roll"
    bl_order = 8

    @classmethod
    def poll(cls, context):
        """Need a ply."""
        mould = find_mould(context)
        return mould is not None and len(mould.mouldply.plies) > 0

    def draw(self, context):
        """Draw the button and the account of each cloth."""
        layout, kept = self.layout, context.scene.mouldply
        column = tidy(layout)
        column.prop(kept.nest, "kits")
        column.prop(kept.nest, "seconds")
        layout.operator("mouldply.nest")
        home = find_patterns(find_mould(context))
        if home is None or not home.mouldply.nests:
            return
        names = {cloth.id: cloth.name for cloth in kept.cloths}
        for cloth, nest in json.loads(home.mouldply.nests).items():
            account = nest["account"]
            waste = account["cloth_mm2"] - account["pieces_mm2"] - account["kept_mm2"]
            box = layout.box()
            box.label(text=names.get(cloth, cloth), translate=False)
            rows = [
                ("Roll Length", length(context.scene, account["roll_length_mm"], 0)),
                ("Pieces", f"{100 * account['pieces_mm2'] / account['cloth_mm2']:.0f} %"),
                ("Offcuts Kept", f"{100 * account['kept_mm2'] / account['cloth_mm2']:.0f} %"),
                ("Waste", f"{100 * waste / account['cloth_mm2']:.0f} %"),
            ]
            if account["cost"]:
                rows.append(("Cost", f"{account['cost']:.2f} {kept.rates.currency}"))
            facts(box, rows)
        row = layout.row(align=True)
        row.operator("mouldply.show_roll", icon="SCENE_DATA")
        row.operator("mouldply.book_nest")


class MOULDPLY_PT_nest_settings(ClosedSection, bpy.types.Panel):
    """How the cloth is laid out."""

    bl_label = "Layout"
    bl_parent_id = "MOULDPLY_PT_roll"

    def draw(self, context):
        """Draw the settings."""
        nest, column = context.scene.mouldply.nest, tidy(self.layout)
        for name in ("gap", "turn_tolerance", "mirrored_kits", "turn_over", "common_edges"):
            column.prop(nest, name)


CLASSES = (MOULDPLY_PT_roll, MOULDPLY_PT_nest_settings)
