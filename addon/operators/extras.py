"""What is cut besides the plies: covers, cores and corner tapes, in a list."""

import bpy

from .. import library
from ..apply import remove_patterns
from ..moulds import need_mould, need_ply
from ..props import CONTEXT, EnumProperty
from .base import EngineOperator, NeedsMould, NeedsPly, move_row
from .cloth import add_cloth, need_cloth

# Cloth of the library a new one starts with, and its name; tapes: the active cloth of the file.
STARTS = {
    "cover": ("peel_ply_85", "Cover"),
    "core": ("pvc_foam_80_5mm", "Core"),
    "corner_tape": ("", "Corner Tapes"),
}


class NeedsExtra(NeedsMould):
    """Greys the button out where the list is empty."""

    @classmethod
    def poll(cls, context):
        """Whether the button can be pressed."""
        return super().poll(context) and len(need_mould(context).mouldply.extras) > 0


class MOULDPLY_OT_add_extra(NeedsPly, EngineOperator, bpy.types.Operator):
    """Also cut a cover, a core or corner tapes; they are nested and listed like plies"""

    bl_idname = "mouldply.add_extra"
    bl_label = "Add Cover, Core or Tapes"
    bl_options = {"REGISTER", "UNDO"}

    kind: EnumProperty(
        name="Kind",
        items=[
            ("cover", "Cover", "A sheet on top of all plies: peel ply, film, breather"),
            ("core", "Core", "Lies on one ply, under the next, and lifts the later ones"),
            ("corner_tape", "Corner Tapes", "Strips for sharp inner corners, before the first ply"),
        ],
    )

    def run(self, context):
        """Add it with a cloth that suits, a core on the active ply."""
        mould = need_mould(context)
        own, supplied = mould.mouldply, library.all_cloths()
        start, name = STARTS[self.kind]
        name = bpy.app.translations.pgettext_data(name, CONTEXT)
        chosen = context.scene.mouldply.active_cloth
        cloth = add_cloth(context.scene, supplied[start]) if start else need_cloth(context.scene)
        fabric = cloth.id
        context.scene.mouldply.active_cloth = chosen  # what the next ply is cut from stays
        extra = own.extras.add()
        taken = {thing.id for thing in (*own.plies, *own.extras)}
        while not extra.id or extra.id in taken:
            extra.id = f"x{own.next_extra}"
            own.next_extra += 1
        extra.fabric, extra.kind = fabric, self.kind
        if self.kind == "core":
            extra.ply = need_ply(mould).id
        names = {thing.name for thing in own.extras}
        extra.name = next(
            full
            for full in (name, *(f"{name} {n}" for n in range(2, len(own.extras) + 2)))
            if full not in names
        )
        own.active_extra = len(own.extras) - 1


class MOULDPLY_OT_remove_extra(NeedsExtra, EngineOperator, bpy.types.Operator):
    """Leave the selected cover, core or tapes out; their patterns go too"""

    bl_idname = "mouldply.remove_extra"
    bl_label = "Remove Cover, Core or Tapes"
    bl_options = {"REGISTER", "UNDO"}

    def run(self, context):
        """Remove it and its patterns."""
        mould = need_mould(context)
        own = mould.mouldply
        number = min(own.active_extra, len(own.extras) - 1)
        gone = own.extras[number].id
        own.extras.remove(number)
        own.active_extra = max(0, number - 1)
        remove_patterns(mould, gone)


class MOULDPLY_OT_move_extra(NeedsExtra, EngineOperator, bpy.types.Operator):
    """Move the selected cover, core or tapes in the list, which numbers their patterns"""

    bl_idname = "mouldply.move_extra"
    bl_label = "Move Cover, Core or Tapes"
    bl_options = {"REGISTER", "UNDO"}

    by: EnumProperty(
        name="Where", items=[("UP", "Earlier", "Up the list"), ("DOWN", "Later", "Down the list")]
    )

    def run(self, context):
        """Swap it with its neighbour."""
        own = need_mould(context).mouldply
        here = min(own.active_extra, len(own.extras) - 1)
        own.active_extra = move_row(own.extras, here, self.by)


CLASSES = (MOULDPLY_OT_add_extra, MOULDPLY_OT_remove_extra, MOULDPLY_OT_move_extra)
