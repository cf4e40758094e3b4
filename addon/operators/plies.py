"""Plies: made from selected faces, ordered, copied, mirrored."""

import bpy

from .. import engine, mesh_data
from ..moulds import need_editable, need_mould, need_ply
from ..props import EnumProperty, FloatProperty, StringProperty
from ..scene_job import FORMAT, need_known
from ..translation import new_name
from .base import EngineOperator, NeedsPly, move_row
from .cloth import need_cloth

SETTINGS = (
    "fabric", "angle_deg", "use_tack", "tack", "method", "use_seams", "use_trim_mm", "trim_mm",
    "use_lap_mm", "lap_mm", "repeat", "rosette",
)  # fmt: skip


def add_ply(mould, name=""):
    """Add a ply at the end of a mould's list and make it the active one."""
    own = mould.mouldply
    ply = own.plies.add()
    ply.id = f"p{own.next_ply}"
    ply.name = name.strip() or letters(own.next_ply)
    own.next_ply += 1
    own.active_ply = len(own.plies) - 1
    return ply


def letters(number):
    """Return A, B ... Z, AA ...: a ply's name, which stays when its place in the list changes.

    Sheets and lists write the place before it: "Ply 2 B".
    """
    name = ""
    while number > 0:
        number, digit = divmod(number - 1, 26)
        name = chr(ord("A") + digit) + name
    return name


def refuse_empty(faces, what):
    """Refuse an empty selection."""
    if not faces.any():
        raise engine.load("errors").InputError(
            f"No faces are selected for {what}.",
            "Select faces in edit mode (hidden ones do not count), then try again.",
        )


class MOULDPLY_OT_new_ply(EngineOperator, bpy.types.Operator):
    """Make a ply of the selected faces, laid last"""

    bl_idname = "mouldply.new_ply"
    bl_label = "New Ply"
    bl_options = {"REGISTER", "UNDO"}

    name: StringProperty(name="Name", description="Of the ply; empty: a letter")
    angle: FloatProperty(
        name="Fibre Angle", subtype="ANGLE", soft_min=-3.15, soft_max=3.15,
        description="Of the warp, counter-clockwise from the rosette's 0 degrees",
    )  # fmt: skip

    @classmethod
    def poll(cls, context):
        """Need a mesh."""
        if context.object is None or context.object.type != "MESH":
            cls.poll_message_set("Select the mould: a mesh")
            return False
        return True

    def run(self, context):
        """Store the selection as the region of a new ply."""
        mould = context.object
        if mould.mouldply.owner is not None:
            raise engine.load("errors").InputError(
                f"'{mould.name}' is a pattern of '{mould.mouldply.owner.name}'.",
                "Select the mould itself.",
            )
        need_editable(mould)
        need_known(mould)
        with mesh_data.object_mode(mould):
            faces = mesh_data.selected_faces(mould.data)
            refuse_empty(faces, "the ply")
            cloth = need_cloth(context.scene)
            mould.mouldply.is_mould, mould.mouldply.format = True, FORMAT
            ply = add_ply(mould, self.name)
            mesh_data.write_region(mould.data, ply.id, faces)
        ply.fabric = cloth.id
        ply.angle = self.angle
        self.tell(f"'{ply.name}' on {int(faces.sum())} faces")


class MOULDPLY_OT_change_faces(NeedsPly, EngineOperator, bpy.types.Operator):
    """Change the active ply's faces with the selection"""

    bl_idname = "mouldply.change_faces"
    bl_label = "Change Faces"
    bl_options = {"REGISTER", "UNDO"}

    how: EnumProperty(
        name="How",
        items=[
            ("SET", "Set", "Exactly the selected faces"),
            ("ADD", "Add", "The selected faces too"),
            ("TAKE", "Take Out", "Without the selected faces"),
        ],
    )

    @classmethod
    def description(cls, context, properties):
        """Say what this button does."""
        return {
            "SET": "Give the active ply exactly the selected faces",
            "ADD": "Add the selected faces to the active ply",
            "TAKE": "Take the selected faces out of the active ply",
        }[properties.how]

    def run(self, context):
        """Rewrite the region."""
        mould = need_mould(context)
        ply = need_ply(mould)
        need_editable(mould)
        with mesh_data.object_mode(mould):
            chosen = mesh_data.selected_faces(mould.data)
            refuse_empty(chosen, f"ply '{ply.name}'")
            old = mesh_data.face_values(mould.data, mesh_data.region_attribute(ply.id))
            new = {"SET": chosen, "ADD": old | chosen, "TAKE": old & ~chosen}[self.how]
            if not new.any():
                raise engine.load("errors").InputError(
                    f"Ply '{ply.name}' would have no faces left.", "Remove the ply instead."
                )
            mesh_data.write_region(mould.data, ply.id, new)


