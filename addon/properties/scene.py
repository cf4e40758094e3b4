"""What the .blend keeps for the whole file: cloth, stock and settings."""

import bpy

from .. import engine
from ..props import (
    BoolProperty,
    CollectionProperty,
    EnumProperty,
    IntProperty,
    PointerProperty,
    StringProperty,
)
from . import words
from .cloth import MOULDPLY_Cloth, MOULDPLY_Offcut, MOULDPLY_Roll
from .fields import length
from .records import annotations_of


class MOULDPLY_Dressing(bpy.types.PropertyGroup):
    """Allowances and marks."""


class MOULDPLY_Laminate(bpy.types.PropertyGroup):
    """Process and resin."""


class MOULDPLY_Coat(bpy.types.PropertyGroup):
    """A layer of resin without cloth."""


class MOULDPLY_Consumed(bpy.types.PropertyGroup):
    """What is used up beside cloth and resin."""


class MOULDPLY_Rates(bpy.types.PropertyGroup):
    """Prices and working speeds."""


class MOULDPLY_Nest(bpy.types.PropertyGroup):
    """How the cloth is laid out."""


class MOULDPLY_Paper(bpy.types.PropertyGroup):
    """Sheets the templates are printed on."""

    sheet: EnumProperty(
        name="Sheet",
        description="Paper in the printer",
        items=[(name, name, "") for name in engine.load("export.paper").SHEETS_MM],
        default="A4",
    )


class MOULDPLY_Files(bpy.types.PropertyGroup):
    """Cutter files and the engraved mould."""


for _group, _module, _record, _words in (
    (MOULDPLY_Dressing, "pattern.settings", "Dressing", words.DRESSING),
    (MOULDPLY_Laminate, "laminate.settings", "LaminateSettings", words.LAMINATE),
    (MOULDPLY_Coat, "laminate.settings", "Coat", words.COAT),
    (MOULDPLY_Consumed, "laminate.settings", "Consumed", words.CONSUMED),
    (MOULDPLY_Rates, "laminate.settings", "Rates", words.RATES),
    (MOULDPLY_Nest, "nest.settings", "NestSettings", words.NEST),
    (MOULDPLY_Paper, "export.paper", "PaperSettings", words.PAPER),
    (MOULDPLY_Files, "export.settings", "FileSettings", words.FILES),
):
    _group.__annotations__ |= annotations_of(getattr(engine.load(_module), _record), _words)


class MOULDPLY_Scene(bpy.types.PropertyGroup):
    """Cloth, stock and settings of this file."""

    cloths: CollectionProperty(type=MOULDPLY_Cloth)
    active_cloth: IntProperty(name="Active Cloth", min=0)
    roll_of: StringProperty(name="Roll Of", description="Mould whose patterns lie here")
    rolls: CollectionProperty(type=MOULDPLY_Roll)
    offcuts: CollectionProperty(type=MOULDPLY_Offcut)
    dressing: PointerProperty(type=MOULDPLY_Dressing)
    laminate: PointerProperty(type=MOULDPLY_Laminate)
    coats: CollectionProperty(type=MOULDPLY_Coat)
    consumed: PointerProperty(type=MOULDPLY_Consumed)
    rates: PointerProperty(type=MOULDPLY_Rates)
    nest: PointerProperty(type=MOULDPLY_Nest)
    paper: PointerProperty(type=MOULDPLY_Paper)
    files: PointerProperty(type=MOULDPLY_Files)
    use_edge_mm: BoolProperty(
        name="Own Triangle Size", description="Off: 5 mm, or a sixtieth of the ply if that is less"
    )


MOULDPLY_Scene.__annotations__ |= length(
    "edge", "Triangle Size", "Triangles are refined to this before the drape", 5.0, least=0.05
)

CLASSES = (
    MOULDPLY_Dressing, MOULDPLY_Laminate, MOULDPLY_Coat, MOULDPLY_Consumed, MOULDPLY_Rates,
    MOULDPLY_Nest, MOULDPLY_Paper, MOULDPLY_Files, MOULDPLY_Scene,
)  # fmt: skip
