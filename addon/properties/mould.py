"""What the .blend keeps about a mould: its plies and how it is checked."""

import bpy

from ..props import (
    BoolProperty,
    CollectionProperty,
    EnumProperty,
    FloatProperty,
    IntProperty,
    PointerProperty,
    StringProperty,
)
from .cut import MOULDPLY_Cut
from .extra import MOULDPLY_Extra
from .fields import angle, direction, length
from .mould_part import MOULDPLY_Mould_Part
from .ply import MOULDPLY_Ply
from .results import MOULDPLY_Piece


def _ply_selected(own, context):
    from ..watching import show_active_ply

    show_active_ply(own.id_data, context)


def _extra_selected(own, context):
    from ..watching import show_active_extra

    show_active_extra(own.id_data, context)


class MOULDPLY_Mould(bpy.types.PropertyGroup):
    """On an object that is a mould. Directions are in the world."""

    is_mould: BoolProperty(name="Is a Mould", description="Plies are laid on this object")
    owner: PointerProperty(
        name="Mould",
        description="The mould a pattern, a cut or a rosette belongs to",
        type=bpy.types.Object,
    )
    ply_id: StringProperty(name="Ply", description="The ply it belongs to", options={"HIDDEN"})
    format: IntProperty(default=0, options={"HIDDEN"})  # of these properties, as saved
    part: StringProperty(name="Part", description="Name on every pattern; empty: the object's name")
    piece: PointerProperty(type=MOULDPLY_Piece)
    cut: PointerProperty(type=MOULDPLY_Cut)
    plies: CollectionProperty(type=MOULDPLY_Ply)
    active_ply: IntProperty(name="Active Ply", min=0, update=_ply_selected)
    next_ply: IntProperty(default=1, options={"HIDDEN"})
    extras: CollectionProperty(type=MOULDPLY_Extra)
    active_extra: IntProperty(name="Active Cover, Core or Tapes", min=0, update=_extra_selected)
    next_extra: IntProperty(default=1, options={"HIDDEN"})
    parts: CollectionProperty(type=MOULDPLY_Mould_Part)
    next_part: IntProperty(default=1, options={"HIDDEN"})
    rosette: PointerProperty(
        name="Rosette",
        description="Arrows whose X is 0 degrees and whose Z points to you",
        type=bpy.types.Object,
        poll=lambda mould, thing: thing.type == "EMPTY",
    )
    pull_by: EnumProperty(
        name="Pull",
        description="The way the part leaves the mould",
        items=[
            ("auto", "Found", "The direction that frees most area"),
            ("given", "Given", "A direction you choose"),
        ],
    )
    pull: direction("pull", "Pull", "The way the part leaves the mould")
    build: direction("build", "Printed Upwards", "The way up on the printer")
    bead_share: FloatProperty(
        name="Bead Depth",
        default=0.35,
        min=0,
        max=0.5,
        description="Depth of the groove between two layers, as a share of the layer height",
    )
    ray_test: BoolProperty(
        name="Trapped Faces", default=True,
        description="Look along the pull for faces that would hold the part, and measure walls",
    )  # fmt: skip


MOULDPLY_Mould.__annotations__ |= (
    length("layer_height", "Layer Height", "Of the print", 0.15, least=0.01, most=10)
    | angle(
        "min_draft", "Least Draft", "Walls steeper than this hold the part", 5.0, least=0, most=60
    )
    | angle(
        "overhang", "Overhang", "Leaning further than this needs support", 45.0, least=1, most=89
    )
    | length(
        "cloth_radius",
        "Cloth Radius",
        "Tightest corner the cloth can be pressed into; 0: taken from the heaviest cloth",
        0.0,
        most=1000,
    )
    | length("wall_min", "Thinnest Wall", "Thinner walls of the mould are pointed out", 3.0)
    | length("brush", "Brush", "Narrowest tool that still wets the cloth", 12.0, least=0.1)
    | length("roller", "Roller", "Width of the roller", 30.0, least=0.1)
)

CLASSES = (MOULDPLY_Mould,)
