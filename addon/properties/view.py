"""What is drawn on the mould: on the window manager, so that looking never changes the file."""

import bpy

from ..props import BoolProperty, EnumProperty
from .fields import length

MAPS = [
    ("NONE", "None", "The viewport as you set it"),
    ("shear_deg", "Shear", "How far the selected ply's threads close up or open"),
    ("strain_percent", "Fibre Stretch", "Stretch along the selected ply's fibres"),
    ("thickness_mm", "Thickness", "Of all plies together, after cure"),
    ("draft_deg", "Draft", "Angle of each face to the pull; below zero it holds the part"),
    ("ridge_mm", "Layer Ridges", "Depth of the printed layers' grooves"),
    ("radius_mm", "Inside Corners", "Hollow radius, where cloth may bridge"),
    ("wall_mm", "Thin Walls", "Walls of the mould thinner than asked"),
]


def _changed(view, context):
    from .. import maps

    maps.show_map(context, view.map)


class MOULDPLY_View(bpy.types.PropertyGroup):
    """Map and lines on the mould."""

    map: EnumProperty(
        name="Map", description="Colour the mould by a value", items=MAPS, update=_changed,
        options={"SKIP_SAVE"},
    )  # fmt: skip
    outlines: BoolProperty(
        name="Outlines",
        default=True,
        options={"SKIP_SAVE"},
        description="Edges, joints, tack point and 0-degree arrow of the selected ply",
    )
    threads: BoolProperty(
        name="Threads", default=True, options={"SKIP_SAVE"},
        description="Warp and weft of the selected ply's drape",
    )  # fmt: skip


MOULDPLY_View.__annotations__ |= length(
    "spacing", "Thread Spacing", "Between the threads that are drawn", 10.0, least=0.5, most=1000
)

CLASSES = (MOULDPLY_View,)
