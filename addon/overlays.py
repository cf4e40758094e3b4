"""Lines on the mould and the legend: drawn from what lies on the patterns, nothing worked out.

Handlers must never raise: Blender would print at every redraw. What they need is gathered by
`lines_of`, whose result is kept until the patterns, the ply or the settings change.
Longer than most files: handlers that are added together are removed together.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import partial
from typing import Any

import bpy

from . import bridge, colours, drawn, engine, maps
from .apply import find_patterns
from .aside import Aside
from .drawn import DARK, LIGHT, SPINE, WARP, WEFT
from .moulds import find_mould
from .props import CONTEXT

LOOK_S = 0.02  # between looks whether lines have been worked out


@dataclass(slots=True)
class Lines:
    """Segments in the mould's own space by style: (colour, width in pixels, (k, 3) ends)."""

    key: tuple[Any, ...] = ()
    styles: list[tuple[tuple[float, ...], float, Any]] = field(default_factory=list)
    batches: list[Any] = field(default_factory=list)


class Memory:
    """What is drawn and the handles of the handlers."""

    def __init__(self) -> None:
        self.lines = Lines()
        self.wanted: tuple[Any, ...] = ()  # the key of lines that a thread is at
        self.preview: Lines | None = None  # drawn instead of the patterns' lines
        self.handles: list[Any] = []


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


def draw_legend() -> None:
    """Draw the shown map's scale with its limits; called by Blender for each 3D view."""
    import blf
    import gpu
    from gpu_extras.batch import batch_for_shader

    shown = maps.MEMORY.shown
    context = bpy.context
    if shown is None:
        return
    scale = context.preferences.system.ui_scale
    left, bottom, width, height = 24 * scale, 60 * scale, 16 * scale, 200 * scale
    left += _toolbar_width(context)
    blf.size(0, 12 * scale)
    title = f"{shown.title}  {shown.unit}".strip()
    if shown.low != shown.low:  # no values: the map was never worked out
        words = bpy.app.translations.pgettext_iface(
            "{}: not worked out yet, press Flatten All", CONTEXT
        )
        _panel(
            left - 10 * scale,
            bottom - 12 * scale,
            blf.dimensions(0, words.format(title))[0] + 24 * scale,
            34 * scale,
        )
        _write(words.format(title), left, bottom, scale)
        return
    _panel(left - 10 * scale, bottom - 16 * scale, 150 * scale, height + 52 * scale)
    steps = len(colours.SCALE)
    tall = [bottom + height * k / (steps - 1) for k in range(steps)]
    corners = [(left, y, 0) for y in tall] + [(left + width, y, 0) for y in tall]
    shades = [(*colour, 1.0) for colour in colours.SCALE] * 2
    quads = [
        t
        for k in range(steps - 1)
        for t in ((k, k + 1, k + steps), (k + 1, k + 1 + steps, k + steps))
    ]
    shader = gpu.shader.from_builtin("SMOOTH_COLOR")
    batch_for_shader(shader, "TRIS", {"pos": corners, "color": shades}, indices=quads).draw(shader)
    _write(title, left, bottom + height + 16 * scale, scale)
    marks = [(shown.low, False), (shown.high, False), *((limit, True) for limit in shown.limits)]
    for value, is_limit in marks:
        y = bottom + height * (value - shown.low) / max(shown.high - shown.low, 1e-12)
        if not is_limit and any(
            abs(value - limit) < 0.06 * (shown.high - shown.low) for limit in shown.limits
        ):
            continue
        _tick(left - (3 * scale if is_limit else 0), left + width + 4 * scale, y, is_limit)
        words = bpy.app.translations.pgettext_iface("limit {}", CONTEXT) if is_limit else "{}"
        if value == shown.high and shown.goes_on:
            words = "≥ {}"
        _write(words.format(f"{value:.3g}"), left + width + 8 * scale, y - 4 * scale, scale)


def _toolbar_width(context: Any) -> float:
    """Return how many pixels of the view the toolbar lies over, at its left."""
    if not context.preferences.system.use_region_overlap:
        return 0.0
    tools = [one for one in context.area.regions if one.type == "TOOLS" and one.x <= context.area.x]
    return float(max((one.width for one in tools if one.width > 1), default=0))


def _write(text: str, x: float, y: float, scale: float) -> None:
    import blf

    blf.size(0, 12 * scale)
    blf.color(0, *LIGHT, 1.0)
    blf.position(0, x, y, 0)
    blf.draw(0, text)


def _panel(x: float, y: float, width: float, height: float) -> None:
    """Draw a dark plate, so that the text can be read on any background."""
    import gpu
    from gpu_extras.batch import batch_for_shader

    gpu.state.blend_set("ALPHA")
    shader = gpu.shader.from_builtin("UNIFORM_COLOR")
    corners = [(x, y, 0), (x + width, y, 0), (x + width, y + height, 0), (x, y + height, 0)]
    shader.uniform_float("color", (*DARK, 0.72))
    batch_for_shader(shader, "TRIS", {"pos": corners}, indices=[(0, 1, 2), (0, 2, 3)]).draw(shader)
    gpu.state.blend_set("NONE")


def _tick(x0: float, x1: float, y: float, strong: bool) -> None:
    import gpu
    from gpu_extras.batch import batch_for_shader

    shader = gpu.shader.from_builtin("UNIFORM_COLOR")
    shader.uniform_float("color", (*LIGHT, 1.0))
    ends = [(x0, y, 0), (x1, y, 0)]
    if strong:  # two pixels high
        ends += [(x0, y + 1, 0), (x1, y + 1, 0)]
    batch_for_shader(shader, "LINES", {"pos": ends}).draw(shader)


def register() -> None:
    """Start drawing; without a window there is nothing to draw on."""
    if bpy.app.background:
        return
    add = bpy.types.SpaceView3D.draw_handler_add
    MEMORY.handles = [
        add(draw_lines, (), "WINDOW", "POST_VIEW"),
        add(draw_legend, (), "WINDOW", "POST_PIXEL"),
    ]


def unregister() -> None:
    """Stop drawing."""
    for handle in MEMORY.handles:
        bpy.types.SpaceView3D.draw_handler_remove(handle, "WINDOW")
    MEMORY.__init__()  # type: ignore[misc]