class MOULDPLY_OT_select_ply(NeedsPly, EngineOperator, bpy.types.Operator):
    """Select the active ply's faces on the mould"""

    bl_idname = "mouldply.select_ply"
    bl_label = "Select Faces"
    bl_options = {"REGISTER", "UNDO"}

    def run(self, context):
        """Select them; in object mode say where that is seen."""
        mould = need_mould(context)
        ply = need_ply(mould)
        with mesh_data.object_mode(mould):
            faces = mesh_data.face_values(mould.data, mesh_data.region_attribute(ply.id))
            mesh_data.select_polygons(mould.data, faces)
        if mould.mode == "OBJECT":
            self.tell(
                f"{int(faces.sum())} faces of '{ply.name}' are selected: press Tab to see them"
            )


class MOULDPLY_OT_remove_ply(NeedsPly, EngineOperator, bpy.types.Operator):
    """Remove the active ply"""

    bl_idname = "mouldply.remove_ply"
    bl_label = "Remove Ply"
    bl_options = {"REGISTER", "UNDO"}

    def run(self, context):
        """Remove the ply and its region."""
        mould = need_mould(context)
        need_editable(mould)
        own, ply = mould.mouldply, need_ply(mould)
        with mesh_data.object_mode(mould):
            attribute = mould.data.attributes.get(mesh_data.region_attribute(ply.id))
            if attribute is not None:
                mould.data.attributes.remove(attribute)
        number = min(own.active_ply, len(own.plies) - 1)
        own.plies.remove(number)
        own.active_ply = max(0, number - 1)


class MOULDPLY_OT_move_ply(NeedsPly, EngineOperator, bpy.types.Operator):
    """Lay the active ply earlier or later"""

    bl_idname = "mouldply.move_ply"
    bl_label = "Move Ply"
    bl_options = {"REGISTER", "UNDO"}

    by: EnumProperty(
        name="Where", items=[("UP", "Earlier", "Nearer the tool"), ("DOWN", "Later", "Above")]
    )

    def run(self, context):
        """Swap it with its neighbour."""
        own = need_mould(context).mouldply
        here = min(own.active_ply, len(own.plies) - 1)
        own.active_ply = move_row(own.plies, here, self.by)


class MOULDPLY_OT_copy_ply(NeedsPly, EngineOperator, bpy.types.Operator):
    """Lay a copy of the active ply on top of it"""

    bl_idname = "mouldply.copy_ply"
    bl_label = "Copy Ply"
    bl_options = {"REGISTER", "UNDO"}

    turn: FloatProperty(
        name="Turn By", description="Added to the fibre angle of the copy", subtype="ANGLE"
    )

    def run(self, context):
        """Copy settings and faces, next in the order."""
        mould = need_mould(context)
        need_editable(mould)
        own, number = mould.mouldply, mould.mouldply.active_ply
        need_ply(mould)
        with mesh_data.object_mode(mould):
            copy, old = add_ply(mould), own.plies[number]
            for setting in SETTINGS:
                setattr(copy, setting, getattr(old, setting))
            if old.name not in {letters(n) for n in range(1, own.next_ply)}:  # it has a name
                copy.name = new_name("{}, copy", old.name)
            copy.angle += self.turn
            faces = mesh_data.face_values(mould.data, mesh_data.region_attribute(old.id))
            mesh_data.write_region(mould.data, copy.id, faces)
        own.plies.move(len(own.plies) - 1, number + 1)
        own.active_ply = number + 1


CLASSES = (
    MOULDPLY_OT_new_ply, MOULDPLY_OT_change_faces, MOULDPLY_OT_select_ply,
    MOULDPLY_OT_remove_ply, MOULDPLY_OT_move_ply, MOULDPLY_OT_copy_ply,
)  # fmt: skip
