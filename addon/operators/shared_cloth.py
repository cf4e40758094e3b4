"""The person's own cloths: brought in from files, shared as files, forgotten."""

import bpy

from .. import engine, library
from ..props import StringProperty
from .base import EngineOperator


class MOULDPLY_OT_import_cloths(EngineOperator, bpy.types.Operator):
    """Add the cloths of a file to your own; one of the same id is replaced"""

    bl_idname = "mouldply.import_cloths"
    bl_label = "Import Cloths"
    bl_options = {"REGISTER"}

    filepath: StringProperty(name="File", description="List of cloths", subtype="FILE_PATH")
    filter_glob: StringProperty(default="*.json", options={"HIDDEN"})

    def invoke(self, context, event):
        """Ask for the file."""
        context.window_manager.fileselect_add(self)
        return {"RUNNING_MODAL"}

    def run(self, context):
        """Read the file, keep its cloths."""
        given = engine.load("cloth.library").read_fabrics(bpy.path.abspath(self.filepath))
        own = {cloth.id: cloth for cloth in [*library.own_cloths(), *given]}
        library.keep_own(own.values())
        self.tell(f"{len(given)} cloths added to your library")


class MOULDPLY_OT_export_cloths(EngineOperator, bpy.types.Operator):
    """Write your own cloths to a file, to share them"""

    bl_idname = "mouldply.export_cloths"
    bl_label = "Export Cloths"
    bl_options = {"REGISTER"}

    filepath: StringProperty(
        name="File", description="List of cloths", subtype="FILE_PATH", default="my cloths.json"
    )
    filter_glob: StringProperty(default="*.json", options={"HIDDEN"})

    def invoke(self, context, event):
        """Ask for the file."""
        context.window_manager.fileselect_add(self)
        return {"RUNNING_MODAL"}

    def run(self, context):
        """Write the file."""
        own = library.own_cloths()
        if not own:
            raise engine.load("errors").InputError(
                "You have no cloths of your own yet.", "Keep one in the library first."
            )
        engine.load("cloth.library").write_fabrics(bpy.path.abspath(self.filepath), own)


class MOULDPLY_OT_forget_cloth(EngineOperator, bpy.types.Operator):
    """Remove this cloth from your own; files that use it keep their copy"""

    bl_idname = "mouldply.forget_cloth"
    bl_label = "Forget Cloth"
    bl_options = {"REGISTER"}

    cloth: StringProperty(name="Cloth", description="Its id")

    def run(self, context):
        """Write the others."""
        library.keep_own([cloth for cloth in library.own_cloths() if cloth.id != self.cloth])


CLASSES = (MOULDPLY_OT_import_cloths, MOULDPLY_OT_export_cloths, MOULDPLY_OT_forget_cloth)
