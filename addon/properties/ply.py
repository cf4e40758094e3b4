"""A ply as the .blend keeps it: what the person decides, nothing worked out."""

import bpy

from ..props import (
    BoolProperty,
    EnumProperty,
    FloatVectorProperty,
    IntProperty,
    PointerProperty,
    StringProperty,
)
from .fields import angle, length

_kept_items: list = []  # Blender keeps no reference to the strings of a dynamic menu


def cloth_items(ply, context):
    """Return the file's cloths for a menu."""
    _kept_items[:] = [
        (cloth.id, cloth.name, f"{cloth.areal_weight_gsm:.0f} g/m²")
        for cloth in bpy.context.scene.mouldply.cloths
    ] or [("NONE", "No cloth yet", "Add one under Cloth and Stock")]
    return _kept_items


def cloth_number(ply):
    """Return the place of a ply's cloth in that menu."""
    ids = [cloth.id for cloth in bpy.context.scene.mouldply.cloths]
    return ids.index(ply.fabric) if ply.fabric in ids else 0


def set_cloth(ply, number):
    """Take a cloth from that menu."""
    cloths = bpy.context.scene.mouldply.cloths
    if number < len(cloths):
        ply.fabric = cloths[number].id


class MOULDPLY_Ply(bpy.types.PropertyGroup):
    """One layer of cloth; its faces are the mould's boolean attribute named after `id`."""

    id: StringProperty(name="Id", options={"HIDDEN"})
    fabric: StringProperty(name="Cloth", options={"HIDDEN"})
    cloth: EnumProperty(
        name="Cloth",
        description="What this ply is cut from",
        items=cloth_items,
        get=cloth_number,
        set=set_cloth,
        options={"SKIP_SAVE"},
    )
    use_tack: BoolProperty(
        name="Own Tack Point",
        description="Lay the cloth from a point you chose; off: from the middle of the faces",
    )
    tack: FloatVectorProperty(
        name="Tack Point",
        description="In the mould's own space",
        size=3,
        subtype="XYZ",
        precision=4,
    )
    tack_gain: StringProperty(
        name="Gain", description="What the search of a tack point found", options={"SKIP_SAVE"}
    )
    method: EnumProperty(
        name="Draping",
        description="How the cloth goes down; the choice moves outlines by millimetres",
        items=[
            (
                "worked_out",
                "Worked Outwards",
                "Tacked, then smoothed outwards along both threads",
            ),
            (
                "least_shear",
                "Least Shear",
                "Lifted and eased until it shears as little as it can",
            ),
        ],
    )
    use_seams: BoolProperty(
        name="Cut at Seams",
        default=True,
        description="Edges marked as seam inside the faces are cuts: splices and darts",
    )
    use_trim_mm: BoolProperty(name="Own Allowance", description="Instead of the file's")
    use_lap_mm: BoolProperty(name="Own Lap", description="Instead of the cloth's")
    repeat: IntProperty(
        name="Times",
        description="Times this ply is laid, one on the other",
        default=1,
        min=1,
        max=200,
    )
    rosette: PointerProperty(
        name="Rosette", description="Count this ply's angle from another rosette",
        type=bpy.types.Object, poll=lambda ply, thing: thing.type == "EMPTY",
    )  # fmt: skip


MOULDPLY_Ply.__annotations__ |= (
    angle(
        "angle", "Fibre Angle", "Of the warp, counter-clockwise from the rosette's 0 degrees", 0.0
    )
    | length("trim", "Trim Allowance", "Cloth past the part's edge, cut back after cure", 15.0)
    | length("lap", "Lap", "Width of the lap at this ply's joints", 25.0)
)

CLASSES = (MOULDPLY_Ply,)
