"""Preferences: the person's own cloths and what new files start with."""

import bpy

from . import engine, library
from .properties.fields import length
from .props import EnumProperty, StringProperty


class MOULDPLY_Preferences(bpy.types.AddonPreferences):
    """Shown in Blender's preferences."""

    bl_idname = __package__

    first_cloth: StringProperty(
        name="First Cloth", default="carbon_twill_210",
        description="Id of the cloth a new file starts with",
    )  # fmt: skip
    sheet: EnumProperty(
        name="Sheet", description="Paper in your printer",
        items=[(name, name, "") for name in engine.load("export.paper").SHEETS_MM], default="A4",
    )  # fmt: skip

    def draw(self, context):
        """Draw the defaults, then the own cloths."""
        layout = self.layout
        layout.use_property_split = True
        layout.use_property_decorate = False
        column = layout.column(heading="New Files")
        column.prop(self, "first_cloth")
        column.prop(self, "sheet")
        column.prop(self, "trim")
        own = library.own_cloths()
        box = layout.box()
        row = box.row()
        row.label(text="Your Cloths")
        row.operator("mouldply.import_cloths", icon="IMPORT", text="Import")
        row.operator("mouldply.export_cloths", icon="EXPORT", text="Export")
        if not own:
            box.label(text="None yet: give a cloth its values in the sidebar, then Keep in Library")
        for cloth in own:
            row = box.row()
            row.label(text=cloth.name, translate=False)
            row.label(text=f"{cloth.areal_weight_gsm:g} g/m²", translate=False)
            row.operator("mouldply.forget_cloth", text="", icon="X", emboss=False).cloth = cloth.id


MOULDPLY_Preferences.__annotations__ |= length(
    "trim", "Trim Allowance", "Of new files: cloth past the part's edge", 15.0
)


def preferences():
    """Return the person's preferences, None where the add-on runs from a checkout."""
    entry = bpy.context.preferences.addons.get(__package__)
    return entry.preferences if entry is not None else None


CLASSES = (MOULDPLY_Preferences,)


def register():
    """Register the preferences."""
    for kind in CLASSES:
        bpy.utils.register_class(kind)


def unregister():
    """Unregister them."""
    for kind in reversed(CLASSES):
        bpy.utils.unregister_class(kind)
