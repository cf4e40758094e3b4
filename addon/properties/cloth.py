"""Cloth and stock as the .blend keeps them: copies, so that the file needs no library."""

import bpy

from .. import engine
from ..props import BoolProperty, CollectionProperty, FloatProperty, StringProperty
from . import words
from .fields import length
from .records import annotations_of


class MOULDPLY_Cloth(bpy.types.PropertyGroup):
    """A cloth of this file; `name` is what people read, `id` what plies refer to."""

    id: StringProperty(name="Id", options={"HIDDEN"})
    edited: BoolProperty(name="Edit", description="Show every value of this cloth")


MOULDPLY_Cloth.__annotations__ |= annotations_of(engine.load("cloth.fabric").Fabric, words.CLOTH)


class MOULDPLY_Defect(bpy.types.PropertyGroup):
    """A flaw of a roll that pieces are kept off."""


MOULDPLY_Defect.__annotations__ |= (
    length("x", "Along", "From the free end of the roll to the flaw", 0.0, most=1e6)
    | length("y", "Across", "From the edge the pieces are laid against", 0.0, most=1e5)
    | length("radius", "Radius", "Pieces stay this far off the flaw", 20.0, least=0.1)
)


class MOULDPLY_Roll(bpy.types.PropertyGroup):
    """A roll on the shelf."""

    fabric: StringProperty(name="Cloth", options={"HIDDEN"})
    endless: BoolProperty(
        name="Endless", description="Do not limit the length on the roll", default=True
    )
    price_per_m: FloatProperty(
        name="Price per Metre", description="Of roll length", min=0, max=1e6, precision=2
    )
    defects: CollectionProperty(type=MOULDPLY_Defect)


MOULDPLY_Roll.__annotations__ |= (
    length("width", "Width", "Selvedge to selvedge", 1250.0, least=1, most=1e5)
    | length("length", "Length Left", "Cloth still on the roll", 10_000.0, least=1, most=1e6)
    | length("selvedge", "Selvedge", "Not used, at either edge", 10.0, most=1000)
)


class MOULDPLY_Offcut(bpy.types.PropertyGroup):
    """A remnant kept from an earlier job: a rectangle, or the outline written in `outline`."""

    fabric: StringProperty(name="Cloth", options={"HIDDEN"})
    used: BoolProperty(name="Use", description="Nest pieces on this offcut first", default=True)
    outline: StringProperty(name="Outline", options={"HIDDEN"})


MOULDPLY_Offcut.__annotations__ |= length(
    "length", "Along the Warp", "Length along the warp", 500.0, least=1, most=1e6
) | length("width", "Across", "Width across the warp", 300.0, least=1, most=1e5)

CLASSES = (MOULDPLY_Cloth, MOULDPLY_Defect, MOULDPLY_Roll, MOULDPLY_Offcut)
