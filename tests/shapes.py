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


def irregular_cap(
    radius: float, half_angle_deg: float, triangles: int, seed: int = 0
) -> SurfaceMesh:
    """A spherical cap of about so many triangles, their corners shaken out of order."""
    rng = np.random.default_rng(seed)
    angle = np.radians(half_angle_deg)
    edge = np.sqrt(2 * np.pi * (1 - np.cos(angle)) / triangles / 0.433)
    rings = round(angle / (edge * 0.866))
    rows = [np.zeros((1, 2))]
    for k in range(1, rings + 1):
        polar = angle * k / rings
        count = round(2 * np.pi * np.sin(polar) / edge)
        azimuth = 2 * np.pi * (np.arange(count) + rng.uniform()) / count
        polar = np.full(count, polar)
        if k < rings:
            polar = polar + rng.uniform(-0.15, 0.15, count) * edge
            azimuth = azimuth + rng.uniform(-0.15, 0.15, count) * 2 * np.pi / count
        rows.append(np.column_stack([polar, azimuth]))
    polar, azimuth = np.concatenate(rows).T
    stereo = 2 * np.tan(polar / 2)
    plan = np.column_stack([stereo * np.cos(azimuth), stereo * np.sin(azimuth)])
    sphere = [np.sin(polar) * np.cos(azimuth), np.sin(polar) * np.sin(azimuth), np.cos(polar)]
    return SurfaceMesh(radius * np.column_stack(sphere), triangulated(plan, 1e-4 * edge**2))


def bumps(triangles: int, size_mm: float, seed: int = 0, height: float = 0.12) -> SurfaceMesh:
    """A square sheet with random smooth bumps of both curvatures, irregular triangles."""
    rng = np.random.default_rng(seed)
    cells = max(int(np.sqrt(triangles / 2)), 4)
    axis = np.linspace(-0.5, 0.5, cells + 1)
    plan = np.stack(np.meshgrid(axis, axis), axis=-1).reshape(-1, 2)
    inner = np.abs(plan).max(axis=1) < 0.5 - 0.25 / cells
    plan[inner] += rng.uniform(-0.2, 0.2, (int(inner.sum()), 2)) / cells
    faces = triangulated(plan, 1e-3 / cells**2)
    z = np.zeros(len(plan))
    for _ in range(5):
        middle, width = rng.uniform(-0.4, 0.4, 2), rng.uniform(0.25, 0.5)
        z += height * rng.uniform(-1, 1) * np.exp(-((plan - middle) ** 2).sum(axis=1) / width**2)
    return SurfaceMesh(size_mm * np.column_stack([plan, z]), faces)


def triangulated(plan: np.ndarray, least_area: float) -> np.ndarray:
    """Delaunay triangles of points in the plane, counter-clockwise, slivers left out."""
    from scipy.spatial import Delaunay

    faces = Delaunay(plan).simplices
    a, b, c = (plan[faces[:, k]] for k in range(3))
    double = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])
    faces = np.where((double < 0)[:, None], faces[:, ::-1], faces)
    return faces[np.abs(double) > least_area].astype(np.int64)


def cone_frustum(r1: float, r2: float, height: float, facets: int, rows: int) -> SurfaceMesh:
    """A frustum of flat facets, open along one ruling, seen from outside."""
    angle = np.linspace(0, 2 * np.pi, facets + 1)
    share = np.linspace(0, 1, rows + 1)
    return sheet(
        lambda a, s: (
            (r1 + (r2 - r1) * s) * np.cos(a),
            (r1 + (r2 - r1) * s) * np.sin(a),
            -height * s,
        ),
        angle[::-1],
        share,
    )


def translation(first: float, second: float, angle_deg: float, cells: int) -> SurfaceMesh:
    """An arc of radius `first` in xz carried along one of radius `second` in yz (minus: upwards).

    Cloth coordinates of its grid are exactly (first * u, |second| * v), |u|, |v| <= the angle.
    """
    angle = np.linspace(-1, 1, cells + 1) * np.radians(angle_deg)
    return sheet(
        lambda u, v: (
            first * np.sin(u),
            abs(second) * np.sin(v),
            first * (np.cos(u) - 1) + second * (np.cos(v) - 1),
        ),
        angle,
        angle,
    )


def random_sheet(seed: int, triangles: int = 1500) -> SurfaceMesh:
    """Random smooth bumps, random outline (a disc pulled to an ellipse), irregular triangles."""
    rng = np.random.default_rng(seed)
    size = rng.uniform(120, 400)
    mesh = bumps(triangles, size, seed=seed, height=rng.uniform(0.05, 0.2))
    x, y = mesh.vertices[:, :2].T / size * 2  # -1 .. 1
    round_x, round_y = x * np.sqrt(1 - y**2 / 2), y * np.sqrt(1 - x**2 / 2)
    stretch = rng.uniform(0.6, 1.0)
    places = np.column_stack(
        [size / 2 * round_x, size / 2 * stretch * round_y, mesh.vertices[:, 2]]
    )
    return SurfaceMesh(places, mesh.faces)


