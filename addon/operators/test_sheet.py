"""The printer's test sheet: a square to be measured, written by a process of its own."""

from pathlib import Path

import bpy

from .. import engine, side_work, work
from ..properties.records import values_of
from ..props import CONTEXT, BoolProperty, StringProperty
from .base import EngineOperator


class MOULDPLY_OT_test_sheet(EngineOperator, bpy.types.Operator):
    """Write a page with a 100 mm square, to be printed, measured and entered"""

    bl_idname = "mouldply.test_sheet"
    bl_label = "Printer Test Sheet"
    bl_options = {"REGISTER"}

    filepath: StringProperty(name="File", description="PDF to be written", subtype="FILE_PATH")
    filter_glob: StringProperty(default="*.pdf", options={"HIDDEN"})
    check_existing: BoolProperty(default=True, options={"HIDDEN"})

    def invoke(self, context, event):
        """Ask where to."""
        folder = Path(bpy.data.filepath).parent if bpy.data.filepath else Path.home()
        self.filepath = self.filepath or str(folder / "test_sheet.pdf")
        context.window_manager.fileselect_add(self)
        return {"RUNNING_MODAL"}

    def run(self, context):
        """Write it at once without a window, else beside everything else."""
        paper = engine.load("export.paper").PaperSettings
        settings = paper(**values_of(context.scene.mouldply.paper, paper))
        file = Path(bpy.path.abspath(self.filepath)).with_suffix(".pdf")
        if not file.parent.is_dir():
            raise engine.load("errors").InputError(
                f"There is no folder '{file.parent}'.", "Choose another place for the test sheet."
            )
        if bpy.app.background:
            side_work.write_test_sheet(file, settings.sheet, settings.roll_width_mm)
            return
        say = bpy.app.translations.pgettext_iface
        done = say("Print '{}' at 100 %, measure, enter Bar Across and Bar Along.", CONTEXT)
        failed = say("'{}' could not be written. Choose another place.", CONTEXT)

        def ended(code):
            text = (done if code == 0 else failed).format(file)
            work.show(bpy.context.window_manager, message=text)

        side_work.start("test_sheet", [file, settings.sheet, settings.roll_width_mm or 0], ended)


CLASSES = (MOULDPLY_OT_test_sheet,)
