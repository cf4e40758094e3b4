"""Cloth of the file: taken from the library, kept in it, shared as files."""

import bpy

from .. import engine, library
from ..properties.records import set_values
from ..props import EnumProperty, IntProperty, StringProperty
from ..translation import new_name
from .base import EngineOperator

_kept_items: list = []  # Blender keeps no reference to the strings of a dynamic menu
FIRST_CLOTH = "carbon_twill_210"


def _library_items(operator, context):
    _kept_items[:] = [
        (cloth.id, cloth.name, f"{cloth.areal_weight_gsm:.0f} g/m², {cloth.kind}")
        for cloth in library.all_cloths().values()
    ]
    return _kept_items


def add_cloth(scene, fabric):
    """Copy a cloth into the file and put a roll of it on the shelf; return the file's copy."""
    kept = scene.mouldply
    for cloth in kept.cloths:
        if cloth.id == fabric.id:
            return cloth
    cloth = kept.cloths.add()
    cloth.id, cloth.name = fabric.id, fabric.name
    set_values(cloth, fabric, skip=("id", "name"))
    roll = kept.rolls.add()
    roll.name, roll.fabric = new_name("{} roll", fabric.name), fabric.id
    roll.width_mm = fabric.roll_width_mm
    kept.active_cloth = len(kept.cloths) - 1
    return cloth


def need_cloth(scene):
    """Return the file's active cloth; a file without any gets the library's first twill."""
    kept = scene.mouldply
    if not kept.cloths:
        _start_file(scene)
    return kept.cloths[min(kept.active_cloth, len(kept.cloths) - 1)]


def _start_file(scene):
    """Give a file its first cloth and the person's defaults."""
    from ..preferences import preferences

    cloths, mine = library.all_cloths(), preferences()
    wanted = mine.first_cloth if mine is not None else FIRST_CLOTH
    add_cloth(scene, cloths.get(wanted) or next(iter(cloths.values())))
    if mine is not None:
        scene.mouldply.paper.sheet = mine.sheet
        scene.mouldply.dressing.trim_mm = mine.trim_mm


class MOULDPLY_OT_add_cloth(EngineOperator, bpy.types.Operator):
    """Take a cloth from the library into this file, with a roll of it"""

    bl_idname = "mouldply.add_cloth"
    bl_label = "Add Cloth"
    bl_options = {"REGISTER", "UNDO"}
    bl_property = "cloth"

    cloth: EnumProperty(name="Cloth", description="From the library", items=_library_items)

    def invoke(self, context, event):
        """Offer a list that can be searched by typing."""
        context.window_manager.invoke_search_popup(self)
        return {"FINISHED"}

    def run(self, context):
        """Add the cloth."""
        add_cloth(context.scene, library.all_cloths()[self.cloth])


class MOULDPLY_OT_remove_cloth(EngineOperator, bpy.types.Operator):
    """Take the active cloth and its rolls out of this file"""

    bl_idname = "mouldply.remove_cloth"
    bl_label = "Remove Cloth"
    bl_options = {"REGISTER", "UNDO"}

    def run(self, context):
        """Remove it unless a ply is cut from it."""
        kept, error = context.scene.mouldply, engine.load("errors").InputError
        if not kept.cloths:
            raise error("There is no cloth in this file.", "Add one.")
        cloth = kept.cloths[min(kept.active_cloth, len(kept.cloths) - 1)]
        for thing in bpy.data.objects:
            for extra in thing.mouldply.extras:
                if extra.fabric == cloth.id:
                    raise error(
                        f"'{extra.name}' of '{thing.name}' is cut from '{cloth.name}'.",
                        "Give it another cloth first.",
                    )
            for ply in thing.mouldply.plies:
                if ply.fabric == cloth.id:
                    raise error(
                        f"Ply '{ply.name}' of '{thing.name}' is cut from '{cloth.name}'.",
                        "Give that ply another cloth first.",
                    )
        for stock in (kept.rolls, kept.offcuts):
            for number in reversed(range(len(stock))):
                if stock[number].fabric == cloth.id:
                    stock.remove(number)
        kept.cloths.remove(list(kept.cloths).index(cloth))
        kept.active_cloth = max(0, kept.active_cloth - 1)


class MOULDPLY_OT_add_roll(EngineOperator, bpy.types.Operator):
    """Put another roll of the active cloth on the shelf"""

    bl_idname = "mouldply.add_roll"
    bl_label = "Add Roll"
    bl_options = {"REGISTER", "UNDO"}

    def run(self, context):
        """Add it, as wide as the cloth is usually sold."""
        cloth, rolls = need_cloth(context.scene), context.scene.mouldply.rolls
        taken = {roll.name for roll in rolls}
        name = new_name("{} roll", cloth.name)
        number = next(n for n in range(1, len(rolls) + 2) if f"{name} {n}" not in taken)
        roll = rolls.add()
        roll.name, roll.fabric = f"{name} {number}", cloth.id
        roll.width_mm = cloth.roll_width_mm


class MOULDPLY_OT_remove_roll(EngineOperator, bpy.types.Operator):
    """Take this roll off the shelf"""

    bl_idname = "mouldply.remove_roll"
    bl_label = "Remove Roll"
    bl_options = {"REGISTER", "UNDO"}

    number: IntProperty(name="Number", description="Place in the list", min=0)

    def run(self, context):
        """Remove it."""
        rolls = context.scene.mouldply.rolls
        if self.number < len(rolls):
            rolls.remove(self.number)


class MOULDPLY_OT_keep_cloth(EngineOperator, bpy.types.Operator):
    """Keep the active cloth with its values in your own library, for other files"""

    bl_idname = "mouldply.keep_cloth"
    bl_label = "Keep in Library"
    bl_options = {"REGISTER"}

    def run(self, context):
        """Add it to the person's own cloths, in place of one with the same id."""
        from ..scene_job import read_cloth

        fabric = read_cloth(need_cloth(context.scene))
        own = {cloth.id: cloth for cloth in library.own_cloths()} | {fabric.id: fabric}
        library.keep_own(own.values())
        self.tell(f"'{fabric.name}' is in your library")


class MOULDPLY_OT_duplicate_cloth(EngineOperator, bpy.types.Operator):
    """Make a copy of the active cloth, to give it your own values"""

    bl_idname = "mouldply.duplicate_cloth"
    bl_label = "Duplicate Cloth"
    bl_options = {"REGISTER", "UNDO"}

    name: StringProperty(name="Name", description="Of the copy; empty: the old name and 'mine'")

    def run(self, context):
        """Copy it under a new id."""
        import re
        from dataclasses import replace

        from ..scene_job import read_cloth

        fabric = read_cloth(need_cloth(context.scene))
        name = self.name.strip() or f"{fabric.name}, mine"
        stem = re.sub(r"[^a-z0-9]+", "_", name.lower()).strip("_") or "cloth"
        taken = {cloth.id for cloth in context.scene.mouldply.cloths}
        fresh = next(i for i in (stem, *(f"{stem}_{n}" for n in range(2, 999))) if i not in taken)
        add_cloth(context.scene, replace(fabric, id=fresh, name=name)).edited = True


CLASSES = (
    MOULDPLY_OT_add_cloth, MOULDPLY_OT_remove_cloth, MOULDPLY_OT_add_roll,
    MOULDPLY_OT_remove_roll, MOULDPLY_OT_keep_cloth, MOULDPLY_OT_duplicate_cloth,
)  # fmt: skip
