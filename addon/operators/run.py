"""Flatten, nest, export: the engine's work started from a button."""

from pathlib import Path

import bpy

from .. import engine, freshness, maps, overlays, work
from ..moulds import need_mould, need_ply
from ..props import EnumProperty, StringProperty
from .base import EngineOperator, NeedsPly


class MOULDPLY_OT_flatten(NeedsPly, EngineOperator, bpy.types.Operator):
    """Drape the cloth over the mould and lay the patterns flat beside it"""

    bl_idname = "mouldply.flatten"
    bl_label = "Flatten"
    bl_options = {"REGISTER"}  # the undo step is the result's

    which: EnumProperty(
        name="Plies",
        items=[
            ("ALL", "All Plies", "The whole stack, with weights and mould checks"),
            ("ACTIVE", "Active Ply", "Only the active ply: quicker"),
        ],
    )

    def run(self, context):
        """Start the drape."""
        mould = need_mould(context)
        ply = need_ply(mould)
        if self.which == "ACTIVE":
            work.begin(context, mould, "Flatten", plies=(ply.id,))
        else:
            work.begin(context, mould, "Flatten", upto="patterns")


class MOULDPLY_OT_nest(NeedsPly, EngineOperator, bpy.types.Operator):
    """Lay all patterns on the roll so that little cloth is wasted"""

    bl_idname = "mouldply.nest"
    bl_label = "Nest"
    bl_options = {"REGISTER"}

    def run(self, context):
        """Start the nest."""
        work.begin(context, need_mould(context), "Nest", upto="nest")


class MOULDPLY_OT_export(NeedsPly, EngineOperator, bpy.types.Operator):
    """Write cutter files, paper templates, lay-up sheet and lists into a folder"""

    bl_idname = "mouldply.export"
    bl_label = "Write Files"
    bl_options = {"REGISTER"}

    directory: StringProperty(
        name="Folder", description="Where the files go", subtype="DIR_PATH"
    )  # fmt: skip

    def invoke(self, context, event):
        """Offer a folder beside the .blend."""
        self.directory = self.directory or default_folder(need_mould(context))
        context.window_manager.fileselect_add(self)
        return {"RUNNING_MODAL"}

    def run(self, context):
        """Start the whole job."""
        mould = need_mould(context)
        folder = bpy.path.abspath(self.directory) if self.directory else default_folder(mould)
        if not folder:
            raise engine.load("errors").InputError(
                "The file has not been saved, so there is no folder beside it.",
                "Save it, or choose a folder.",
            )
        work.begin(context, mould, "Write Files", upto="nest", files=str(Path(folder)))


class MOULDPLY_OT_apply_result(bpy.types.Operator):
    """Write the finished result into the file"""

    bl_idname = "mouldply.apply_result"
    bl_label = "Apply Flattened Plies"
    bl_options = {"INTERNAL", "UNDO"}

    def execute(self, context):
        """Show what has come."""
        errand = work.DESK.finished
        mould = None if errand is None else work.find_errand_mould(errand)
        if mould is None:
            return {"CANCELLED"}
        overlays.drop_preview()
        freshness.note_now(mould, bpy.data.scenes.get(errand.scene) or context.scene)
        maps.refresh(context)
        return {"FINISHED"}


class MOULDPLY_OT_stop(bpy.types.Operator):
    """Stop the work under way; a nest keeps its best layout so far"""

    bl_idname = "mouldply.stop"
    bl_label = "Stop"
    bl_options = {"INTERNAL"}

    def execute(self, context):
        """Ask the worker to end."""
        work.stop()
        return {"FINISHED"}


def default_folder(mould):
    """Return the folder beside the .blend, empty while that is not saved."""
    if not bpy.data.filepath:
        return ""
    name = bpy.path.clean_name(mould.mouldply.part or mould.name)
    return str(Path(bpy.data.filepath).parent / f"{name} cut")


CLASSES = (
    MOULDPLY_OT_flatten, MOULDPLY_OT_nest, MOULDPLY_OT_export, MOULDPLY_OT_apply_result,
    MOULDPLY_OT_stop,
)  # fmt: skip
