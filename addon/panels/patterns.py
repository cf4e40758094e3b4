"""Patterns: flatten, numbers of the selected ply, what is drawn on the mould."""

import bpy

from ..apply import find_patterns
from ..moulds import find_mould
from .parts import MouldSection, facts, say, tidy
from .plies import active_ply


class MOULDPLY_PT_patterns(MouldSection, bpy.types.Panel):
    """Flat patterns."""

    bl_label = "Patterns"
    bl_order = 6

    @classmethod
    def poll(cls, context):
        """Need a ply."""
        mould = find_mould(context)
        return mould is not None and len(mould.mouldply.plies) > 0

    def draw(self, context):
        """Draw the buttons and the selected ply's numbers."""
        layout, mould = self.layout, find_mould(context)
        row = layout.row(align=True)
        row.operator("mouldply.flatten", text=say("Flatten This Ply")).which = "ACTIVE"
        row.operator("mouldply.flatten", text=say("Flatten All")).which = "ALL"
        home, ply = find_patterns(mould), active_ply(context)
        pieces = [
            thing.mouldply.piece
            for thing in (home.objects if home else ())
            if thing.mouldply.piece.is_pattern and thing.mouldply.ply_id == ply.id
        ]
        if not pieces:
            return
        worst = max(pieces, key=lambda piece: piece.max_shear_deg)
        locked = max(piece.locked_share for piece in pieces)
        facts(layout, [
            ("Pieces", f"{len(pieces)}"),
            ("Cloth to Cut", area(context.scene, sum(piece.cut_area_mm2 for piece in pieces))),
            ("Largest Shear", f"{worst.max_shear_deg:.1f}°"),
            ("Will Not Lie Down", f"{100 * locked:.2f} %"),
        ])  # fmt: skip


class MOULDPLY_PT_view(MouldSection, bpy.types.Panel):
    """What is drawn on the mould."""

    bl_label = "On the Mould"
    bl_parent_id = "MOULDPLY_PT_patterns"

    def draw(self, context):
        """Draw the map menu and the switches."""
        shown = context.window_manager.mouldply_view
        column = tidy(self.layout)
        column.prop(shown, "map")
        column.prop(shown, "outlines")
        column.prop(shown, "threads")
        if shown.threads:
            column.prop(shown, "spacing")


def area(scene, mm2):
    """Return an area as text."""
    if scene.unit_settings.system == "IMPERIAL":
        return f"{mm2 / 25.4**2:.0f} in²"
    return f"{mm2 / 1e6:.3f} m²"


CLASSES = (MOULDPLY_PT_patterns, MOULDPLY_PT_view)
