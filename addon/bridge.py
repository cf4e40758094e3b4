"""Blender's data to mm and back: the only place that knows units, axes and windings.

The engine's space is the world of the scene in millimetres. A mould's own points go through its
world matrix, a mirroring matrix turns the triangles' winding round, and one Blender unit is
`1000 * scale_length` mm. Reads and writes whole arrays only.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from . import engine, mesh_data

if TYPE_CHECKING:
    import bpy
    import numpy as np

MAP_PREFIX = "mouldply_"  # of the float face attributes that keep the mould's maps
NO_VALUE = -1e30  # where a map has none; NaN in an attribute would spread through modifiers
MAP_ATTRIBUTE = "mouldply_map"  # the colours of the map that is shown


def mm_per_unit(scene: bpy.types.Scene) -> float:
    """Return the mm in one Blender unit; `scale_length` is single precision, hence the rounding."""
    return float(f"{1000 * scene.unit_settings.scale_length:.7g}")


@dataclass(frozen=True, slots=True, eq=False)
class MouldRead:
    """An evaluated mould: `vertices` (n, 3) mm, `triangles` (m, 3), `polygons` (m,) of the
    evaluated mesh, `seams` (k, 2) vertex pairs, `regions` ply id -> (m,) bool,
    `parts` the same of the mould's parts.
    """

    vertices: np.ndarray
    triangles: np.ndarray
    polygons: np.ndarray
    polygon_count: int
    seams: np.ndarray
    regions: dict[str, np.ndarray]
    parts: dict[str, np.ndarray]

    def middles(self, triangles: Any = slice(None)) -> np.ndarray:
        """Return (n, 3) mm the middles of these triangles, or of all."""
        found: np.ndarray = self.vertices[self.triangles[triangles]].mean(axis=1)
        return found

    def nearest(self, points: np.ndarray) -> np.ndarray:
        """Return (n,) the triangle nearest to each point in mm."""
        mesh = engine.load("surface.mesh").MouldMesh(self.vertices, self.triangles)
        faces: np.ndarray = engine.load("surface.locate").locate(mesh, points).faces
        return faces


@dataclass(frozen=True, slots=True, eq=False)
class MouldTaken:
    """An evaluated mould's arrays, copied as Blender holds them.

    `points` (n, 3) in its own space, `matrix` (4, 4) to the world, `per_unit` mm in one unit;
    `regions` and `parts` id -> (polygons,) bool.
    """

    points: np.ndarray
    faces: mesh_data.Faces
    matrix: np.ndarray
    per_unit: float
    seams: np.ndarray
    regions: dict[str, np.ndarray]
    parts: dict[str, np.ndarray]

    def read(self) -> MouldRead:
        """Work out triangles in mm; knows no Blender, so that a thread may do it."""
        import numpy as np

        mirrored = bool(np.linalg.det(self.matrix[:3, :3]) < 0)
        triangles, polygons = self.faces.triangles(self.points, mirrored=mirrored)
        regions, parts = (
            {one: inside[polygons] for one, inside in listed.items()}
            for listed in (self.regions, self.parts)
        )
        vertices = _in_mm(self.points, self.matrix, self.per_unit)
        return MouldRead(
            vertices, triangles, polygons, self.faces.count, self.seams, regions, parts
        )


def take_mould(mould: bpy.types.Object, scene: bpy.types.Scene, depsgraph: Any) -> MouldTaken:
    """Copy a mould as its modifiers leave it.

    Raises
    ------
    InputError : not a mesh, no faces, a scale of zero
    """
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
        regions, parts = (
            {
                one.id: mesh_data.face_values(mesh, mesh_data.region_attribute(one.id))
                for one in listed
            }
            for listed in (mould.mouldply.plies, mould.mouldply.parts)
        )
        return _taken(mesh, mould, scene, regions, parts)
    finally:
        evaluated.to_mesh_clear()


def take_own(mould: bpy.types.Object, scene: bpy.types.Scene) -> MouldTaken:
    """Copy a mould as it is without its modifiers, without regions; not in edit mode."""
    return _taken(mould.data, mould, scene, {}, {})


def _taken(mesh: Any, mould: Any, scene: Any, regions: Any, parts: Any) -> MouldTaken:
    import numpy as np

    return MouldTaken(
        points=mesh_data.values_of(mesh, "position", np.float32, 3),
        faces=mesh_data.take_faces(mesh),
        matrix=np.array(mould.matrix_world, dtype=np.float64),
        per_unit=mm_per_unit(scene),
        seams=mesh_data.seams_of(mesh),
        regions=regions,
        parts=parts,
    )


def read_mould(mould: bpy.types.Object, scene: bpy.types.Scene, depsgraph: Any) -> MouldRead:
    """Take and read a mould here and now; raises as `take_mould` does."""
    return take_mould(mould, scene, depsgraph).read()


def points_to_mm(mould: bpy.types.Object, scene: bpy.types.Scene, points: Any) -> np.ndarray:
    """Return (n, 3) points of the mould's own space in mm of the world."""
    import numpy as np

    matrix = np.array(mould.matrix_world, dtype=np.float64)
    return _in_mm(points, matrix, mm_per_unit(scene))


