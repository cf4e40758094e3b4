"""Generic ways to make a surface flat, to measure beside a drape: libigl's and Blender's own.

Each takes a mesh in mm and returns the same vertices in the flat, (n, 2) mm, of the same total
area as the mesh, since an unwrap has no size of its own.
"""

from __future__ import annotations

import sys
from collections.abc import Callable

import numpy as np

from flatten.surface.mesh import SurfaceMesh

Flat = Callable[[SurfaceMesh], np.ndarray]


def lscm(mesh: SurfaceMesh) -> np.ndarray:
    """libigl's least squares conformal map."""
    return sized(mesh, _lscm(mesh))


def arap(mesh: SurfaceMesh) -> np.ndarray:
    """libigl's as-rigid-as-possible map, a hundred steps from the conformal one."""
    import igl

    v, f, start = np.array(mesh.vertices), np.array(mesh.faces), sized(mesh, _lscm(mesh))
    data = igl.ARAPData()
    data.max_iter, data.energy = 100, igl.ARAP_ENERGY_TYPE_ELEMENTS
    held = np.array([mesh.faces[0, 0]])
    igl.arap_precomputation(v, f, 2, held, data)
    return sized(mesh, igl.arap_solve(start[held], data, start))


def blender(method: str) -> Flat:
    """Blender's own unwrap by this method."""

    def flat(mesh: SurfaceMesh) -> np.ndarray:
        import bpy

        data = edited_in_blender(mesh)
        bpy.ops.uv.unwrap(method=method, margin=0.0)
        bpy.ops.object.mode_set(mode="OBJECT")
        uv = np.zeros(2 * len(data.loops))
        corner = np.zeros(len(data.loops), int)
        data.uv_layers.active.data.foreach_get("uv", uv)
        data.loops.foreach_get("vertex_index", corner)
        places = np.zeros((len(mesh.vertices), 2))
        places[corner] = uv.reshape(-1, 2)
        return sized(mesh, places)

    return flat


def edited_in_blender(mesh: SurfaceMesh):
    """Open the mesh alone in Blender, in edit mode, all selected; return Blender's mesh."""
    import bpy

    bpy.ops.wm.read_factory_settings(use_empty=True)
    data = bpy.data.meshes.new("part")
    data.from_pydata(mesh.vertices.tolist(), [], mesh.faces.tolist())
    thing = bpy.data.objects.new("part", data)
    bpy.context.scene.collection.objects.link(thing)
    bpy.context.view_layer.objects.active = thing
    thing.select_set(True)
    bpy.ops.object.mode_set(mode="EDIT")
    bpy.ops.mesh.select_all(action="SELECT")
    return data


def blender_methods() -> dict[str, str]:
    """Return Blender's own methods: their names in small letters, and its identifiers."""
    try:
        import bpy
    except ImportError:
        print("bpy is not installed: Blender's methods are left out", file=sys.stderr)
        return {}
    items = bpy.ops.uv.unwrap.get_rna_type().properties["method"].enum_items
    return {item.name.lower(): item.identifier for item in items}


def methods() -> dict[str, Flat]:
    """Return every method there is here, by name."""
    found: dict[str, Flat] = {"libigl, conformal": lscm, "libigl, as rigid as possible": arap}
    theirs = blender_methods().items()
    return found | {f"Blender, {name}": blender(method) for name, method in theirs}


def sized(mesh: SurfaceMesh, flat: np.ndarray) -> np.ndarray:
    """Return the layout with the mesh's area and its winding."""
    a, b, c = np.moveaxis(flat[mesh.faces], 1, 0)
    double = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]
    total = double.sum() / 2
    scale = np.sqrt(mesh.areas.sum() / abs(total))
    return flat * scale * np.array([1.0, np.sign(total)])


def turned_to(flat: np.ndarray, other: np.ndarray) -> np.ndarray:
    """Return the layout turned and moved onto another as well as it goes (Kabsch 1976)."""
    mean, goal = flat.mean(axis=0), other.mean(axis=0)
    u, _, v = np.linalg.svd((flat - mean).T @ (other - goal))
    keep = np.diag([1.0, np.sign(np.linalg.det(u @ v))])
    return (flat - mean) @ (u @ keep @ v) + goal


def _lscm(mesh: SurfaceMesh) -> np.ndarray:
    import igl

    v, f = np.array(mesh.vertices), np.array(mesh.faces)
    loop = igl.boundary_loop(f)
    ends = np.array([loop[0], loop[len(loop) // 2]])
    at = np.array([[0.0, 0.0], [np.linalg.norm(v[ends[0]] - v[ends[1]]), 0.0]])
    flat = igl.lscm(v, f, ends, at)
    return np.ascontiguousarray(flat[0] if isinstance(flat, tuple) else flat)
