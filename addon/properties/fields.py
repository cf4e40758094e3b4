"""Property makers: lengths kept in mm and angles in degrees, shown in the scene's own units.

Each maker returns two annotations: the stored value (`trim_mm`), which files, scripts and the
engine use, and the one the panels draw (`trim`), which Blender shows and reads in millimetres,
inches or whatever the scene is set to. Only `bridge.mm_per_unit` knows the factor.
"""

from __future__ import annotations

from math import degrees, radians
from typing import Any

import bpy

from ..bridge import mm_per_unit
from ..props import FloatProperty, FloatVectorProperty

Annotations = dict[str, Any]


def length(
    name: str,
    label: str,
    description: str,
    default: float,
    *,
    most: float = 1e4,
    least: float = 0.0,
) -> Annotations:
    """Return `NAME_mm` stored in mm and `NAME` shown in scene units."""
    stored = f"{name}_mm"

    def get(group: bpy.types.PropertyGroup) -> float:
        return getattr(group, stored) / mm_per_unit(bpy.context.scene)

    def put(group: bpy.types.PropertyGroup, value: float) -> None:
        setattr(group, stored, min(max(value * mm_per_unit(bpy.context.scene), least), most))

    return {
        stored: FloatProperty(
            name=label, description=description, default=default, min=least, max=most,
            options={"HIDDEN"},
        ),
        name: FloatProperty(
            name=label, description=description, get=get, set=put, subtype="DISTANCE",
            precision=4, step=1, options={"SKIP_SAVE"},
        ),
    }  # fmt: skip


def angle(
    name: str, label: str, description: str, default: float, *, least: float = -360.0,
    most: float = 360.0,
) -> Annotations:  # fmt: skip
    """Return `NAME_deg` stored in degrees and `NAME` shown with Blender's degree sign."""
    stored = f"{name}_deg"

    def get(group: bpy.types.PropertyGroup) -> float:
        return radians(getattr(group, stored))

    def put(group: bpy.types.PropertyGroup, value: float) -> None:
        # radians are kept in single precision: 45 degrees must come back as 45
        setattr(group, stored, min(max(round(degrees(value), 4), least), most))

    return {
        stored: FloatProperty(
            name=label, description=description, default=default, min=least, max=most,
            options={"HIDDEN"},
        ),
        name: FloatProperty(
            name=label, description=description, get=get, set=put, subtype="ANGLE",
            precision=3, step=500, options={"SKIP_SAVE"},
        ),
    }  # fmt: skip


def direction(name: str, label: str, description: str) -> FloatVectorProperty:
    """Return a direction in world space."""
    return FloatVectorProperty(
        name=label, description=description, default=(0.0, 0.0, 1.0), size=3, subtype="DIRECTION"
    )


def group(annotations: Annotations, *more: Annotations) -> Annotations:
    """Return all annotations in one dict."""
    for extra in more:
        annotations.update(extra)
    return annotations
