"""Small change of the sidebar: messages, and Esc while work is under way."""

import bpy

from .. import work


class MOULDPLY_OT_clear_message(bpy.types.Operator):
    """Take this message away"""

    bl_idname = "mouldply.clear_message"
    bl_label = "Clear Message"
    bl_options = {"INTERNAL"}

    def execute(self, context):
        """Empty it."""
        context.window_manager.mouldply.message = ""
        return {"FINISHED"}


class MOULDPLY_OT_watch(bpy.types.Operator):
    """Stop the work under way with Esc"""

    bl_idname = "mouldply.watch"
    bl_label = "Watch"
    bl_options = {"INTERNAL"}

    def invoke(self, context, event):
        """Listen beside everything else."""
        context.window_manager.modal_handler_add(self)
        return {"RUNNING_MODAL"}

    def modal(self, context, event):
        """End with the work; Esc ends the work."""
        if not context.window_manager.mouldply.running:
            return {"FINISHED", "PASS_THROUGH"}
        if event.type == "ESC" and event.value == "PRESS":
            work.stop()
            return {"RUNNING_MODAL"}
        return {"PASS_THROUGH"}


CLASSES = (MOULDPLY_OT_clear_message, MOULDPLY_OT_watch)
