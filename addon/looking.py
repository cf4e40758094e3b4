"""Where the 3D views look from: from above at the roll, and back to where they were."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import bpy
from mathutils import Quaternion, Vector

AIR = 1.6  # view distance over the size of what is looked at: sidebars cover some of the view


class Memory:
    """How each view looked before: rotation, place, distance, perspective."""

    def __init__(self) -> None:
        self.before: dict[str, tuple[Any, Any, float, str]] = {}


MEMORY = Memory()


def from_above(scene: bpy.types.Scene) -> None:
    """Look at everything in a scene from above; the scene is the window's by now."""
    bpy.context.view_layer.update()
    corners = [
        thing.matrix_world @ Vector(corner) for thing in scene.objects for corner in thing.bound_box
    ]
    if not corners:
        return
    low = Vector(min(corner[axis] for corner in corners) for axis in range(3))
    high = Vector(max(corner[axis] for corner in corners) for axis in range(3))
    for key, view in _views():
        MEMORY.before.setdefault(
            key,
            (
                view.view_rotation.copy(),
                view.view_location.copy(),
                view.view_distance,
                view.view_perspective,
            ),
        )
        view.view_perspective, view.view_rotation = "ORTHO", Quaternion()
        view.view_location, view.view_distance = (low + high) / 2, AIR * max(high - low)


def at(view: Any, points: list[Any]) -> None:
    """Look at points of the world from where the view looks, with room for the sidebar.

    Blender's own View Selected fills the view to its edge, under the sidebar.
    """
    if not points:
        return
    low = Vector(min(point[axis] for point in points) for axis in range(3))
    high = Vector(max(point[axis] for point in points) for axis in range(3))
    view.view_location = (low + high) / 2
    view.view_distance = max(AIR * (high - low).length, 1e-3 * view.view_distance)


def back() -> None:
    """Look from where each view was before."""
    for key, view in _views():
        if key in MEMORY.before:
            turn, place, distance, perspective = MEMORY.before.pop(key)
            view.view_perspective, view.view_rotation = perspective, turn
            view.view_location, view.view_distance = place, distance


def _views() -> Iterator[tuple[str, Any]]:
    for window in bpy.context.window_manager.windows:
        for number, area in enumerate(window.screen.areas):
            if area.type == "VIEW_3D":
                yield f"{window.screen.name}/{number}", area.spaces.active.region_3d
