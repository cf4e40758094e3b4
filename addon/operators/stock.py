"""The roll as a scene, and the shelf: what a nest takes and what it leaves."""

import json

import bpy

from .. import engine, looking
from ..apply import find_patterns
from ..moulds import need_mould
from ..props import IntProperty
from ..roll_scene import make_roll_scene
from ..translation import new_name
from .base import EngineOperator, NeedsMould
from .cloth import need_cloth


class MOULDPLY_OT_show_roll(NeedsMould, EngineOperator, bpy.types.Operator):
    """Open the scene in which the patterns lie on the roll"""

    bl_idname = "mouldply.show_roll"
    bl_label = "Show Roll"
    bl_options = {"REGISTER", "UNDO"}

    def run(self, context):
        """Make the scene anew and, in a window, go there."""
        mould = need_mould(context)
        made = make_roll_scene(mould, context.scene, _nests(mould))
        if context.window is not None and not bpy.app.background:
            context.window.scene = made
            looking.from_above(made)


class MOULDPLY_OT_leave_roll(bpy.types.Operator):
    """Go back from the roll to the mould"""

    bl_idname = "mouldply.leave_roll"
    bl_label = "Back to the Mould"
    bl_options = {"REGISTER"}

    def execute(self, context):
        """Switch the window's scene."""
        for scene in bpy.data.scenes:
            if not scene.mouldply.roll_of and any(t.mouldply.is_mould for t in scene.objects):
                context.window.scene = scene
                looking.back()
                return {"FINISHED"}
        self.report({"WARNING"}, "There is no mould in this file any more")
        return {"CANCELLED"}


class MOULDPLY_OT_book_nest(NeedsMould, EngineOperator, bpy.types.Operator):
    """Take what was cut off the rolls, and put the offcuts worth keeping on the shelf"""

    bl_idname = "mouldply.book_nest"
    bl_label = "Book as Cut"
    bl_options = {"REGISTER", "UNDO"}

    def run(self, context):
        """Shorten rolls, remove used offcuts, add new ones, forget the nest."""
        mould, kept = need_mould(context), context.scene.mouldply
        for cloth, plain in _nests(mould).items():
            for sheet in plain["sheets"]:
                _take_off(kept, sheet)
                for name, x0, y0, x1, y1 in sheet["kept"]:
                    offcut = kept.offcuts.add()
                    offcut.name, offcut.fabric = _fresh(kept, name), cloth
                    offcut.length_mm, offcut.width_mm = x1 - x0, y1 - y0
        find_patterns(mould).mouldply.nests = ""


class MOULDPLY_OT_add_offcut(EngineOperator, bpy.types.Operator):
    """Put a remnant of the active cloth on the shelf; it is used before any roll"""

    bl_idname = "mouldply.add_offcut"
    bl_label = "Add Offcut"
    bl_options = {"REGISTER", "UNDO"}

    def run(self, context):
        """Add a rectangle."""
        kept, cloth = context.scene.mouldply, need_cloth(context.scene)
        offcut = kept.offcuts.add()
        offcut.name, offcut.fabric = _fresh(kept, new_name("{} offcut", cloth.name)), cloth.id


class MOULDPLY_OT_remove_offcut(EngineOperator, bpy.types.Operator):
    """Take this remnant off the shelf"""

    bl_idname = "mouldply.remove_offcut"
    bl_label = "Remove Offcut"
    bl_options = {"REGISTER", "UNDO"}

    number: IntProperty(name="Number", description="Place in the list", min=0)

    def run(self, context):
        """Remove it."""
        offcuts = context.scene.mouldply.offcuts
        if self.number < len(offcuts):
            offcuts.remove(self.number)


class MOULDPLY_OT_add_defect(EngineOperator, bpy.types.Operator):
    """Note a flaw on this roll: no piece is laid over it"""

    bl_idname = "mouldply.add_defect"
    bl_label = "Add Flaw"
    bl_options = {"REGISTER", "UNDO"}

    roll: IntProperty(name="Roll", description="Place of the roll in the file's list", min=0)

    def run(self, context):
        """Add one at the free end, in the middle of the roll."""
        rolls = context.scene.mouldply.rolls
        if self.roll < len(rolls):
            flaw = rolls[self.roll].defects.add()
            flaw.y_mm = rolls[self.roll].width_mm / 2


class MOULDPLY_OT_remove_defect(EngineOperator, bpy.types.Operator):
    """Forget this flaw"""

    bl_idname = "mouldply.remove_defect"
    bl_label = "Remove Flaw"
    bl_options = {"REGISTER", "UNDO"}

    roll: IntProperty(name="Roll", description="Place of the roll in the file's list", min=0)
    number: IntProperty(name="Number", description="Place in the list", min=0)

    def run(self, context):
        """Remove it."""
        rolls = context.scene.mouldply.rolls
        if self.roll < len(rolls) and self.number < len(rolls[self.roll].defects):
            rolls[self.roll].defects.remove(self.number)


def _nests(mould):
    """Return the nests that are kept with the patterns."""
    home = find_patterns(mould)
    if home is None or not home.mouldply.nests:
        raise engine.load("errors").InputError(
            "Nothing has been laid on the roll yet.", "Press Nest first."
        )
    return json.loads(home.mouldply.nests)


def _take_off(kept, sheet):
    """Shorten the roll, or remove the offcut, that a sheet of the nest was cut from."""
    for roll in kept.rolls:
        if sheet["kind"] == "roll" and roll.name == sheet["stock_id"]:
            _wind_on(roll, sheet["used_length_mm"])
    for number in reversed(range(len(kept.offcuts))):
        if sheet["kind"] == "offcut" and kept.offcuts[number].name == sheet["stock_id"]:
            kept.offcuts.remove(number)


def _wind_on(roll, used_mm):
    """Shorten a roll by what was cut off; its flaws are that much nearer to the free end."""
    if not roll.endless:
        roll.length_mm = max(roll.length_mm - used_mm, 1.0)
    for number in reversed(range(len(roll.defects))):
        flaw = roll.defects[number]
        if flaw.x_mm + flaw.radius_mm <= used_mm:
            roll.defects.remove(number)
        else:
            flaw.x_mm = max(flaw.x_mm - used_mm, 0.0)


def _fresh(kept, name):
    """Return a name no other piece of stock has."""
    taken = {item.name for items in (kept.rolls, kept.offcuts) for item in items}
    numbered = (f"{name} {number}" for number in range(2, 10_000))
    return name if name not in taken else next(n for n in numbered if n not in taken)


CLASSES = (
    MOULDPLY_OT_show_roll, MOULDPLY_OT_leave_roll, MOULDPLY_OT_book_nest, MOULDPLY_OT_add_offcut,
    MOULDPLY_OT_remove_offcut, MOULDPLY_OT_add_defect, MOULDPLY_OT_remove_defect,
)  # fmt: skip