def tray(
    *,
    depth: float,
    draft_deg: float,
    fillet: float,
    edge: float,
    length: float = 260.0,
    width: float = 170.0,
    corner: float = 22.0,
    flange: float = 0.0,
    roll: float = 5.0,
    seed: int = 0,
) -> SurfaceMesh:
    """An open tray seen from inside: floor at z = 0, fillet, drafted wall, with or without flange.

    Built on its unrolled plan: a rectangle grown by s, where s runs up the profile; triangles of
    about `edge` mm on the surface, shaken out of order.
    """
    steep = np.radians(90 - draft_deg)
    up = fillet * steep
    rise = fillet * (1 - np.cos(steep)) + (roll * (1 - np.cos(steep)) if flange else 0.0)
    wall = (depth - rise) / np.sin(steep)
    over = roll * steep if flange else 0.0
    total = up + wall + over + flange

    def profile(s: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        a = np.minimum(s, up) / fillet
        b = np.clip(s - up, 0, wall)
        c = np.clip(s - up - wall, 0, over) / roll
        d = np.clip(s - up - wall - over, 0, None) if flange else 0 * s
        out = fillet * np.sin(a) + b * np.cos(steep)
        out = out + roll * (np.sin(steep) - np.sin(steep - c)) + d
        rise = fillet * (1 - np.cos(a)) + b * np.sin(steep)
        return out, rise + roll * (np.cos(steep - c) - np.cos(steep))

    top = float(profile(np.array(up + wall))[0])
    round_ = max(corner - top, 2.0)
    core = np.array([length / 2 - top - round_, width / 2 - top - round_])
    plan = _tray_plan(core, round_, total, edge, lambda s: float(profile(np.array(s))[0]), seed)
    near = np.clip(plan, -core, core)
    away = plan - near
    distance = np.hypot(*away.T)
    out, z = profile(np.maximum(distance - round_, 0))
    reach = np.where(distance < round_, distance, round_ + out)
    places = near + away / np.maximum(distance, 1e-12)[:, None] * reach[:, None]
    faces = triangulated(plan, 1e-3 * edge**2)
    used, numbers = np.unique(faces, return_inverse=True)
    return SurfaceMesh(np.column_stack([places, z])[used], numbers.reshape(-1, 3))


def _tray_plan(core, round_, total, edge, reach, seed):
    """Points of a tray's unrolled plan: rows round the core, and a shaken grid on the floor."""
    rng = np.random.default_rng(seed)
    row = 0.866 * edge
    y = np.arange(-core[1] - round_, core[1] + round_, row)
    grid = [
        np.column_stack(
            [
                np.arange(-core[0] - round_ + (k % 2) * edge / 2, core[0] + round_, edge),
                np.full(
                    len(np.arange(-core[0] - round_ + (k % 2) * edge / 2, core[0] + round_, edge)),
                    v,
                ),
            ]
        )
        for k, v in enumerate(y)
    ]
    floor = np.concatenate(grid)
    floor = floor + rng.uniform(-0.25, 0.25, floor.shape) * edge
    distance = np.hypot(*(floor - np.clip(floor, -core, core)).T)
    points = [floor[distance < round_ - 0.45 * edge]]
    rows = int(np.ceil(total / row))
    for k in range(rows + 1):
        s = total * k / rows
        arc = np.pi / 2 * (round_ + reach(s))
        sides = [2 * core[1], arc, 2 * core[0], arc] * 2
        count = round(sum(sides) / edge)
        shake = 0.25 if 0 < k < rows else 0.0
        at = ((np.arange(count) + 0.5 * (k % 2)) / count * sum(sides)) + rng.uniform(
            -shake, shake, count
        ) * edge
        out = round_ + s + 0.8 * edge * rng.uniform(-shake, shake, count)
        points.append(_round_the_core(core, sides, at % sum(sides), out))
    return np.concatenate(points)


def _round_the_core(core, sides, at, out):
    """Points at distance `out` from the core rectangle, `at` along its offset, side by side."""
    starts = np.concatenate([[0], np.cumsum(sides)])[:-1]
    side = np.searchsorted(starts, at, side="right") - 1
    share = (at - starts[side]) / np.array(sides)[side]
    corner = core * np.array([[1, -1], [1, 1], [-1, 1], [-1, -1]])
    quarter, straight = side // 2, side % 2 == 0
    begin, end = corner[quarter], corner[(quarter + 1) % 4]
    angle = np.where(straight, quarter, quarter + share) * np.pi / 2
    base = np.where(straight[:, None], begin + share[:, None] * (end - begin), end)
    return base + out[:, None] * np.column_stack([np.cos(angle), np.sin(angle)])
