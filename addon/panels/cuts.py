"""Cuts: marked seams, drawn cuts, proposals."""

import bpy

from ..curves import cuts_of
from ..moulds import find_mould
from ..said import said
from .parts import ClosedSection, paragraph, say, tidy
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
            row.operator("mesh.mark_seam", text=say("Mark Seam")).clear = False
            row.operator("mesh.mark_seam", text=say("Clear Seam")).clear = True
        else:
            paragraph(
                layout, context, "In edit mode, select edges and mark them as seam to cut there."
            )
        curves = cuts_of(mould, ply.id)
        for curve in curves:
            _draw_cut(layout.box(), context, curve)
        if any(curve.mouldply.cut.proposed for curve in curves):
            row = layout.row(align=True)
            row.operator("mouldply.accept_cuts", text=say("Accept All")).cut = ""
            row.operator("mouldply.refuse_cuts", text=say("Refuse All"))
        row = layout.row(align=True)
        row.operator("mouldply.draw_cut")
        row.operator("mouldply.propose_cuts")


def _draw_cut(box, context, curve):
    """Draw a cut's settings, or what a proposal would gain."""
    own = curve.mouldply.cut
    row = box.row()
    row.label(text=curve.name, translate=False, icon="QUESTION" if own.proposed else "NONE")
    if own.proposed:
        row.operator("mouldply.accept_cuts", text="", icon="CHECKMARK").cut = curve.name
    row.operator("mouldply.remove_cut", text="", icon="X").cut = curve.name
    if own.proposed:
        paragraph(box, context, said(own.gain))
        return
    row = box.row(align=True)
    row.prop(own, "kind", text="")
    row.prop(own, "joint", text="")
    if own.joint == "lap":
        row = box.row(align=True)
        row.prop(own, "lap", text="")
        row.prop(own, "under", text="")


CLASSES = (MOULDPLY_PT_cuts,)
