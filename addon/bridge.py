"""Blender's data to mm and back: the only place that knows units, axes and windings.

The engine's space is the world of the scene in millimetres. A mould's own points go through its
world matrix, a mirroring matrix turns the triangles' winding round, and one Blender unit is
`1000 * scale_length` mm. Reads and writes whole arrays only.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from . import engine

if TYPE_CHECKING:
    import bpy
    import numpy as np

MAP_PREFIX = "mouldply_"  # of the float face attributes that keep the mould's maps
MAP_ATTRIBUTE = "mouldply_map"  # the colours of the map that is shown


def mm_per_unit(scene: bpy.types.Scene) -> float:
    """Return the mm in one Blender unit; `scale_length` is single precision, hence the rounding."""
    return float(f"{1000 * scene.unit_settings.scale_length:.7g}")


def region_attribute(ply_id: str) -> str:
    """Return the name of the boolean face attribute that holds a ply's region."""
    return f"mouldply_{ply_id}"


@dataclass(frozen=True, slots=True, eq=False)
class MouldRead:
    """An evaluated mould: `vertices` (n, 3) mm, `triangles` (m, 3), `polygons` (m,) of the
    evaluated mesh, `seams` (k, 2) vertex pairs, `regions` ply id -> (m,) bool.
    """

    vertices: np.ndarray
    triangles: np.ndarray
    polygons: np.ndarray
    polygon_count: int
    seams: np.ndarray
    regions: dict[str, np.ndarray]


def read_mould(mould: bpy.types.Object, scene: bpy.types.Scene, depsgraph: Any) -> MouldRead:
    """Read a mould as its modifiers leave it.

    Raises
    ------
    InputError : not a mesh, no faces, a scale of zero
    """
    import numpy as np

    _refuse_unusable(mould)
    if mould.mode == "EDIT":
        mould.update_from_editmode()
        depsgraph.update()
    evaluated = mould.evaluated_get(depsgraph)
    mesh = evaluated.to_mesh()
    try:
        if not len(mesh.polygons):
            raise engine.load("errors").InputError(
                f"Mould '{mould.name}' has no faces.", "Choose a mesh with faces as the mould."
            )
        vertices = points_to_mm(mould, scene, _values(mesh, "position", np.float32, 3))
        triangles, polygons = _triangles(mesh, mirrored=mould.matrix_world.determinant() < 0)
        regions = {
            ply.id: _bools(mesh, region_attribute(ply.id))[polygons] for ply in mould.mouldply.plies
        }
        return MouldRead(vertices, triangles, polygons, len(mesh.polygons), _seams(mesh), regions)
    finally:
        evaluated.to_mesh_clear()


def points_to_mm(mould: bpy.types.Object, scene: bpy.types.Scene, points: Any) -> np.ndarray:
    """Return (n, 3) points of the mould's own space in mm of the world."""
    import numpy as np

    matrix = np.array(mould.matrix_world, dtype=np.float64)
    points = np.asarray(points, np.float64).reshape(-1, 3)
    return (points @ matrix[:3, :3].T + matrix[:3, 3]) * mm_per_unit(scene)


def points_from_mm(
    mould: bpy.types.Object | None, scene: bpy.types.Scene, points: Any
) -> np.ndarray:
    """Return (n, 3) mm of the world in Blender units, in the mould's own space if one is given."""
    import numpy as np

    world = np.asarray(points, np.float64).reshape(-1, 3) / mm_per_unit(scene)
    if mould is None:
        return world
    matrix = np.array(mould.matrix_world.inverted(), dtype=np.float64)
    return world @ matrix[:3, :3].T + matrix[:3, 3]


def direction_to_world(thing: bpy.types.Object, axis: tuple[float, float, float]) -> np.ndarray:
    """Return (3,) where one of an object's own axes points in the world."""
    import numpy as np

    return np.array(thing.matrix_world.to_3x3(), dtype=np.float64) @ np.array(axis)


def _refuse_unusable(mould: bpy.types.Object) -> None:
    error = engine.load("errors").InputError
    if mould.type != "MESH":
        raise error(f"'{mould.name}' is a {mould.type.lower()}.", "Choose a mesh as the mould.")
    if abs(mould.matrix_world.determinant()) < 1e-18:
        raise error(
            f"Mould '{mould.name}' is scaled to nothing in one direction.",
            "Set its scale to 1 with Object > Clear > Scale.",
        )


def _values(mesh: Any, name: str, dtype: Any, width: int = 1) -> np.ndarray:
    """Return an attribute's values, read in one go."""
    import numpy as np

    data = mesh.attributes[name].data
    values = np.empty(len(data) * width, dtype)
    data.foreach_get("vector" if width == 3 else "value", values)
    return values.reshape(-1, width) if width > 1 else values


def _bools(mesh: Any, name: str) -> np.ndarray:
    """Return a face attribute as (faces,) bool; all False where the mesh has none."""
    import numpy as np

    attribute = mesh.attributes.get(name)
    if attribute is None or attribute.domain != "FACE" or attribute.data_type != "BOOLEAN":
        return np.zeros(len(mesh.polygons), bool)
    return _values(mesh, name, bool)


