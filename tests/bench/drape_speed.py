"""Seconds of a drape beside a generic unwrap in the same run, medians of three, as JSON.

Run: python tests/bench/drape_speed.py [triangles ...]. The unwraps: libigl's LSCM followed by ten
ARAP steps, and Blender's own methods where bpy is installed (its operator alone, on a mesh that is
open for editing already).
"""

from __future__ import annotations

import json
import statistics
import sys
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

import numpy as np

sys.path[:0] = [str(Path(__file__).parents[2]), str(Path(__file__).parents[1])]

from shapes import bumps, irregular_cap  # noqa: E402
from unwraps import blender_methods, edited_in_blender  # noqa: E402

from flatten.cloth.drape import drape_surface  # noqa: E402
from flatten.cloth.library import load_fabrics  # noqa: E402
from flatten.surface.mesh import SurfaceMesh  # noqa: E402

TWILL = load_fabrics()["carbon_twill_210"]
REPEATS = 3


def seconds(run: Callable[[], object], repeats: int = REPEATS) -> float:
    """Median wall time."""
    taken = []
    for _ in range(repeats):
        start = time.perf_counter()
        run()
        taken.append(time.perf_counter() - start)
    return statistics.median(taken)


def cloth(mesh: SurfaceMesh, tack: np.ndarray) -> Callable[[], object]:
    """One drape from a mesh nothing is known of yet."""
    return lambda: drape_surface(
        SurfaceMesh(mesh.vertices, mesh.faces),
        TWILL,
        tack_mm=tack,
        warp=(1, 0.2, 0),
        max_edge_mm=100,
    )


def generic(mesh: SurfaceMesh) -> Callable[[], object]:
    """libigl: LSCM, then ten ARAP steps."""
    import igl

    v, f = np.array(mesh.vertices), np.array(mesh.faces)

    def run() -> object:
        loop = igl.boundary_loop(f)
        ends = np.array([loop[0], loop[len(loop) // 2]])
        at = np.array([[0.0, 0.0], [np.linalg.norm(v[ends[0]] - v[ends[1]]), 0.0]])
        start = igl.lscm(v, f, ends, at)
        start = np.ascontiguousarray(start[0] if isinstance(start, tuple) else start)
        data = igl.ARAPData()
        data.max_iter, data.energy = 10, igl.ARAP_ENERGY_TYPE_ELEMENTS
        igl.arap_precomputation(v, f, 2, ends[:1], data)
        return igl.arap_solve(start[ends[:1]], data, start)

    return run


def in_blender(mesh: SurfaceMesh, repeats: int) -> dict[str, float]:
    """Seconds of each of Blender's methods."""
    found = {}
    for name, method in blender_methods().items():
        import bpy

        edited_in_blender(mesh)
        run = partial(bpy.ops.uv.unwrap, method=method, margin=0.0)
        found[name] = seconds(run, repeats)
    return found


def measure(triangles: int) -> list[dict]:
    """One row a part."""
    rows = []
    parts = {
        "75-degree cap": irregular_cap(150, 75, triangles),
        "bumps": bumps(triangles, size_mm=400),
    }
    for part, mesh in parts.items():
        middle = mesh.vertices[np.argmin((mesh.vertices[:, :2] ** 2).sum(axis=1))]
        repeats = REPEATS if triangles <= 300_000 else 1
        row = {"part": part, "triangles": len(mesh.faces)}
        row["cloth_s"] = seconds(cloth(mesh, middle), repeats)
        if triangles <= 300_000:
            row["generic_s"] = seconds(generic(mesh), repeats)
            row["ratio"] = row["cloth_s"] / row["generic_s"]
            row["blender_s"] = in_blender(mesh, repeats if triangles <= 20_000 else 1)
        rows.append(row)
    return rows


if __name__ == "__main__":
    for count in map(int, sys.argv[1:] or ["8000", "10000", "50000", "200000"]):
        for row in measure(count):
            print(json.dumps(row), flush=True)
