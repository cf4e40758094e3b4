"""A mesh's arrays, read and written whole: attributes, regions, selections. Knows no units.

Longer than most files: reading and writing mirror each other.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import bpy
    import numpy as np


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
    mesh.update_tag()  # not `update`: the shape is the same, its normals need not be found again


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


def select_polygons(mesh: bpy.types.Mesh, chosen: np.ndarray) -> None:
    """Select exactly these polygons, (faces,) bool, of a mesh in object mode, hidden or not."""
    import numpy as np

    corners = np.repeat(chosen, corner_counts(mesh))
    for domain, count, name, of_corner in (
        ("POINT", len(mesh.vertices), "vert", ".corner_vert"),
        ("EDGE", len(mesh.edges), "edge", ".corner_edge"),
    ):
        touched = np.zeros(count, bool)
        touched[values_of(mesh, of_corner, np.int32)[corners]] = True
        _select(mesh, domain, name, touched)
    _select(mesh, "FACE", "poly", chosen)
    mesh.update_tag()  # not `update`: the shape is the same, its normals need not be found again


def _select(mesh: bpy.types.Mesh, domain: str, name: str, chosen: np.ndarray) -> None:
    """Select elements of one kind, and take what hides them off: edit mode would drop them."""
    # Through `edges` it would take 30 times as long.
    write_attribute(mesh, f".select_{name}", "BOOLEAN", domain, chosen)
    if mesh.attributes.get(f".hide_{name}") is not None:
        hidden = values_of(mesh, f".hide_{name}", bool)
        if (hidden & chosen).any():
            write_attribute(mesh, f".hide_{name}", "BOOLEAN", domain, hidden & ~chosen)


def write_triangles(mesh: bpy.types.Mesh, triangles: np.ndarray) -> None:
    """Give a mesh of bare vertices its (m, 3) triangles."""
    import numpy as np

    mesh.loops.add(3 * len(triangles))
    corners = mesh.attributes[".corner_vert"].data  # through `loops` it takes ten times as long
    corners.foreach_set("value", np.ascontiguousarray(triangles, np.int32).ravel())
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


def face_numbers(mesh: bpy.types.Mesh, name: str) -> np.ndarray:
    """Return an integer face attribute as (faces,)."""
    import numpy as np

    return values_of(mesh, name, np.int32)


def face_floats(mesh: bpy.types.Mesh, name: str) -> np.ndarray:
    """Return a float face attribute as (faces,)."""
    import numpy as np

    return values_of(mesh, name, np.float32)


def vertex_points(mesh: bpy.types.Mesh, name: str) -> np.ndarray:
    """Return a vector point attribute as (vertices, 3)."""
    import numpy as np

    return values_of(mesh, name, np.float32, 3)


def corner_vertices(mesh: bpy.types.Mesh) -> np.ndarray:
    """Return (corners,) the vertex of each corner."""
    import numpy as np

    return values_of(mesh, ".corner_vert", np.int32)


def values_of(mesh: Any, name: str, dtype: Any, width: int = 1) -> np.ndarray:
    """Return an attribute's values, read in one go."""
    import numpy as np

    data = mesh.attributes[name].data
    values = np.empty(len(data) * width, dtype)
    data.foreach_get("vector" if width == 3 else "value", values)
    return values.reshape(-1, width) if width > 1 else values


def face_values(mesh: Any, name: str) -> np.ndarray:
    """Return a face attribute as (faces,) bool; all False where the mesh has none."""
    import numpy as np

    attribute = mesh.attributes.get(name)
    if attribute is None or attribute.domain != "FACE" or attribute.data_type != "BOOLEAN":
        return np.zeros(len(mesh.polygons), bool)
    return values_of(mesh, name, bool)


@dataclass(frozen=True, slots=True, eq=False)
class Faces:
    """Polygons as Blender holds them: (corners,) the vertex of each corner, and how many there are.

    `sides` 3 or 4 where all polygons have as many, else 0; then `parted` are Blender's own
    triangles, (m, 3), and the polygon of each, (m,).
    """

    corner_vertex: np.ndarray
    count: int
    sides: int
    parted: tuple[np.ndarray, np.ndarray] | None = None

    def triangles(self, points: np.ndarray, *, mirrored: bool) -> tuple[np.ndarray, np.ndarray]:
        """Return (m, 3) vertex numbers and (m,) the polygon of each; needs no Blender."""
        import numpy as np

        if self.parted is not None:
            triangles, polygons = self.parted
        elif self.sides == 3:
            triangles, polygons = self.corner_vertex.reshape(-1, 3), np.arange(self.count)
        else:
            triangles = _split_quads(points, self.corner_vertex)
            polygons = np.repeat(np.arange(self.count), 2)
        return triangles[:, ::-1] if mirrored else triangles, polygons

    @property
    def triangle_count(self) -> int:
        """How many triangles there are."""
        return len(self.parted[1]) if self.parted else self.count * (self.sides - 2)

    def under(self, triangles: np.ndarray) -> np.ndarray:
        """Return (n,) the polygons of these triangles, without working the triangles out."""
        return self.parted[1][triangles] if self.parted else triangles // (self.sides - 2)


