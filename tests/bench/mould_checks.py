"""Mould checks: seconds and memory, and the ray test beside other libraries in the same run.

    python tests/bench/mould_checks.py [--sizes 100000 1000000] [--json FILE]

Aims: 100k triangles in 1 s without rays and 5 s with them; 1M in 20 s and 2 GB. Rays are compared
with Blender's own tree (mathutils, where the bpy module is installed) and health with trimesh.
Compare only within one run: times depend on the machine.
"""

import argparse
import json
import resource
import sys
import time
from itertools import pairwise
from pathlib import Path

import numpy as np

sys.path[:0] = [str(Path(__file__).parents[2]), str(Path(__file__).parents[1])]

from mould.moulds import POT, grid_faces, turned  # noqa: E402

from flatten.mould.check import check_mould  # noqa: E402
from flatten.mould.rays import Sight, spread_points  # noqa: E402
from flatten.mould.settings import MouldSettings  # noqa: E402
from flatten.surface.mesh import MouldMesh  # noqa: E402

UP = np.array([0.0, 0.0, 1.0])


def wavy_skin(triangles):
    """A dented, rippled skin of 300 mm."""
    count = int(np.sqrt(triangles / 2)) + 1
    x, y = np.meshgrid(*2 * (np.linspace(-150, 150, count),), indexing="ij")
    z = -60 * np.exp(-((np.hypot(x, y) / 100) ** 4)) + 1.5 * np.sin(x / 9) * np.cos(y / 7)
    points = np.column_stack([x.ravel(), y.ravel(), z.ravel()])
    return MouldMesh(points, grid_faces(count, count)[:, [0, 2, 1]]), None


def pot_block(triangles):
    """A closed block with a thin floor and an overhanging lip: every ray test has work to do."""
    rings = max(int(np.sqrt(triangles / 2) / 7), 2)
    corners = np.array([corner for _, corner in POT])
    share = np.arange(rings)[:, None] / rings
    stretches = [a * (1 - share) + b * share for a, b in pairwise(corners)]
    mesh = turned(np.concatenate([*stretches, corners[-1:]]), 7 * rings)
    middle = mesh.corners.mean(axis=1)
    inside = (np.hypot(middle[:, 0], middle[:, 1]) < 51.7) & (np.abs(middle[:, 2] - 31) < 28.999)
    inside |= (mesh.normals[:, 2] > 0.9) & (middle[:, 2] < 10)
    return mesh, np.flatnonzero(inside)


def seconds(call, times=1):
    """The median of a few runs."""
    took = []
    for _ in range(times):
        start = time.perf_counter()
        call()
        took.append(time.perf_counter() - start)
    return float(np.median(took))


def check_seconds(make, triangles, ray_test, times):
    """A whole check on a mesh with nothing cached."""
    mesh, layup = make(triangles)
    took = []
    for _ in range(times):
        fresh = MouldMesh(mesh.vertices, mesh.faces)
        start = time.perf_counter()
        report = check_mould(fresh, MouldSettings(ray_test=ray_test), layup)
        took.append(time.perf_counter() - start)
    return len(mesh.faces), float(np.median(took)), [f.code for f in report.findings]


def ray_row(make, triangles):
    """One ray along +z from each lay-up face: ours and Blender's tree, building included."""
    mesh, layup = make(triangles)
    faces = np.arange(len(mesh.faces)) if layup is None else layup
    face, points = spread_points(mesh, faces, 0)
    points = points + 0.02 * mesh.normals[face]
    blockers = np.flatnonzero(mesh.normals @ UP < 0)
    row = {"rays": len(points), "triangles": len(mesh.faces)}
    row["ours_s"] = seconds(lambda: Sight(mesh, UP, blockers).is_below(points))
    tree_class = _blender_tree()
    if tree_class:
        vertices, polygons = mesh.vertices.tolist(), mesh.faces[blockers].tolist()

        def blender():
            tree = tree_class.FromPolygons(vertices, polygons, all_triangles=True)
            return [tree.ray_cast(point, UP)[0] is not None for point in points.tolist()]

        row["blender_s"] = seconds(blender)
        row["ours_over_blender"] = row["ours_s"] / row["blender_s"]
        same = np.array(blender()) == Sight(mesh, UP, blockers).is_below(points)
        row["agree"] = float(same.mean())
    return row


def _blender_tree():
    try:
        import bpy  # noqa: F401
        from mathutils.bvhtree import BVHTree
    except ImportError:
        return None
    return BVHTree


def health_row(make, triangles):
    """Merging and sharing of edges, ours and trimesh's."""
    import trimesh

    from flatten.mould.health import check_health
    from flatten.mould.weld import weld

    mesh, _ = make(triangles)
    loose = mesh.corners.reshape(-1, 3)
    faces = np.arange(len(loose)).reshape(-1, 3)

    def theirs():
        other = trimesh.Trimesh(loose, faces, process=True)
        return other.is_watertight, other.is_winding_consistent, other.body_count

    try:
        theirs()
        told = seconds(theirs)
    except ImportError:  # its body count wants an extra library
        told = seconds(lambda: trimesh.Trimesh(loose, faces, process=True).is_watertight)
    ours = seconds(lambda: check_health(weld(MouldMesh(loose, faces))))
    return {"triangles": len(faces), "ours_s": ours, "trimesh_s": told, "ratio": ours / told}


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sizes", type=int, nargs="+", default=[100_000, 1_000_000])
    parser.add_argument("--json", type=Path)
    asked = parser.parse_args()
    rows = []
    for triangles in asked.sizes:
        times = 3 if triangles <= 200_000 else 1
        for make in (wavy_skin, pot_block):
            for ray_test in (False, True):
                count, took, codes = check_seconds(make, triangles, ray_test, times)
                peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
                row = {"check": make.__name__, "triangles": count, "rays": ray_test}
                rows.append(row | {"s": took, "peak_gb_so_far": peak, "findings": codes})
                print(json.dumps(rows[-1]), flush=True)
    for triangles in asked.sizes[:1]:
        for make in (wavy_skin, pot_block):
            rows.append({"ray_test": make.__name__} | ray_row(make, triangles))
            print(json.dumps(rows[-1]), flush=True)
            rows.append({"health": make.__name__} | health_row(make, triangles))
            print(json.dumps(rows[-1]), flush=True)
    if asked.json:
        asked.json.write_text(json.dumps(rows, indent=1))


if __name__ == "__main__":
    main()
