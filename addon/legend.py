"""The legend of the map that is shown: its scale with values, unit and limits, in the 3D view."""

from __future__ import annotations

from typing import Any

import bpy

from . import colours, maps
from .drawn import DARK, LIGHT
from .props import CONTEXT


class Memory:
    """The handle of the handler."""

    def __init__(self) -> None:
        self.handle: Any = None


MEMORY = Memory()


def draw() -> None:
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
    if not bpy.app.background:
        add = bpy.types.SpaceView3D.draw_handler_add
        MEMORY.handle = add(draw, (), "WINDOW", "POST_PIXEL")


def unregister() -> None:
    """Stop drawing."""
    if MEMORY.handle is not None:
        bpy.types.SpaceView3D.draw_handler_remove(MEMORY.handle, "WINDOW")
    MEMORY.__init__()  # type: ignore[misc]
