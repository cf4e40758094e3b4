"""Cuts: marked seams, drawn cuts, proposals."""

import bpy

from ..moulds import find_mould
from .parts import ClosedSection, paragraph, tidy
from .plies import active_ply


class MOULDPLY_PT_cuts(ClosedSection, bpy.types.Panel):
    """Where the ply is cut so that it lies down."""

    bl_label = "Cuts and Proposals"
    bl_order = 5

    @classmethod
    def poll(cls, context):
        """Need a ply."""
        mould = find_mould(context)
        return mould is not None and len(mould.mouldply.plies) > 0

    def draw(self, context):
        """Draw the seams' switch, the drawn cuts and the proposals."""
        layout, mould, ply = self.layout, find_mould(context), active_ply(context)
        tidy(layout).prop(ply, "use_seams")
        if mould.mode == "EDIT":
            row = layout.row(align=True)
            row.operator("mesh.mark_seam", text="Mark Seam").clear = False
            row.operator("mesh.mark_seam", text="Clear Seam").clear = True
        else:
            paragraph(
                layout, context, "In edit mode, select edges and mark them as seam to cut there."
            )
        for curve in mould.children:
            own = curve.mouldply
            if own.cut.is_cut and own.ply_id == ply.id:
                box = layout.box()
                row = box.row()
                row.label(text=curve.name, translate=False)
                row.operator(
                    "mouldply.remove_cut", text="", icon="X", emboss=False
                ).cut = curve.name
                column = tidy(box)
                column.prop(own.cut, "kind")
                column.prop(own.cut, "joint")
                if own.cut.joint == "lap":
                    column.prop(own.cut, "lap")
                    column.prop(own.cut, "under")
        row = layout.row(align=True)
        row.operator("mouldply.draw_cut")
        row.operator("mouldply.propose_cuts")


CLASSES = (MOULDPLY_PT_cuts,)
