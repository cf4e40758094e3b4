"""Coats: layers of resin without cloth, under or over the laminate."""

import bpy

from ..props import IntProperty
from .base import EngineOperator


class MOULDPLY_OT_add_coat(EngineOperator, bpy.types.Operator):
    """Add a coat of resin over the whole part: gel coat, surface coat or flow coat"""

    bl_idname = "mouldply.add_coat"
    bl_label = "Add Coat"
    bl_options = {"REGISTER", "UNDO"}

    def run(self, context):
        """Add a gel coat."""
        context.scene.mouldply.coats.add()


class MOULDPLY_OT_remove_coat(EngineOperator, bpy.types.Operator):
    """Leave this coat out"""

    bl_idname = "mouldply.remove_coat"
    bl_label = "Remove Coat"
    bl_options = {"REGISTER", "UNDO"}

    number: IntProperty(name="Number", description="Place in the list", min=0)

    def run(self, context):
        """Remove it."""
        coats = context.scene.mouldply.coats
        if self.number < len(coats):
            coats.remove(self.number)


CLASSES = (MOULDPLY_OT_add_coat, MOULDPLY_OT_remove_coat)
