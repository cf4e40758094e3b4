"""Where the 3D views look from: at what is asked for, from above at the roll, and back again.

Blender's own View Selected fills a view to its edges, under the sidebar that lies over it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING, Any

import bpy
from mathutils import Quaternion, Vector

if TYPE_CHECKING:
    import numpy as np

AIR = 1.25  # room taken over the size of what is looked at
SENSOR_MM = 72.0  # of a view's lens; the view's longer side shows distance * SENSOR_MM / lens
LEAST = 0.15  # of the view left free by sidebars, or they are taken for see-through
BESIDE = {"UI", "TOOLS"}
ACROSS = {"HEADER", "TOOL_HEADER", "ASSET_SHELF", "ASSET_SHELF_HEADER"}


class Memory:
    """How each view looked before: rotation, place, distance, perspective."""

    def __init__(self) -> None:
        self.before: dict[str, tuple[Any, Any, float, str]] = {}


MEMORY = Memory()


def from_above(scene: bpy.types.Scene) -> None:
    """Look at everything in a scene from above; the scene is the window's by now."""
    bpy.context.view_layer.update()
    corners = corners_of(scene.objects)
    for key, area in _areas() if len(corners) else ():
        view = area.spaces.active.region_3d
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
        at(area, corners)


def corners_of(things: Iterable[bpy.types.Object]) -> np.ndarray:
    """Return (n, 3) the world's corners of the boxes round objects."""
    import numpy as np

    corners = [
        thing.matrix_world @ Vector(corner) for thing in things for corner in thing.bound_box
    ]
    return np.array(corners).reshape(-1, 3)


def at(area: Any, points: np.ndarray) -> None:
    """Look at (n, 3) points of the world from where the view looks, beside what lies over it."""
    import numpy as np

    view, lens = area.spaces.active.region_3d, area.spaces.active.lens
    window = next(one for one in area.regions if one.type == "WINDOW")
    left, low, right, high = _free(area, window)
    if view.view_perspective == "CAMERA":
        view.view_perspective = "PERSP"
    turn = np.array(view.view_rotation.to_matrix())  # columns: the view's right, up, towards it
    seen = points @ turn
    wide, tall, deep = np.ptp(seen, axis=0)
    per_px = SENSOR_MM / lens / max(window.width, window.height)  # at a distance of 1
    distance = AIR * max(wide / (right - left), tall / (high - low)) / per_px
    if view.view_perspective == "PERSP":  # what is nearer looks larger
        distance += deep / 2
    distance = max(distance, 1e-3 * view.view_distance)
    aside = (left + right - window.width) / 2, (low + high - window.height) / 2, 0.0
    middle = (seen.min(axis=0) + seen.max(axis=0)) / 2 - distance * per_px * np.array(aside)
    view.view_location, view.view_distance = turn @ middle, float(distance)


def _free(area: Any, window: Any) -> tuple[float, float, float, float]:
    """Return left, low, right, high in pixels of the part of a view that nothing lies over."""
    left, low, right, high = 0.0, 0.0, float(window.width), float(window.height)
    for one in area.regions:
        x, y = one.x - window.x, one.y - window.y
        if min(one.width, one.height) <= 1:  # hidden
            continue
        if one.type in BESIDE and x > window.width / 2:
            right = min(right, x)
        elif one.type in BESIDE:
            left = max(left, x + one.width)
        elif one.type in ACROSS and y > window.height / 2:
            high = min(high, y)
        elif one.type in ACROSS:
            low = max(low, y + one.height)
    if right - left < LEAST * window.width or high - low < LEAST * window.height:
        return 0.0, 0.0, float(window.width), float(window.height)
    return left, low, right, high


def back() -> None:
    """Look from where each view was before."""
    for key, area in _areas():
        if key in MEMORY.before:
            view = area.spaces.active.region_3d
            turn, place, distance, perspective = MEMORY.before.pop(key)
            view.view_perspective, view.view_rotation = perspective, turn
            view.view_location, view.view_distance = place, distance


def _areas() -> Iterator[tuple[str, Any]]:
    for window in bpy.context.window_manager.windows:
        for number, area in enumerate(window.screen.areas):
            if area.type == "VIEW_3D":
                yield f"{window.screen.name}/{number}", area
