"""Drawn cuts as curves on the mould: made here, read for the job here."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from . import bridge, engine
from .patterns import paint

if TYPE_CHECKING:
    import bpy

# A cut is drawn as a thin rod on the mould. Proposals are lighter, which is seen without colours.
ROD = 0.004  # its radius, as a share of the mould's size
CUT = ("mouldply cut", (0.62, 0.10, 0.02, 1.0))
PROPOSED = ("mouldply proposed cut", (1.0, 0.78, 0.25, 1.0))


def add_cut(
    scene: bpy.types.Scene, mould: bpy.types.Object, ply: Any, points: list[Any], kind: str
) -> bpy.types.Object:
    """Add a cut of a ply through points in the mould's own space; return its curve object."""
    import bpy

    name = f"{ply.name} {kind}"
    data = bpy.data.curves.new(name, "CURVE")
    data.dimensions = "3D"
    spline = data.splines.new("POLY")
    spline.points.add(len(points) - 1)
    for point, place in zip(spline.points, points, strict=True):
        point.co = (*place, 1.0)
    curve = bpy.data.objects.new(name, data)
    (mould.users_collection[0] if mould.users_collection else scene.collection).objects.link(curve)
    curve.parent = mould
    curve.show_in_front = True
    data.bevel_depth, data.bevel_resolution = ROD * _longest_side(mould), 1
    paint(curve, CUT)
    own = curve.mouldply
    own.owner, own.ply_id = mould, ply.id
    own.cut.is_cut, own.cut.kind = True, kind
    cloth = next((c for c in scene.mouldply.cloths if c.id == ply.fabric), None)
    if cloth is not None:
        own.cut.lap_mm = cloth.lap_mm
        own.cut.joint = "butt" if cloth.kind == "unidirectional" or cloth.lap_mm == 0 else "lap"
    return curve


def replace_proposals(
    scene: bpy.types.Scene, mould: bpy.types.Object, ply: Any, proposals: list[dict[str, Any]]
) -> None:
    """Show these proposals of a ply instead of the ones there were."""
    for curve in cuts_of(mould, ply.id):
        if curve.mouldply.cut.proposed:
            remove_curve(curve)
    for given in proposals:
        points = bridge.points_from_mm(mould, scene, given["path"]).tolist()
        curve = add_cut(scene, mould, ply, points, given["kind"])
        paint(curve, PROPOSED)
        own = curve.mouldply.cut
        own.proposed, own.gain = True, given["gain"]
        own.joint, own.lap_mm, own.under = given["joint"], given["lap_mm"], given["under"]


def accept(curve: bpy.types.Object) -> None:
    """Make a proposed cut a real one."""
    curve.mouldply.cut.proposed = False
    paint(curve, CUT)


def move_cut(scene: bpy.types.Scene, curve: bpy.types.Object, path_mm: Any) -> None:
    """Give a cut's curve another path, points in mm; its joint stays as it is."""
    data = curve.data
    data.splines.clear()
    spline = data.splines.new("POLY")
    points = bridge.points_from_mm(curve, scene, path_mm).tolist()
    spline.points.add(len(points) - 1)
    for point, place in zip(spline.points, points, strict=True):
        point.co = (*place, 1.0)


def _longest_side(mould: bpy.types.Object) -> float:
    """Return the longest side of the box round a mould, in its own units."""
    low, high = mould.bound_box[0], mould.bound_box[6]
    return max(high[axis] - low[axis] for axis in range(3))


def remove_curve(curve: bpy.types.Object) -> None:
    """Remove a cut's curve and its data."""
    import bpy

    data = curve.data
    bpy.data.objects.remove(curve)
    if data.users == 0:
        bpy.data.curves.remove(data)


def cuts_of(mould: bpy.types.Object, ply_id: str) -> list[bpy.types.Object]:
    """Return the curves of a ply's cuts, proposed ones too, in the order of their names."""
    return sorted(
        (c for c in mould.children if c.mouldply.cut.is_cut and c.mouldply.ply_id == ply_id),
        key=lambda curve: curve.name,
    )


def read_cuts(mould: bpy.types.Object, scene: bpy.types.Scene, ply_id: str) -> tuple[Any, ...]:
    """Return a ply's cuts for the engine: their points in mm.

    Raises
    ------
    InputError : a curve without points, or with more than one line
    """
    kind = engine.load("surface.cut").Cut
    made = []
    drawn = [curve for curve in cuts_of(mould, ply_id) if not curve.mouldply.cut.proposed]
    for number, curve in enumerate(drawn, start=1):
        own = curve.mouldply.cut
        made.append(
            kind(
                id=f"{ply_id}c{number}",
                kind=own.kind,
                path=bridge.points_to_mm(curve, scene, _points(curve)),
                joint=own.joint,
                lap_mm=float(f"{own.lap_mm:.7g}"),
                under=own.under,
            )
        )
    return tuple(made)


def _points(curve: bpy.types.Object) -> list[tuple[float, ...]]:
    splines = curve.data.splines
    if len(splines) != 1:
        raise engine.load("errors").InputError(
            f"Cut '{curve.name}' has {len(splines)} lines.", "Draw each cut as a curve of its own."
        )
    spline = splines[0]
    points = spline.bezier_points if spline.type == "BEZIER" else spline.points
    return [tuple(point.co)[:3] for point in points]
