"""Parts of a split mould: made from selected faces, each with its own pull."""

import bpy
from mathutils import Vector

from .. import mesh_data
from ..moulds import find_mould, need_editable, need_mould
from ..props import StringProperty
from ..translation import new_name
from .base import EngineOperator, NeedsMould
from .plies import refuse_empty


class MOULDPLY_OT_new_mould_part(EngineOperator, bpy.types.Operator):
    """Make the selected faces a part of the mould that comes off by itself"""

    bl_idname = "mouldply.new_mould_part"
    bl_label = "New Mould Part"
    bl_options = {"REGISTER", "UNDO"}

    name: StringProperty(name="Name", description="Of the mould part; empty: a number")

    @classmethod
    def poll(cls, context):
        """Need a mould."""
        if find_mould(context) is None:
            cls.poll_message_set("Make a ply first: it tells which object is the mould")
            return False
        return True

    def run(self, context):
        """Store the selection; a face belongs to the part it was given last."""
        mould = need_mould(context)
        need_editable(mould)
        own = mould.mouldply
        with mesh_data.object_mode(mould):
            faces = mesh_data.selected_faces(mould.data)
            refuse_empty(faces, "the mould part")
            for other in own.parts:
                kept = mesh_data.face_values(mould.data, mesh_data.region_attribute(other.id))
                mesh_data.write_region(mould.data, other.id, kept & ~faces)
            part = own.parts.add()
            part.id = f"part{own.next_part}"
            part.name = self.name.strip() or new_name("Part {}", own.next_part)
            own.next_part += 1
            mesh_data.write_region(mould.data, part.id, faces)
        self.tell(f"'{part.name}' on {int(faces.sum())} faces")


class MOULDPLY_OT_remove_mould_part(EngineOperator, bpy.types.Operator):
    """Forget this part of the mould; its faces stay"""

    bl_idname = "mouldply.remove_mould_part"
    bl_label = "Remove Mould Part"
    bl_options = {"REGISTER", "UNDO"}

    part: StringProperty(name="Part", description="Id of the mould part", options={"HIDDEN"})

    def run(self, context):
        """Remove the part and its attribute."""
        mould = need_mould(context)
        need_editable(mould)
        own = mould.mouldply
        number = [part.id for part in own.parts].index(self.part)
        with mesh_data.object_mode(mould):
            attribute = mould.data.attributes.get(mesh_data.region_attribute(self.part))
            if attribute is not None:
                mould.data.attributes.remove(attribute)
        own.parts.remove(number)


class MOULDPLY_OT_pull_from_view(NeedsMould, EngineOperator, bpy.types.Operator):
    """Take the way you look as the pull: the part comes off towards you"""

    bl_idname = "mouldply.pull_from_view"
    bl_label = "From View"
    bl_options = {"REGISTER", "UNDO"}

    part: StringProperty(name="Part", description="Id of the mould part", options={"HIDDEN"})

    @classmethod
    def poll(cls, context):
        """Need a mould and a view to look from."""
        if getattr(context.space_data, "region_3d", None) is None:
            cls.poll_message_set("Press it in a 3D view")
            return False
        return super().poll(context)

    def run(self, context):
        """Set the pull of the mould, or of one part of it, without the rounding of a view."""
        own = need_mould(context).mouldply
        holder = next((part for part in own.parts if part.id == self.part), own)
        towards = context.space_data.region_3d.view_rotation @ Vector((0, 0, 1))
        holder.pull_by, holder.pull = "given", [round(value, 5) + 0.0 for value in towards]


CLASSES = (MOULDPLY_OT_new_mould_part, MOULDPLY_OT_remove_mould_part, MOULDPLY_OT_pull_from_view)
