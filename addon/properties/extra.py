"""What is cut besides the plies, as the .blend keeps it: covers, cores, corner tapes."""

import bpy

from ..props import EnumProperty, StringProperty
from .fields import angle, length
from .ply import cloth_items, cloth_number, set_cloth

ALL = "ALL"  # in the menu of plies; kept as an empty id
_kept_items: list = []  # Blender keeps no reference to the strings of a dynamic menu


def _ply_items(extra, context):
    plies = extra.id_data.mouldply.plies
    _kept_items[:] = [
        (ALL, bpy.app.translations.pgettext_iface("All Plies", "mouldply"), ""),
        *((ply.id, f"{number} {ply.name}", "") for number, ply in enumerate(plies, start=1)),
    ]
    return _kept_items


def _ply_number(extra):
    ids = ["", *(ply.id for ply in extra.id_data.mouldply.plies)]
    return ids.index(extra.ply) if extra.ply in ids else 0


def _set_ply(extra, number):
    ids = ["", *(ply.id for ply in extra.id_data.mouldply.plies)]
    if number < len(ids):
        extra.ply = ids[number]


def _kind_chosen(extra, context):
    """Give a core the last ply: it must lie on one, and may not lie on all."""
    plies = extra.id_data.mouldply.plies
    if extra.kind == "core" and not extra.ply and plies:
        extra.ply = plies[-1].id


class MOULDPLY_Extra(bpy.types.PropertyGroup):
    """A sheet laid over the plies, a core between them, or tapes for sharp inner corners.

    The engine's `Extra`, written out: its module would import numpy when the add-on is enabled.
    """

    id: StringProperty(name="Id", options={"HIDDEN"})
    fabric: StringProperty(name="Cloth", options={"HIDDEN"})
    ply: StringProperty(name="Ply", options={"HIDDEN"})
    kind: EnumProperty(
        name="Kind",
        description="Where it goes, and how it is cut",
        items=[
            ("cover", "Cover", "A sheet on top of all plies: peel ply, film, breather"),
            ("core", "Core", "Lies on one ply, under the next, and lifts the later ones"),
            ("corner_tape", "Corner Tapes", "Strips for sharp inner corners, before the first ply"),
        ],
        update=_kind_chosen,
    )
    cloth: EnumProperty(
        name="Cloth",
        description="What it is cut from: cloth, film or core of this file",
        items=cloth_items,
        get=cloth_number,
        set=set_cloth,
        options={"SKIP_SAVE"},
    )
    over: EnumProperty(
        name="Over",
        description="Ply whose faces it covers; a core lies on that ply",
        items=_ply_items,
        get=_ply_number,
        set=_set_ply,
        options={"SKIP_SAVE"},
    )


MOULDPLY_Extra.__annotations__ |= (
    angle(
        "angle", "Fibre Angle", "Of the warp, counter-clockwise from the rosette's 0 degrees", 0.0
    )
    | length("trim", "Past the Edge", "How far a cover reaches past the part's edge", 30.0)
    | angle(
        "bevel",
        "Bevel",
        "Of a core's edge, from the mould face; 90 degrees is square",
        90.0,
        least=10,
        most=90,
    )
    | length("width", "Width", "Of a corner tape", 50.0, least=0.1)
)

CLASSES = (MOULDPLY_Extra,)