def take_faces(mesh: Any) -> Faces:
    """Copy the polygons out of a mesh."""
    import numpy as np

    corner_vertex = values_of(mesh, ".corner_vert", np.int32)
    count = len(mesh.polygons)
    if len(corner_vertex) == 3 * count:  # all triangles, as every STL
        return Faces(corner_vertex, count, 3)
    if len(corner_vertex) == 4 * count and (corner_counts(mesh) == 4).all():
        return Faces(corner_vertex, count, 4)
    return Faces(corner_vertex, count, 0, _blender_triangles(mesh, corner_vertex))


def triangles_of(mesh: Any, *, mirrored: bool) -> tuple[np.ndarray, np.ndarray]:
    """Return (m, 3) vertex numbers and (m,) the polygon of each triangle, as Blender parts them."""
    import numpy as np

    return take_faces(mesh).triangles(values_of(mesh, "position", np.float32, 3), mirrored=mirrored)


def corner_counts(mesh: Any) -> np.ndarray:
    """Return (polygons,) how many corners each has; `loop_total` would take longer to read."""
    import numpy as np

    first = np.empty(len(mesh.polygons), np.int32)
    mesh.polygons.foreach_get("loop_start", first)
    return np.diff(first, append=len(mesh.loops))


def _split_quads(points: np.ndarray, corner_vertex: np.ndarray) -> np.ndarray:
    """Return two triangles for each quad: along its first diagonal, unless that leaves it.

    It does where both halves lie on one side of the diagonal: (d1 x d2) . (d3 x d2) > 0 with the
    other corners d1, d2, d3 seen from the first. Blender's own list of triangles is the same but
    takes 18 ms to read for 100k quads instead of 6.
    """
    import numpy as np

    quads = corner_vertex.reshape(-1, 4)
    start = points[quads[:, 0]]
    d1, d2, d3 = (points[quads[:, corner]] - start for corner in (1, 2, 3))
    outside = _dots(d1, d3) * _dots(d2, d2) > _dots(d1, d2) * _dots(d2, d3)
    triangles = np.empty((len(quads), 2, 3), np.int32)
    triangles[:, 0, :2], triangles[:, 1, 1:] = quads[:, :2], quads[:, 2:]
    triangles[:, 0, 2] = np.where(outside, quads[:, 3], quads[:, 2])
    triangles[:, 1, 0] = np.where(outside, quads[:, 1], quads[:, 0])
    return triangles.reshape(-1, 3)


def _dots(one: np.ndarray, other: np.ndarray) -> np.ndarray:
    import numpy as np

    return np.einsum("ij,ij->i", one, other)


def _blender_triangles(mesh: Any, corner_vertex: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    import numpy as np

    mesh.calc_loop_triangles()
    count = len(mesh.loop_triangles)
    corners = np.empty(3 * count, np.int32)
    mesh.loop_triangles.foreach_get("loops", corners)
    polygons = np.empty(count, np.int32)
    mesh.loop_triangle_polygons.foreach_get("value", polygons)
    return corner_vertex[corners].reshape(-1, 3), polygons


def seams_of(mesh: Any) -> np.ndarray:
    """Return (k, 2) the vertices of the edges marked as seams."""
    import numpy as np

    seam = seam_edges(mesh)
    if seam is None or not seam.any():
        return np.zeros((0, 2), np.int64)
    ends = np.empty(2 * len(mesh.edges), np.int32)
    mesh.attributes[".edge_verts"].data.foreach_get("value", ends)
    return ends.reshape(-1, 2)[seam].astype(np.int64)


def seam_edges(mesh: Any) -> np.ndarray | None:
    """Return (edges,) whether each is marked as a seam; None where none ever was."""
    import numpy as np

    marked = mesh.attributes.get("uv_seam") or mesh.attributes.get(".uv_seam")
    if marked is None:
        return None
    seam = np.empty(len(mesh.edges), bool)
    marked.data.foreach_get("value", seam)
    return seam


def region_attribute(ply_id: str) -> str:
    """Return the name of the boolean face attribute that holds a ply's region."""
    return f"mouldply_{ply_id}"


def mark_sharp(mesh: bpy.types.Mesh, angle: float) -> None:
    """Mark the edges whose faces turn by more than `angle` radians as sharp."""
    mesh.set_sharp_from_angle(angle=angle)
    mesh.update()
