"""The active ply's faces: grown, shrunk, filled up to sharp edges, painted."""

import bpy

from .. import bridge, engine, mesh_data
from ..moulds import need_editable, need_mould, need_ply
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
        change_region(context, lambda mesh, region: _moved(mesh, region, self.by))


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
        from math import degrees

        change_region(context, lambda mesh, region: _filled(mesh, region, degrees(self.angle)))


def change_region(context, change):
    """Apply `change(mesh, region) -> faces` in triangles of the mould's own mesh."""
    import numpy as np

    mould = need_mould(context)
    ply = need_ply(mould)
    need_editable(mould)
    with mesh_data.object_mode(mould):
        mesh, polygons = bridge.own_mesh(mould, context.scene)
        faces = mesh_data.face_values(mould.data, mesh_data.region_attribute(ply.id))
        region = engine.load("surface.region").Region(ply.name, np.flatnonzero(faces[polygons]))
        touched = np.zeros(len(faces), bool)
        touched[polygons[change(mesh, region)]] = True
        mesh_data.write_region(mould.data, ply.id, touched)


def _moved(mesh, region, rows):
    regions = engine.load("surface.region")
    if rows < 0:
        return regions.shrink(mesh, region, -rows).faces
    return regions.grow(mesh, region, rows).faces


def _filled(mesh, region, angle_deg):
    """Return every face reached from the region, piece by piece."""
    import numpy as np

    spread = engine.load("surface.region").grow_to_sharp_edges
    reached = np.zeros(len(mesh.faces), bool)
    for face in region.faces:
        if not reached[face]:
            reached[spread(mesh, int(face), angle_deg)] = True
    return np.flatnonzero(reached)


CLASSES = (MOULDPLY_OT_grow_faces, MOULDPLY_OT_fill_faces)