def _triangles(mesh: Any, *, mirrored: bool) -> tuple[np.ndarray, np.ndarray]:
    """Return (m, 3) vertex numbers and (m,) the polygon of each triangle."""
    import numpy as np

    corner_vertex = _values(mesh, ".corner_vert", np.int32)
    if len(corner_vertex) == 3 * len(mesh.polygons):  # all triangles, as every STL
        triangles = corner_vertex.reshape(-1, 3)
        polygons = np.arange(len(triangles))
    else:
        mesh.calc_loop_triangles()
        count = len(mesh.loop_triangles)
        corners = np.empty(3 * count, np.int32)
        mesh.loop_triangles.foreach_get("loops", corners)
        polygons = np.empty(count, np.int32)
        mesh.loop_triangle_polygons.foreach_get("value", polygons)
        triangles = corner_vertex[corners].reshape(-1, 3)
    return triangles[:, ::-1] if mirrored else triangles, polygons


def _seams(mesh: Any) -> np.ndarray:
    """Return (k, 2) the vertices of the edges marked as seams."""
    import numpy as np

    marked = mesh.attributes.get("uv_seam") or mesh.attributes.get(".uv_seam")
    if marked is None:
        return np.zeros((0, 2), np.int64)
    seam = np.empty(len(mesh.edges), bool)
    marked.data.foreach_get("value", seam)
    ends = np.empty(2 * len(mesh.edges), np.int32)
    mesh.attributes[".edge_verts"].data.foreach_get("value", ends)
    return ends.reshape(-1, 2)[seam].astype(np.int64)


def face_values(mesh: bpy.types.Mesh, name: str) -> np.ndarray:
    """Return a boolean face attribute of a mesh in object mode as (faces,) bool."""
    return _bools(mesh, name)


def write_region(mesh: bpy.types.Mesh, ply_id: str, faces: Any) -> None:
    """Store (faces,) bool as a ply's region on a mesh in object mode."""
    import numpy as np

    name = region_attribute(ply_id)
    attribute = mesh.attributes.get(name)
    if attribute is not None and (attribute.domain, attribute.data_type) != ("FACE", "BOOLEAN"):
        mesh.attributes.remove(attribute)
        attribute = None
    attribute = attribute or mesh.attributes.new(name, "BOOLEAN", "FACE")
    attribute.data.foreach_set("value", np.ascontiguousarray(faces, bool))
    mesh.update()


def selected_faces(mesh: bpy.types.Mesh, *, hidden: bool = False) -> np.ndarray:
    """Return (faces,) bool of the selected ones in object mode, without hidden ones."""
    import numpy as np

    selected = np.zeros(len(mesh.polygons), bool)
    mesh.polygons.foreach_get("select", selected)
    if not hidden:
        out_of_sight = np.zeros(len(mesh.polygons), bool)
        mesh.polygons.foreach_get("hide", out_of_sight)
        selected &= ~out_of_sight
    return selected


@contextmanager
def object_mode(mould: bpy.types.Object) -> Iterator[None]:
    """Leave edit or paint mode while attributes are written, then go back."""
    import bpy

    mode = mould.mode
    if mode == "OBJECT":
        yield
        return
    bpy.ops.object.mode_set(mode="OBJECT")
    try:
        yield
    finally:
        bpy.ops.object.mode_set(mode=mode)


def source_polygons(mould: bpy.types.Object, context: Any, triangles: Any) -> np.ndarray:
    """Return the mould's own polygons under these triangles of its job.

    Where modifiers change the faces, the polygon nearest to each triangle's middle is meant.
    """
    import numpy as np

    read = read_mould(mould, context.scene, context.evaluated_depsgraph_get())
    triangles = np.asarray(triangles, np.int64)
    triangles = triangles[triangles < len(read.triangles)]
    if read.polygon_count == len(mould.data.polygons):
        return np.unique(read.polygons[triangles])
    middles = read.vertices[read.triangles[triangles]].mean(axis=1)
    return np.unique(nearest_polygons(mould, context.scene, middles))


def nearest_polygons(mould: bpy.types.Object, scene: bpy.types.Scene, points_mm: Any) -> np.ndarray:
    """Return (n,) the mould's own polygon nearest to each point in mm."""
    import numpy as np
    from mathutils.bvhtree import BVHTree

    mesh = mould.data
    corners = [tuple(polygon.vertices) for polygon in mesh.polygons]
    tree = BVHTree.FromPolygons([vertex.co.copy() for vertex in mesh.vertices], corners)
    local = points_from_mm(mould, scene, points_mm)
    return np.array([tree.find_nearest(point)[2] for point in local.tolist()], np.int64)


def select_faces(mould: bpy.types.Object, context: Any, triangles: Any) -> int:
    """Select the mould's polygons under these triangles of its job; return how many."""
    import numpy as np

    polygons = source_polygons(mould, context, triangles)
    with object_mode(mould):
        chosen = np.zeros(len(mould.data.polygons), bool)
        chosen[polygons] = True
        select_polygons(mould.data, chosen)
    return len(polygons)


