"""A flat pattern as an object: cloth, lines and lettering at true scale, linked with its ply."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from . import bridge, mesh_data

if TYPE_CHECKING:
    import bpy
    import numpy as np

GAP_MM = 40.0  # between patterns, and from the mould
LIFT_MM = 0.3  # lines lie on the cloth, lettering on both
CROSS_MM = 6.0  # half a tack cross
CLOTH = ("mouldply cloth", (0.71, 0.66, 0.55, 1.0))
INK = ("mouldply ink", (0.02, 0.02, 0.03, 1.0))
MOULD_POINT = "mould_point"  # where each vertex lies on the mould, in the mould's own space


def make_pattern(
    facts: dict[str, Any],
    arrays: dict[str, np.ndarray],
    mould: bpy.types.Object,
    scene: bpy.types.Scene,
) -> bpy.types.Object:
    """Make the object of one piece and what hangs on it; it is in no collection yet."""
    import bpy

    thing = bpy.data.objects.new(facts["title"], _cloth(facts, arrays, mould, scene))
    paint(thing, CLOTH)
    own, piece = thing.mouldply, thing.mouldply.piece
    own.owner, own.ply_id = mould, facts["ply_id"]
    piece.is_pattern, piece.piece_id = True, facts["id"]
    piece.title, piece.count = facts["title"], facts["count"]
    piece.role, piece.where = facts["role"], facts["where"]
    piece.net_area_mm2, piece.cut_area_mm2 = facts["net_area_mm2"], facts["cut_area_mm2"]
    piece.max_shear_deg, piece.locked_share = facts["max_shear_deg"], facts["locked_area_fraction"]
    piece.spines = json.dumps(
        [arrays[name].round(3).tolist() for name in ("warp_spine", "weft_spine")]
    )
    for child in (_lines(facts, arrays, scene), *_lettering(facts, scene)):
        child.parent = thing
        child.mouldply.owner, child.mouldply.ply_id = mould, facts["ply_id"]
        child.hide_select = True
        if child.type == "FONT":
            paint(child, INK)
    return thing


def place_beside(
    home: bpy.types.Collection, mould: bpy.types.Object, scene: bpy.types.Scene
) -> None:
    """Lay the patterns out in rows to the right of the mould, in laying order."""
    import numpy as np

    listed = (*mould.mouldply.plies, *mould.mouldply.extras)
    order = {one.id: number for number, one in enumerate(listed)}
    pieces = [thing for thing in home.objects if thing.mouldply.piece.is_pattern]
    pieces.sort(key=lambda thing: (order.get(thing.mouldply.ply_id, 999), thing.name))
    corners = bridge.points_to_mm(mould, scene, [tuple(corner) for corner in mould.bound_box])
    left, low = corners[:, 0].max() + 2 * GAP_MM, corners[:, 1].min()
    high = max(corners[:, 1].max() - low, 1000.0)
    x, y, widest = left, low, 0.0
    for thing in pieces:
        box = _outline(thing) * bridge.mm_per_unit(scene)
        size = np.ptp(box, axis=0)
        if y > low and y + size[1] > low + high:
            x, y, widest = x + widest + GAP_MM, low, 0.0
        at = np.array([x - box[:, 0].min(), y - box[:, 1].min(), corners[:, 2].min()])
        thing.location = bridge.points_from_mm(None, scene, at)[0]
        y += size[1] + GAP_MM
        widest = max(widest, size[0])


def _outline(thing: bpy.types.Object) -> np.ndarray:
    """Return (n, 3) points of the pattern with its cut line, in its own space."""
    import numpy as np

    lines = next((child for child in thing.children if child.type == "MESH"), thing)
    return mesh_data.values_of(lines.data, "position", np.float32, 3).astype(np.float64)


def _cloth(
    facts: dict[str, Any],
    arrays: dict[str, np.ndarray],
    mould: bpy.types.Object,
    scene: bpy.types.Scene,
) -> bpy.types.Mesh:
    """Return the draped triangles laid flat; each knows where it lies on the mould."""
    import numpy as np

    flat = arrays["flat"]
    points = np.column_stack([flat, np.zeros(len(flat))])
    mesh = _mesh(f"{facts['title']} cloth", bridge.points_from_mm(None, scene, points))
    mesh_data.write_triangles(mesh, arrays["triangles"])
    on_mould = bridge.points_from_mm(mould, scene, arrays["points"])
    mesh_data.write_attribute(mesh, MOULD_POINT, "FLOAT_VECTOR", "POINT", on_mould)
    for name, kind in (
        ("shear_deg", "FLOAT"),
        ("strain_percent", "FLOAT"),
        ("inside", "BOOLEAN"),
        ("settled", "BOOLEAN"),
    ):
        mesh_data.write_attribute(mesh, name, kind, "FACE", arrays[name])
    return mesh


def _lines(
    facts: dict[str, Any], arrays: dict[str, np.ndarray], scene: bpy.types.Scene
) -> bpy.types.Object:
    """Return the cut line, net line, notches, arrow and tack cross as edges."""
    import numpy as np

    strokes = [np.array(ring, float) for ring in [*facts["cut"], *facts["net"]]]
    strokes += list(arrays["notches"])
    if len(arrays["arrow"]):
        strokes += arrow_strokes(arrays["arrow"])
    if facts["tack"] is not None:
        tack = np.array(facts["tack"])
        strokes += [tack + CROSS_MM * np.array([[-1, 0], [1, 0]])]
        strokes += [tack + CROSS_MM * np.array([[0, -1], [0, 1]])]
    return edges_object(f"{facts['title']} lines", strokes, scene, height_mm=LIFT_MM)


def edges_object(
    name: str, strokes: Any, scene: bpy.types.Scene, *, height_mm: float = 0.0
) -> bpy.types.Object:
    """Return an object of edges along strokes, each (k, 2) mm; it is in no collection yet."""
    import bpy
    import numpy as np

    points = np.concatenate([np.asarray(stroke, float) for stroke in strokes])
    points = np.column_stack([points, np.full(len(points), height_mm)])
    mesh = _mesh(name, bridge.points_from_mm(None, scene, points))
    starts = np.cumsum([0, *(len(stroke) for stroke in strokes[:-1])])
    edges = [
        np.column_stack([np.arange(s, s + len(k) - 1), np.arange(s + 1, s + len(k))])
        for s, k in zip(starts, strokes, strict=True)
    ]
    mesh_data.write_edges(mesh, np.concatenate(edges))
    return bpy.data.objects.new(name, mesh)


def arrow_strokes(arrow: np.ndarray) -> list[np.ndarray]:
    """Return shaft and barbs of an arrow given as (2, 2) tail and head."""
    import numpy as np

    tail, head = arrow
    along = head - tail
    across = np.array([-along[1], along[0]])
    barbs = [head - 0.12 * along + side * 0.06 * across for side in (1, -1)]
    return [arrow, *(np.array([barb, head]) for barb in barbs)]


def _lettering(facts: dict[str, Any], scene: bpy.types.Scene) -> list[bpy.types.Object]:
    """Return the labels as text objects."""
    from math import radians

    import bpy

    made = []
    for mark in facts["marks"]:
        if mark["kind"] != "label":
            continue
        curve = bpy.data.curves.new(f"{facts['title']} label", "FONT")
        curve.body = "\n".join(mark["lines"])
        curve.align_x, curve.align_y = "CENTER", "CENTER"
        # Blender's size is of the line, a capital letter is about 0.7 of it
        curve.size = mark["height_mm"] / 0.7 / bridge.mm_per_unit(scene)
        thing = bpy.data.objects.new(curve.name, curve)
        at = [[*mark["at"], 2 * LIFT_MM]]
        thing.location = bridge.points_from_mm(None, scene, at)[0]
        thing.rotation_euler = (0, 0, radians(mark["turn_deg"]))
        made.append(thing)
    return made


def paint(thing: bpy.types.Object, look: tuple[str, tuple[float, ...]]) -> None:
    """Give an object the material of this name and viewport colour, and no other."""
    import bpy

    name, colour = look
    material = bpy.data.materials.get(name)
    if material is None:
        material = bpy.data.materials.new(name)
        material.diffuse_color = colour
        material.roughness = 1.0
    thing.data.materials.clear()
    thing.data.materials.append(material)


def _mesh(name: str, points: np.ndarray) -> bpy.types.Mesh:
    """Return a mesh with these vertices and nothing else."""
    import bpy
    import numpy as np

    mesh = bpy.data.meshes.new(name)
    mesh.vertices.add(len(points))
    places = mesh.attributes["position"].data
    places.foreach_set("vector", np.ascontiguousarray(points, np.float32).ravel())
    return mesh
