"""Lines on the mould: drawn from what lies on the patterns, nothing worked out.

Handlers must never raise: Blender would print at every redraw. What they need is gathered by
`lines_of`, whose result is kept until the patterns, the ply or the settings change.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import partial
from typing import Any

import bpy

from . import bridge, drawn, engine
from .apply import find_patterns
from .aside import Aside
from .drawn import SPINE, WARP, WEFT
from .moulds import find_mould

LOOK_S = 0.02  # between looks whether lines have been worked out


@dataclass(slots=True)
class Lines:
    """Segments in the mould's own space by style: (colour, width in pixels, (k, 3) ends)."""

    key: tuple[Any, ...] = ()
    styles: list[tuple[tuple[float, ...], float, Any]] = field(default_factory=list)
    batches: list[Any] = field(default_factory=list)


class Memory:
    """What is drawn and the handle of the handler."""

    def __init__(self) -> None:
        self.lines = Lines()
        self.wanted: tuple[Any, ...] = ()  # the key of lines that a thread is at
        self.preview: Lines | None = None  # drawn instead of the patterns' lines
        self.handle: Any = None


MEMORY = Memory()


def lines_of(context: Any, mould: Any) -> Lines:
    """Return the lines of the selected ply, gathered again when something they show changed."""
    view, own = context.window_manager.mouldply_view, mould.mouldply
    home = find_patterns(mould)
    if home is None or not own.plies:
        return Lines()
    ply = own.plies[min(own.active_ply, len(own.plies) - 1)]
    pieces = [
        thing
        for thing in home.objects
        if thing.mouldply.piece.is_pattern and thing.mouldply.ply_id == ply.id
    ]
    stamps = tuple((thing.name, thing.mouldply.piece.stamp) for thing in pieces)
    key = (
        mould.session_uid,
        stamps,
        view.threads,
        view.outlines,
        view.map,
        round(view.spacing_mm, 3),
    )
    if MEMORY.lines.key == key:
        MEMORY.wanted = ()
    elif MEMORY.wanted != key:
        taken = [drawn.take_piece(thing, view, mould, context) for thing in pieces]
        if sum(len(piece.triangles) for piece in taken) <= drawn.AT_ONCE:
            MEMORY.lines, MEMORY.wanted = Lines(key, drawn.styles_of(taken)), ()
        else:  # the old ones are drawn until a thread has these
            MEMORY.wanted, work = key, Aside(lambda: drawn.styles_of(taken))
            _call_soon(partial(_gathered, key, work))
    old = MEMORY.lines
    return old if old.key[:1] == key[:1] else Lines()


def _call_soon(look: Callable[[], float | None]) -> None:
    bpy.app.timers.register(look, first_interval=LOOK_S, persistent=True)


def _gathered(key: tuple[Any, ...], work: Aside) -> float | None:
    """Show lines once they are worked out, unless others are wanted by now."""
    if MEMORY.wanted != key:
        return None
    if not work.done:
        return LOOK_S
    MEMORY.lines, MEMORY.wanted = Lines(key, work.result()), ()
    _redraw(bpy.context)
    return None


def show_preview(context: Any, mould: Any, answer: Any) -> None:
    """Draw the drape of an answer instead of the patterns' lines; None: the patterns' again."""
    import numpy as np

    MEMORY.preview = None
    if answer is not None:
        view, shown = context.window_manager.mouldply_view, Lines((mould.session_uid,))
        for _, arrays in answer.pieces():
            points = bridge.points_from_mm(mould, context.scene, arrays["points"])
            triangles = arrays["triangles"][arrays["inside"]]
            points = points + drawn.lift(points, triangles)
            thread_lines = engine.load("cloth.threads").thread_lines
            warp, weft = thread_lines(points, arrays["flat"], triangles, view.spacing_mm)
            shown.styles += [(WARP, 1.0, warp.reshape(-1, 3)), (WEFT, 1.0, weft.reshape(-1, 3))]
            for name in ("warp_spine", "weft_spine"):
                ends = bridge.points_from_mm(mould, context.scene, arrays[name])
                shown.styles.append((SPINE, 2.0, np.repeat(ends, 2, axis=0)[1:-1]))
        MEMORY.preview = shown
    _redraw(context)