def select_polygons(mesh: bpy.types.Mesh, chosen: np.ndarray) -> None:
    """Select exactly these polygons, (faces,) bool, of a mesh in object mode, and show them."""
    import numpy as np

    sides = np.zeros(len(mesh.polygons), np.int32)
    mesh.polygons.foreach_get("loop_total", sides)
    corners = np.repeat(chosen, sides)
    for data, name in ((mesh.vertices, ".corner_vert"), (mesh.edges, ".corner_edge")):
        touched = np.zeros(len(data), bool)
        touched[_values(mesh, name, np.int32)[corners]] = True
        data.foreach_set("select", touched)
    mesh.polygons.foreach_set("select", chosen)
    mesh.update()


def write_triangles(mesh: bpy.types.Mesh, triangles: np.ndarray) -> None:
    """Give a mesh of bare vertices its (m, 3) triangles."""
    import numpy as np

    mesh.loops.add(3 * len(triangles))
    mesh.loops.foreach_set("vertex_index", np.ascontiguousarray(triangles, np.int32).ravel())
    mesh.polygons.add(len(triangles))
    mesh.polygons.foreach_set("loop_start", np.arange(0, 3 * len(triangles), 3, dtype=np.int32))
    mesh.update(calc_edges=True)


def write_edges(mesh: bpy.types.Mesh, edges: np.ndarray) -> None:
    """Give a mesh of bare vertices its (k, 2) edges."""
    import numpy as np

    mesh.edges.add(len(edges))
    mesh.edges.foreach_set("vertices", np.ascontiguousarray(edges, np.int32).ravel())
    mesh.update()


def write_attribute(
    mesh: bpy.types.Mesh, name: str, kind: str, domain: str, values: np.ndarray
) -> None:
    """Write an attribute of a mesh in object mode, in place of one of the same name."""
    import numpy as np

    attribute = mesh.attributes.get(name)
    if attribute is not None and (attribute.domain, attribute.data_type) != (domain, kind):
        mesh.attributes.remove(attribute)
        attribute = None
    attribute = attribute or mesh.attributes.new(name, kind, domain)
    dtype = {"FLOAT": np.float32, "FLOAT_VECTOR": np.float32, "INT": np.int32, "BOOLEAN": bool}
    plain = np.ascontiguousarray(values, dtype[kind]).ravel()
    attribute.data.foreach_set("vector" if kind == "FLOAT_VECTOR" else "value", plain)


NO_VALUE = -1e30  # where a map has none: attributes hold NaN, but Blender's spreadsheet dislikes it


def write_map(mould: bpy.types.Object, read: MouldRead, name: str, values: np.ndarray) -> None:
    """Store values (m,) of the job's triangles as a face attribute of the mould's own polygons.

    A polygon of several triangles gets their least value: a map shows the worst place of draft,
    radius and wall.
    """
    import numpy as np

    mesh = mould.data
    known = np.isfinite(values)
    least = np.full(read.polygon_count, np.inf)
    np.minimum.at(least, read.polygons[known], values[known])
    per_polygon = np.where(np.isfinite(least), least, NO_VALUE)
    if read.polygon_count != len(mesh.polygons):
        per_polygon = per_polygon[read.polygons[_nearest_triangles(mould, read)]]
    write_attribute(mesh, name, "FLOAT", "FACE", per_polygon)


def own_polygons(mould: bpy.types.Object, scene: bpy.types.Scene, read: MouldRead) -> np.ndarray:
    """Return (m,) the mould's own polygon under each triangle of its job."""
    if read.polygon_count == len(mould.data.polygons):
        return read.polygons
    middles = read.vertices[read.triangles].mean(axis=1)
    return nearest_polygons(mould, scene, middles)


def face_numbers(mesh: bpy.types.Mesh, name: str) -> np.ndarray:
    """Return an integer face attribute as (faces,)."""
    import numpy as np

    return _values(mesh, name, np.int32)


def face_floats(mesh: bpy.types.Mesh, name: str) -> np.ndarray:
    """Return a float face attribute as (faces,)."""
    import numpy as np

    return _values(mesh, name, np.float32)


def vertex_points(mesh: bpy.types.Mesh, name: str) -> np.ndarray:
    """Return a vector point attribute as (vertices, 3)."""
    import numpy as np

    return _values(mesh, name, np.float32, 3)


def corner_vertices(mesh: bpy.types.Mesh) -> np.ndarray:
    """Return (corners,) the vertex of each corner."""
    import numpy as np

    return _values(mesh, ".corner_vert", np.int32)


def _nearest_triangles(mould: bpy.types.Object, read: MouldRead) -> np.ndarray:
    """Return (polygons,) the job's triangle nearest to each of the mould's own polygons."""
    import numpy as np
    from mathutils.bvhtree import BVHTree

    import bpy

    tree = BVHTree.FromPolygons(read.vertices.tolist(), read.triangles.tolist())
    centres = np.empty(3 * len(mould.data.polygons), np.float32)
    mould.data.polygons.foreach_get("center", centres)
    points = points_to_mm(mould, bpy.context.scene, centres)
    return np.array([tree.find_nearest(point)[2] for point in points.tolist()], np.int64)
