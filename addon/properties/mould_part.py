"""A part of a split mould as the .blend keeps it: its faces are a boolean attribute named by id."""

import bpy

from ..props import EnumProperty, StringProperty
from .fields import direction


class MOULDPLY_Mould_Part(bpy.types.PropertyGroup):
    """One part of a mould that comes apart; `name` is what findings call it."""

    id: StringProperty(name="Id", options={"HIDDEN"})
    pull_by: EnumProperty(
        name="Pull",
        description="The way the laminate leaves this mould part",
        items=[
            ("auto", "Found", "The direction that frees most area"),
            ("given", "Given", "A direction you choose"),
        ],
    )
    pull: direction("pull", "Pull", "The way the laminate leaves this mould part")


CLASSES = (MOULDPLY_Mould_Part,)
