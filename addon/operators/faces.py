"""The active ply's faces: grown, shrunk, filled up to sharp edges, painted."""

import bpy

from .. import engine, mesh_data
from ..moulds import need_editable, need_mould, need_ply
from ..neighbours import Neighbours
from ..props import FloatProperty, IntProperty
from .base import EngineOperator, NeedsPly


class MOULDPLY_OT_grow_faces(NeedsPly, EngineOperator, bpy.types.Operator):
    """Move the rim of the active ply by rows of faces"""

    bl_idname = "mouldply.grow_faces"
    bl_label = "Grow Faces"
    bl_options = {"REGISTER", "UNDO"}

    by: IntProperty(
        name="Rows", description="Rows of faces outwards; below zero inwards", default=1, min=-100,
        max=100,
    )  # fmt: skip

    @classmethod
    def description(cls, context, properties):
        """Say what this button does."""
        if properties.by < 0:
            return "Take the outermost row of faces out of the active ply"
        return "Add the next row of faces to the active ply"

    def run(self, context):
        """Grow or shrink on the mould's own faces."""
        change_region(context, lambda beside, region: _moved(beside, region, self.by))


class MOULDPLY_OT_fill_faces(NeedsPly, EngineOperator, bpy.types.Operator):
    """Spread the active ply over all faces it reaches without crossing a sharp edge or a seam"""

    bl_idname = "mouldply.fill_faces"
    bl_label = "Fill up to Edges"
    bl_options = {"REGISTER", "UNDO"}

    angle: FloatProperty(
        name="Sharp From", description="An edge is sharp where its faces turn by more than this",
        default=0.5236, min=0, max=3.1416, subtype="ANGLE",
    )  # fmt: skip

    def run(self, context):
        """Spread from every face of the ply."""
        turn = need_mould(context).matrix_world
        change_region(context, lambda beside, region: beside.filled(region, self.angle, turn))


def change_region(context, change):
    """Apply `change(neighbours, region) -> region` to the active ply's own faces."""
    mould = need_mould(context)
    ply = need_ply(mould)
    need_editable(mould)
    with mesh_data.object_mode(mould):
        name = mesh_data.region_attribute(ply.id)
        region = mesh_data.face_values(mould.data, name)
        error = engine.load("errors").InputError
        if not region.any():
            raise error(f"Ply '{ply.name}' has no faces.", "Select its faces and set them.")
        changed = change(Neighbours(mould.data), region)
        if not changed.any():
            raise error(f"Ply '{ply.name}' would have no faces left.", "Shrink it by less.")
        mesh_data.write_region(mould.data, ply.id, changed)


def _moved(beside, region, rows):
    return beside.shrunk(region, -rows) if rows < 0 else beside.grown(region, rows)


CLASSES = (MOULDPLY_OT_grow_faces, MOULDPLY_OT_fill_faces)
