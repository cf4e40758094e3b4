"""The roll as a scene of its own: cloth outlines at true scale, the patterns on them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from . import bridge
from .apply import find_patterns
from .patterns import edges_object
from .translation import new_name

if TYPE_CHECKING:
    import bpy

GAP_MM = 150.0  # between two rolls or offcuts
LETTER_MM = 40.0


def make_roll_scene(
    mould: bpy.types.Object, scene: bpy.types.Scene, nests: dict[str, Any]
) -> bpy.types.Scene:
    """Return the scene with every sheet of every cloth, made anew."""
    import bpy

    made = next((s for s in bpy.data.scenes if s.mouldply.roll_of == mould.name), None)
    if made is None:
        made = bpy.data.scenes.new(new_name("Roll of {}", mould.name))
    else:
        _empty(made)
    made.mouldply.roll_of = mould.name
    _copy_units(scene.unit_settings, made.unit_settings)
    home = find_patterns(mould)
    patterns = {
        thing.mouldply.piece.piece_id: thing
        for thing in (home.objects if home else ())
        if thing.mouldply.piece.is_pattern
    }
    low = 0.0
    for plain in nests.values():
        for sheet in plain["sheets"]:
            low -= max(y for _, y in sheet["outline"])
            _lay_sheet(sheet, low, made, patterns)
            low -= GAP_MM
    return made


def _copy_units(given: Any, made: Any) -> None:
    """Copy a scene's units; a new system makes Blender reset those of the window's scene."""
    fields = ("system", "scale_length", "length_unit", "mass_unit", "temperature_unit")
    before = {field: getattr(given, field) for field in fields}
    for units in (made, given):
        for field, value in before.items():
            if getattr(units, field) != value:
                setattr(units, field, value)


def _lay_sheet(
    sheet: dict[str, Any], low: float, made: bpy.types.Scene, patterns: dict[str, Any]
) -> None:
    """Draw one roll or offcut with its pieces; its lower edge at y = `low` mm."""
    from math import radians

    import bpy

    outline = [(x, y) for x, y in sheet["outline"]]
    length = max(x for x, _ in outline)
    strokes = [[*outline, outline[0]]]
    if sheet["selvedge_mm"] > 0:
        width = max(y for _, y in outline)
        for y in (sheet["selvedge_mm"], width - sheet["selvedge_mm"]):
            strokes.append([(0, y), (length, y)])
    strokes += [
        [(x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0)] for _, x0, y0, x1, y1 in sheet["kept"]
    ]
    shifted = [[(x, y + low) for x, y in stroke] for stroke in strokes]
    made.collection.objects.link(edges_object(sheet["stock_id"], shifted, made))
    title = bpy.data.curves.new(sheet["stock_id"], "FONT")
    title.body = sheet["stock_id"]
    title.size = LETTER_MM / bridge.mm_per_unit(made)
    heading = bpy.data.objects.new(f"{sheet['stock_id']} name", title)
    top = max(y for _, y in outline) + low + LETTER_MM / 2
    heading.location = bridge.points_from_mm(None, made, [[0, top, 0]])[0]
    made.collection.objects.link(heading)
    for placed in sheet["placements"]:
        pattern = patterns.get(placed["piece"])
        if pattern is None:  # the ply is gone; the nest is out of date and says so
            continue
        at = [[placed["x_mm"], placed["y_mm"] + low, 1.0]]
        _lay_pattern(pattern, made, at, radians(placed["angle_deg"]), placed["mirrored"])


def _lay_pattern(
    pattern: bpy.types.Object, made: bpy.types.Scene, at: Any, turn: float, mirrored: bool
) -> None:
    """Link a copy of a pattern with its lines and lettering; the meshes are shared."""
    import bpy

    copy = bpy.data.objects.new(pattern.name, pattern.data)
    made.collection.objects.link(copy)
    copy.location = bridge.points_from_mm(None, made, at)[0]
    copy.rotation_euler = (0, 0, turn)
    copy.scale = (1, -1 if mirrored else 1, 1)
    copy.mouldply.owner, copy.mouldply.ply_id = pattern.mouldply.owner, pattern.mouldply.ply_id
    for child in pattern.children:
        twin = bpy.data.objects.new(child.name, child.data)
        made.collection.objects.link(twin)
        twin.parent = copy
        twin.location, twin.rotation_euler = child.location, child.rotation_euler
        twin.hide_select = True


def _empty(scene: bpy.types.Scene) -> None:
    """Remove everything from the scene, and data nobody else uses."""
    import bpy

    for thing in list(scene.collection.all_objects):
        data, kind = thing.data, thing.type
        bpy.data.objects.remove(thing)
        if data is not None and data.users == 0:
            (bpy.data.meshes if kind == "MESH" else bpy.data.curves).remove(data)
