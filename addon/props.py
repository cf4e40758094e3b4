"""Blender's property kinds with our own translation context.

"Cut" or "Pull" mean something else elsewhere in Blender, whose own words would win otherwise.
"""

from __future__ import annotations

from functools import partial

from bpy import props

CONTEXT = "mouldply"

BoolProperty = partial(props.BoolProperty, translation_context=CONTEXT)
EnumProperty = partial(props.EnumProperty, translation_context=CONTEXT)
FloatProperty = partial(props.FloatProperty, translation_context=CONTEXT)
FloatVectorProperty = partial(props.FloatVectorProperty, translation_context=CONTEXT)
IntProperty = partial(props.IntProperty, translation_context=CONTEXT)
StringProperty = partial(props.StringProperty, translation_context=CONTEXT)
PointerProperty = partial(props.PointerProperty, translation_context=CONTEXT)
CollectionProperty = partial(props.CollectionProperty, translation_context=CONTEXT)
