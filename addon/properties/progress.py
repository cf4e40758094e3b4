"""What the sidebar shows of work under way: on the window manager, never saved or undone."""

import bpy

from ..props import BoolProperty, FloatProperty, StringProperty


class MOULDPLY_Progress(bpy.types.PropertyGroup):
    """How far the worker is."""

    running: BoolProperty(options={"SKIP_SAVE"})
    share: FloatProperty(min=0, max=1, options={"SKIP_SAVE"})
    what: StringProperty(options={"SKIP_SAVE"})
    left_s: FloatProperty(default=-1, options={"SKIP_SAVE"})
    message: StringProperty(name="Message", options={"SKIP_SAVE"})


CLASSES = (MOULDPLY_Progress,)
