"""Open boxes with drafted walls and filleted corners, seen from inside, as triangles in mm."""

import numpy as np

from flatten.surface.mesh import SurfaceMesh
from flatten.surface.refine import refine


def rounded_rectangle(length, width, radius, *, arc, straight):
    """(k, 2) counter-clockwise; `arc` chords a corner, `straight` a side."""
    turn = np.linspace(0, np.pi / 2, arc + 1)
    quarter = radius * np.column_stack([np.cos(turn), np.sin(turn)])
    ring = []
    for number, (sx, sy) in enumerate([(1, 1), (-1, 1), (-1, -1), (1, -1)]):
        c, s = np.cos(number * np.pi / 2), np.sin(number * np.pi / 2)
        middle = [sx * (length / 2 - radius), sy * (width / 2 - radius)]
        ring.append(quarter @ np.array([[c, s], [-s, c]]) + middle)
    corners = [np.vstack([ring[i], ring[(i + 1) % 4][:1]]) for i in range(4)]
    points = []
    for corner in corners:
        share = np.linspace(0, 1, straight + 1)[1:-1, None]
        points += [corner[:-1], corner[-2] + share * (corner[-1] - corner[-2])]
    return np.vstack(points)


def tray(
    *, length=220.0, width=150.0, depth=50.0, draft_deg=5.0, corner=25.0, fillet=8.0,
    flange=0.0, edge_mm=5.0,
):  # fmt: skip
    """The inside of a tray; the floor's middle at the origin, +z up to the person who lays up.

    `length`, `width`, `corner` at the sharp edge of floor and wall. With a flange, its rim is
    rounded by the fillet's radius too.
    """
    d = np.radians(draft_deg)
    lean = fillet * np.tan(np.pi / 4 - d / 2)
    bend = np.linspace(0, np.pi / 2 - d, 13)
    profile = [(-lean + fillet * np.sin(t), fillet * (1 - np.cos(t))) for t in bend]
    if flange:
        top = depth * np.tan(d)
        profile += [
            (top + lean - fillet * np.sin(t), depth - fillet * (1 - np.cos(t))) for t in bend[::-1]
        ]
        profile.append((top + lean + flange, depth))
    else:
        profile.append((depth * np.tan(d), depth))
    rings = []
    for out, z in profile:
        flat = rounded_rectangle(
            length + 2 * out, width + 2 * out, corner + out, arc=16, straight=4
        )
        rings.append(np.column_stack([flat, np.full(len(flat), z)]))
    k = len(rings[0])
    vertices = np.vstack([*rings, [[0, 0, 0]]])
    i = np.arange(k)
    j = (i + 1) % k
    faces = [np.column_stack([np.full(k, len(vertices) - 1), i, j])]
    for n in range(len(rings) - 1):
        a, b, c, e = n * k + i, (n + 1) * k + i, (n + 1) * k + j, n * k + j
        faces += [np.column_stack([a, b, c]), np.column_stack([a, c, e])]
    coarse = SurfaceMesh(vertices, np.concatenate(faces))
    return refine(coarse, max_edge_mm=edge_mm, force=True).surface