def _in_mm(points: Any, matrix: np.ndarray, per_unit: float) -> np.ndarray:
    import numpy as np

    points = np.asarray(points, np.float64).reshape(-1, 3)
    return (points @ matrix[:3, :3].T + matrix[:3, 3]) * per_unit


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


def source_polygons(mould: bpy.types.Object, context: Any, triangles: Any) -> np.ndarray:
    """Return the mould's own polygons under these triangles of its job.

    Where modifiers change the faces, the polygon nearest to each triangle's middle is meant.
    """
    import numpy as np

    taken = take_mould(mould, context.scene, context.evaluated_depsgraph_get())
    triangles = np.asarray(triangles, np.int64)
    triangles = triangles[triangles < taken.faces.triangle_count]
    if taken.faces.count == len(mould.data.polygons):
        return np.unique(taken.faces.under(triangles))
    read, own = taken.read(), take_own(mould, context.scene).read()
    return np.unique(own.polygons[own.nearest(read.middles(triangles))])


def corners_of(mould: bpy.types.Object, context: Any, triangles: Any) -> np.ndarray:
    """Return (k, 3, 3) where these triangles of its job are, in the mould's own space.

    Of a mould in object mode, as its modifiers leave it; triangles it has no longer are left out.
    """
    import numpy as np

    mesh = mould.evaluated_get(context.evaluated_depsgraph_get()).data
    points = mesh_data.values_of(mesh, "position", np.float32, 3)
    of_mesh, _ = mesh_data.take_faces(mesh).triangles(points, mirrored=False)
    triangles = np.asarray(triangles, np.int64)
    found: np.ndarray = points[of_mesh[triangles[triangles < len(of_mesh)]]]
    return found


def select_faces(mould: bpy.types.Object, context: Any, triangles: Any) -> int:
    """Select the mould's polygons under these triangles of its job; return how many."""
    import numpy as np

    polygons = source_polygons(mould, context, triangles)
    with mesh_data.object_mode(mould):
        chosen = np.zeros(len(mould.data.polygons), bool)
        chosen[polygons] = True
        mesh_data.select_polygons(mould.data, chosen)
    return len(polygons)


def frame_to_world(scene: bpy.types.Scene, rosette: Any) -> Any:
    """Return the world matrix of arrows that stand like a rosette: X 0 degrees, Z its normal."""
    import numpy as np
    from mathutils import Matrix

    matrix = np.eye(4)
    across = np.cross(rosette.normal, rosette.zero)
    matrix[:3, :3] = np.column_stack([rosette.zero, across, rosette.normal])
    matrix[:3, 3] = points_from_mm(None, scene, rosette.origin)[0]
    return Matrix(matrix.tolist())


def under_mouse(mould: bpy.types.Object, context: Any, event: Any) -> Any:
    """Return the mould's point under the mouse, in its own space; None beside it."""
    from bpy_extras import view3d_utils

    region, view = context.region, context.region_data
    if region is None or view is None:
        return None
    at = event.mouse_region_x, event.mouse_region_y
    back = mould.matrix_world.inverted()
    origin = back @ view3d_utils.region_2d_to_origin_3d(region, view, at)
    along = back.to_3x3() @ view3d_utils.region_2d_to_vector_3d(region, view, at)
    evaluated = mould.evaluated_get(context.evaluated_depsgraph_get())
    found, place, _, _ = evaluated.ray_cast(origin, along.normalized())
    return place if found else None
