"""The faces of the finding that is shown, lit on the mould in object mode.

Edit mode would show them too, but Blender takes 140 ms to enter it with 140 000 faces, and longer
to undo that. They are selected all the same: the person's own Tab has them.
What is lit is said by the file (`results.lit`), so that undo and redo take it along.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import bpy

from . import bridge, drawn, overlays
from .apply import find_patterns, numbers_of
from .moulds import find_mould

if TYPE_CHECKING:
    import numpy as np

FILL = (1.0, 0.25, 0.6, 0.55)  # a hue that no map has
RIM_PX = 3.0
RIM_OF_MOST = 10_000  # triangles; more can be seen without one


class Memory:
    """What was drawn last, and the handler."""

    def __init__(self) -> None:
        self.key: tuple[Any, ...] = ()
        self.faces: Any = None  # (k, 3, 3) in the mould's own space
        self.batches: list[Any] = []
        self.handle: Any = None


MEMORY = Memory()


def lit_faces(mould: Any, context: Any) -> np.ndarray | None:
    """Return (k, 3, 3) the corners of the lit triangles in the mould's own space, None if none."""
    home = find_patterns(mould)
    results = None if home is None else home.mouldply
    if results is None or results.lit != results.active_finding or mould.mode != "OBJECT":
        MEMORY.key = ()  # the mesh may be another one after edit mode
        return None
    if results.lit >= len(results.findings):
        return None
    finding = results.findings[results.lit]
    key = (mould.session_uid, finding.code, hash(finding.faces), len(mould.data.polygons))
    if key != MEMORY.key:
        MEMORY.key, MEMORY.batches = key, []
        MEMORY.faces = bridge.corners_of(mould, context, numbers_of(finding.faces))
    return MEMORY.faces if len(MEMORY.faces) else None


def draw() -> None:
    """Light the faces; called by Blender for each 3D view."""
    import gpu
    import numpy as np
    from gpu_extras.batch import batch_for_shader

    context = bpy.context
    mould = find_mould(context)
    if mould is None or mould.hide_get() or not overlays.wanted(context):
        return
    faces = lit_faces(mould, context)
    if faces is None:
        return
    fill, line = (
        gpu.shader.from_builtin(name) for name in ("UNIFORM_COLOR", "POLYLINE_UNIFORM_COLOR")
    )
    if not MEMORY.batches:
        points = np.ascontiguousarray(faces.reshape(-1, 3), np.float32)
        MEMORY.batches = [batch_for_shader(fill, "TRIS", {"pos": points})]
        if len(faces) <= RIM_OF_MOST:
            ends = np.ascontiguousarray(rim_of(faces).reshape(-1, 3), np.float32)
            MEMORY.batches.append(batch_for_shader(line, "LINES", {"pos": ends}))
    with overlays.on_mould(context, mould):
        fill.uniform_float("color", FILL)
        MEMORY.batches[0].draw(fill)
        for batch in MEMORY.batches[1:]:
            line.uniform_float("viewportSize", gpu.state.viewport_get()[2:])
            line.uniform_float("lineWidth", RIM_PX * context.preferences.system.ui_scale)
            line.uniform_float("color", drawn.EDGE)
            batch.draw(line)


def rim_of(faces: np.ndarray) -> np.ndarray:
    """Return (k, 2, 3) the edges of (n, 3, 3) triangles that belong to one of them only."""
    import numpy as np

    points, corners = np.unique(faces.reshape(-1, 3), axis=0, return_inverse=True)
    found: np.ndarray = points[drawn.rim(corners.reshape(-1, 3))]
    return found


def register() -> None:
    """Start drawing; without a window there is nothing to draw on."""
    if not bpy.app.background:
        add = bpy.types.SpaceView3D.draw_handler_add
        MEMORY.handle = add(draw, (), "WINDOW", "POST_VIEW")


def unregister() -> None:
    """Stop drawing."""
    if MEMORY.handle is not None:
        bpy.types.SpaceView3D.draw_handler_remove(MEMORY.handle, "WINDOW")
    MEMORY.__init__()  # type: ignore[misc]