def drop_preview() -> None:
    """Forget the drape of an answer: the patterns say it now, once their lines are worked out."""
    if MEMORY.preview is not None:
        MEMORY.lines, MEMORY.wanted, MEMORY.preview = MEMORY.preview, (), None
        _redraw(bpy.context)


def forget() -> None:
    """Another file: nothing that was drawn is of its moulds."""
    MEMORY.lines, MEMORY.wanted, MEMORY.preview = Lines(), (), None


def show_path(context: Any, points: Any) -> None:
    """Draw a path that is being clicked, in the mould's own space; None: the patterns' lines."""
    import numpy as np

    MEMORY.preview = None
    if points is not None:
        MEMORY.preview = Lines()
        ends = np.array(points, float).reshape(-1, 3)
        if len(ends) > 1:
            MEMORY.preview.styles.append((SPINE, 3.0, np.repeat(ends, 2, axis=0)[1:-1]))
    _redraw(context)


def _redraw(context: Any) -> None:
    for window in context.window_manager.windows:
        for area in window.screen.areas:
            if area.type == "VIEW_3D":
                area.tag_redraw()


def draw_lines() -> None:
    """Draw the selected ply's lines; called by Blender for each 3D view."""
    import gpu
    from gpu_extras.batch import batch_for_shader

    context = bpy.context
    if not wanted(context):
        return
    mould = find_mould(context)
    if mould is None or mould.hide_get() or mould.mode not in ("OBJECT", "EDIT"):
        return
    lines = lines_of(context, mould) if MEMORY.preview is None else MEMORY.preview
    if not lines.styles:
        return
    shader = gpu.shader.from_builtin("POLYLINE_UNIFORM_COLOR")
    if not lines.batches:
        import numpy as np

        lines.batches = [
            batch_for_shader(shader, "LINES", {"pos": np.ascontiguousarray(ends, np.float32)})
            for _, _, ends in lines.styles
        ]
    with on_mould(context, mould):
        scale = context.preferences.system.ui_scale
        shader.uniform_float("viewportSize", gpu.state.viewport_get()[2:])
        for (colour, width, _), batch in zip(lines.styles, lines.batches, strict=True):
            shader.uniform_float("lineWidth", width * scale)
            shader.uniform_float("color", colour)
            batch.draw(shader)


def wanted(context: Any) -> bool:
    """Whether the view that is being drawn shows overlays."""
    space = context.space_data
    return space is None or space.type != "VIEW_3D" or space.overlay.show_overlays


@contextmanager
def on_mould(context: Any, mould: Any) -> Iterator[None]:
    """Draw in the mould's own space, just above its faces, hidden by what is before them."""
    import gpu

    gpu.state.depth_test_set("LESS_EQUAL")
    gpu.state.blend_set("ALPHA")
    gpu.matrix.push()
    gpu.matrix.multiply_matrix(_towards_viewer(context, mould))
    gpu.matrix.multiply_matrix(mould.matrix_world)
    try:
        yield
    finally:
        gpu.matrix.pop()
        gpu.state.blend_set("NONE")
        gpu.state.depth_test_set("NONE")


def _towards_viewer(context: Any, mould: Any) -> Any:
    """Return a small shift to the viewer: lines that lie in the faces would show in part only."""
    from mathutils import Matrix, Vector

    view = context.region_data
    if view is None:
        return Matrix.Identity(4)
    towards = view.view_rotation @ Vector((0, 0, 1))
    return Matrix.Translation(2 * drawn.LIFT * mould.dimensions.length * towards)


def register() -> None:
    """Start drawing; without a window there is nothing to draw on."""
    if bpy.app.background:
        return
    add = bpy.types.SpaceView3D.draw_handler_add
    MEMORY.handle = add(draw_lines, (), "WINDOW", "POST_VIEW")


def unregister() -> None:
    """Stop drawing."""
    if MEMORY.handle is not None:
        bpy.types.SpaceView3D.draw_handler_remove(MEMORY.handle, "WINDOW")
    MEMORY.__init__()  # type: ignore[misc]
