"""Surfaces with known answers, as triangle meshes in mm."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from flatten.surface.mesh import SurfaceMesh


def grid_faces(rows: int, columns: int) -> np.ndarray:
    """Triangles of a grid of vertices, counter-clockwise seen against +z for x along columns."""
    index = np.arange(rows * columns).reshape(rows, columns)
    a, b, c, d = index[:-1, :-1], index[:-1, 1:], index[1:, 1:], index[1:, :-1]
    return np.concatenate(
        [np.stack([a, b, c], axis=-1).reshape(-1, 3), np.stack([a, c, d], axis=-1).reshape(-1, 3)]
    )


def sheet(
    place: Callable[[np.ndarray, np.ndarray], tuple], u: np.ndarray, v: np.ndarray
) -> SurfaceMesh:
    """A surface over a grid of parameters, place(u, v) -> x, y, z; normal along du x dv."""
    uu, vv = np.meshgrid(u, v)
    points = np.stack(np.broadcast_arrays(*place(uu, vv)), axis=-1).reshape(-1, 3)
    return SurfaceMesh(points, grid_faces(len(v), len(u)))


def disc(rings: int) -> tuple[np.ndarray, np.ndarray]:
    """Unit disc of 6 rings^2 triangles, a vertex in the middle."""
    points, faces, start = [[0.0, 0.0]], [], [0]
    for k in range(1, rings + 1):
        start.append(len(points))
        angle = 2 * np.pi * np.arange(6 * k) / (6 * k)
        points += (k / rings * np.column_stack([np.cos(angle), np.sin(angle)])).tolist()
    for k in range(1, rings + 1):
        inner = max(6 * (k - 1), 1)
        for sector in range(6):
            for j in range(k):
                out = start[k] + sector * k + j
                after = start[k] + (sector * k + j + 1) % (6 * k)
                inside = start[k - 1] + (sector * (k - 1) + j) % inner
                faces.append([out, after, inside])
                if j < k - 1:
                    faces.append([inside, after, start[k - 1] + (sector * (k - 1) + j + 1) % inner])
    return np.array(points), np.array(faces)


def cap(radius: float, half_angle_deg: float, rings: int) -> SurfaceMesh:
    """A spherical cap, pole at (0, 0, radius), seen from outside."""
    points, faces = disc(rings)
    polar = np.radians(half_angle_deg) * np.hypot(*points.T)
    azimuth = np.arctan2(points[:, 1], points[:, 0])
    sphere = [np.sin(polar) * np.cos(azimuth), np.sin(polar) * np.sin(azimuth), np.cos(polar)]
    return SurfaceMesh(radius * np.column_stack(sphere), faces)
