"""A drawn cut: on a curve that lies on the mould."""

import bpy

from ..props import BoolProperty, EnumProperty, StringProperty
from .fields import length


class MOULDPLY_Cut(bpy.types.PropertyGroup):
    """On a curve: how the cloth is cut along it. Its points are joined straight over the mould."""

    is_cut: BoolProperty()
    proposed: BoolProperty(name="Proposed", description="Not cut yet: accept or refuse it")
    gain: StringProperty(name="Gain", description="What the cut would change")
    kind: EnumProperty(
        name="Cut",
        description="What the cut does to the cloth",
        items=[
            ("splice", "Splice", "Parts the cloth in two"),
            ("dart", "Dart", "Ends inside the cloth, at the curve's last point"),
        ],
    )
    joint: EnumProperty(
        name="Joint",
        description="How the two sides meet on the mould",
        items=[
            ("lap", "Lapped", "One side runs under the other"),
            ("butt", "Butted", "Edge to edge"),
        ],
    )
    under: EnumProperty(
        name="Runs Under",
        description="The side whose lap runs under, looking along the curve at the mould",
        items=[("left", "Left", ""), ("right", "Right", "")],
    )


MOULDPLY_Cut.__annotations__ |= length("lap", "Lap", "Width of the lap", 25.0)

CLASSES = (MOULDPLY_Cut,)
