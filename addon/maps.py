"""Maps: values the engine worked out, as colours on the mould, with the viewport put back after."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import bpy

from . import bridge, colours, mesh_data
from .apply import find_patterns
from .moulds import find_mould
from .props import CONTEXT

if TYPE_CHECKING:
    import numpy as np

OF_A_PLY = ("shear_deg", "strain_percent")
UNITS = {"deg": "°", "percent": "%", "mm": "mm", "share": ""}


@dataclass(slots=True)
class Shown:
    """What the legend says: `limits` are values marked on it."""

    title: str
    unit: str
    low: float
    high: float
    limits: tuple[float, ...] = ()
    mould: int = 0
    goes_on: bool = False  # some values lie above `high`


class Memory:
    """The map that is shown, and how the viewports were before."""

    def __init__(self) -> None:
        self.shown: Shown | None = None
        self.before: dict[str, tuple[str, str]] = {}


MEMORY = Memory()


def show_map(context: Any, name: str) -> None:
    """Colour the mould by a map, or put the viewport back for "NONE"."""
    mould = find_mould(context)
    if name == "NONE" or mould is None:
        MEMORY.shown = None
        _put_shading_back(context)
        return
    values = values_of(mould, name)
    MEMORY.shown = Shown("", "", 0, 1, mould=mould.session_uid)
    label = context.window_manager.mouldply_view.bl_rna.properties["map"].enum_items[name].name
    label = bpy.app.translations.pgettext_iface(label, CONTEXT)
    if values is None:
        MEMORY.shown.title = label
        MEMORY.shown.unit = ""
        MEMORY.shown.low = MEMORY.shown.high = float("nan")
        return
    low, high, limits = _range(context, mould, name, values)
    paint(mould, colours.colours_of(values, low, high))
    unit = UNITS[name.rsplit("_", 1)[1]]
    MEMORY.shown = Shown(label, unit, low, high, limits, mould.session_uid)
    MEMORY.shown.goes_on = bool((values > 1.001 * high).any())
    _set_shading(context)


def values_of(mould: Any, name: str) -> np.ndarray | None:
    """Return (polygons,) the map's values, NaN where there are none; None if it is not there."""
    import numpy as np

    if name not in OF_A_PLY:
        attribute = mould.data.attributes.get(bridge.MAP_PREFIX + name)
        if attribute is None or attribute.domain != "FACE":
            return None
        values = np.empty(len(mould.data.polygons), np.float32)
        if len(attribute.data) != len(values):
            return None
        attribute.data.foreach_get("value", values)
        return np.where(values <= bridge.NO_VALUE / 2, np.nan, values)
    own, home = mould.mouldply, find_patterns(mould)
    if home is None or not own.plies:
        return None
    ply = own.plies[min(own.active_ply, len(own.plies) - 1)]
    pieces = [
        thing
        for thing in home.objects
        if thing.mouldply.piece.is_pattern and thing.mouldply.ply_id == ply.id
    ]
    if not pieces:
        return None
    count = len(mould.data.polygons)
    total, weight = np.zeros(count), np.zeros(count)
    for thing in pieces:
        mesh = thing.data
        polygons = mesh_data.face_numbers(mesh, "polygon")
        values = np.abs(mesh_data.face_floats(mesh, name))
        inside = (polygons >= 0) & (polygons < count) & mesh_data.face_values(mesh, "inside")
        area = np.empty(len(mesh.polygons), np.float32)
        mesh.polygons.foreach_get("area", area)
        total += np.bincount(polygons[inside], (area * values)[inside], count)
        weight += np.bincount(polygons[inside], area[inside], count)
    return np.where(weight > 0, total / np.maximum(weight, 1e-30), np.nan)


def paint(mould: Any, face_colours: np.ndarray) -> None:
    """Write (polygons, 4) colours as the mould's active colour attribute."""
    import numpy as np

    with mesh_data.object_mode(mould):
        mesh = mould.data
        attribute = mesh.attributes.get(bridge.MAP_ATTRIBUTE)
        if attribute is None:
            attribute = mesh.attributes.new(bridge.MAP_ATTRIBUTE, "BYTE_COLOR", "CORNER")
        shades = face_colours.astype(np.float32)
        corners = np.repeat(shades, mesh_data.corner_counts(mesh), axis=0)
        attribute.data.foreach_set("color_srgb", corners.ravel())
        mesh.attributes.active_color_name = bridge.MAP_ATTRIBUTE
        mesh.update()


def _range(
    context: Any, mould: Any, name: str, values: np.ndarray
) -> tuple[float, float, tuple[float, ...]]:
    """Return the scale's ends and the limits marked on it."""
    import numpy as np

    known = values[np.isfinite(values)]
    low, high = (float(known.min()), float(known.max())) if len(known) else (0.0, 1.0)
    if name == "shear_deg":
        limits = _shear_limits(context, mould)
        return 0.0, max(high, *(limits or (10.0,))), limits
    if name == "draft_deg":
        limit = mould.mouldply.min_draft_deg  # beyond some times that, more is no better
        return min(low, 0.0), max(4 * limit, 10.0), (limit,)
    if name == "radius_mm":
        limit = mould.mouldply.cloth_radius_mm or 3.0  # of a light cloth, until a run says more
        return 0.0, 4 * limit, (limit,)
    if name == "strain_percent":
        return 0.0, max(high, 1.0), (1.0,)
    return min(low, 0.0), high if high > low else low + 1.0, ()


def _shear_limits(context: Any, mould: Any) -> tuple[float, ...]:
    own = mould.mouldply
    ply = own.plies[min(own.active_ply, len(own.plies) - 1)]
    for cloth in context.scene.mouldply.cloths:
        if cloth.id == ply.fabric:
            return tuple(
                getattr(cloth, field)
                for field in ("shear_warn_deg", "shear_lock_deg")
                if getattr(cloth, f"use_{field}")
            )
    return ()


def _viewports() -> Any:
    for window in bpy.context.window_manager.windows:
        for number, area in enumerate(window.screen.areas):
            if area.type == "VIEW_3D":
                yield f"{window.screen.name}/{number}", area.spaces.active.shading, area


def _set_shading(context: Any) -> None:
    """Show the colours, remembering what each viewport showed."""
    for key, shading, area in _viewports():
        MEMORY.before.setdefault(key, (shading.type, shading.color_type))
        shading.type, shading.color_type = "SOLID", "VERTEX"
        area.tag_redraw()


def _put_shading_back(context: Any) -> None:
    for key, shading, area in _viewports():
        if key in MEMORY.before:
            kind, colour = MEMORY.before.pop(key)
            shading.type, shading.color_type = "SOLID", colour
            shading.type = kind
            area.tag_redraw()


def refresh(context: Any) -> None:
    """Paint the shown map again, after new results or another ply was selected."""
    view = context.window_manager.mouldply_view
    if view.map != "NONE":
        show_map(context, view.map)


def register() -> None:
    """Nothing to start: a map is shown when it is asked for."""


def unregister() -> None:
    """Put the viewports back."""
    if not bpy.app.background and bpy.context.window_manager is not None:
        _put_shading_back(bpy.context)
    MEMORY.__init__()  # type: ignore[misc]
