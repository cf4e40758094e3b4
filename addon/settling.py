"""A mould that has just been imported: scaled, welded, stood on the grid in the middle."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from . import mesh_data

if TYPE_CHECKING:
    import bpy


def settle_mesh(
    mould: bpy.types.Object, factor: float, *, recentre: bool, weld_share: float
) -> None:
    """Scale a mould's mesh by `factor` with its object's own scale and turn applied, weld doubles
    closer than `weld_share` of its size, and stand it on the grid in the middle.
    """
    import bmesh
    from mathutils import Matrix, Vector

    mesh = mould.data
    with mesh_data.object_mode(mould):
        turn = mould.matrix_world.to_3x3().to_4x4() if recentre else Matrix.Identity(4)
        mesh.transform(Matrix.Scale(factor, 4) @ turn)
        if turn.determinant() < 0:
            mesh.flip_normals()
        if recentre:
            mould.matrix_world = Matrix.Identity(4)
        if weld_share > 0:
            low, high = _box(mesh)
            work = bmesh.new()
            work.from_mesh(mesh)
            bmesh.ops.remove_doubles(work, verts=work.verts, dist=weld_share * max(high - low))
            work.to_mesh(mesh)
            work.free()
        if recentre and len(mesh.vertices):
            low, high = _box(mesh)
            middle = Vector(((low[0] + high[0]) / 2, (low[1] + high[1]) / 2, low[2]))
            mesh.transform(Matrix.Translation(-middle))
        mesh.update()


def _box(mesh: bpy.types.Mesh) -> tuple[Any, Any]:
    """Return (3,) the least and the greatest coordinates of a mesh; zeros for an empty one."""
    from mathutils import Vector

    if not len(mesh.vertices):
        return Vector(), Vector()
    import numpy as np

    axes = mesh_data.values_of(mesh, "position", np.float32, 3).T
    return Vector(axis.min() for axis in axes), Vector(axis.max() for axis in axes)
