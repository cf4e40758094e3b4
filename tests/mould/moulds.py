"""Moulds with known shapes and faults, made from formulas; mm."""

from itertools import pairwise

import numpy as np

from flatten.surface.mesh import MouldMesh


def grid_faces(rows, columns, *, ring=False):
    """Two triangles for each cell of a grid; `ring` joins the last column to the first."""
    a = np.arange(rows * columns).reshape(rows, columns)
    right = np.roll(a, -1, axis=1) if ring else a[:, 1:]
    left = a if ring else a[:, :-1]
    a, b, c, d = (part.ravel() for part in (left[:-1], right[:-1], right[1:], left[1:]))
    return np.concatenate([np.column_stack([a, b, c]), np.column_stack([a, c, d])])


def turned(profile, segments):
    """Turn a profile (k, 2) of radius and height about z; normals to the left of the profile's way
    as seen with the radius to the right, so a profile from the middle outwards looks up."""
    profile = np.asarray(profile, float)
    turn = np.arange(segments) * 2 * np.pi / segments
    radius, height = profile[:, :1], np.repeat(profile[:, 1:], segments, axis=1)
    points = np.stack([radius * np.cos(turn), radius * np.sin(turn), height], axis=-1)
    faces = grid_faces(len(profile), segments, ring=True)[:, [0, 2, 1]]
    return _without_points_on_the_axis(points.reshape(-1, 3), faces, segments)


def _without_points_on_the_axis(points, faces, segments):
    """One vertex where a ring of the profile has no radius."""
    name = np.arange(len(points))
    for ring in range(0, len(points), segments):
        if np.allclose(points[ring : ring + segments, :2], 0):
            name[ring : ring + segments] = ring
    used, name = np.unique(name, return_inverse=True)
    faces = name[faces]
    whole = (faces != np.roll(faces, 1, axis=1)).all(axis=1)
    return MouldMesh(points[used], faces[whole])


def bowl(radius, polar_deg, *, rings=32, segments=64):
    """Inside of a sphere from its bottom up to a polar angle, open above, looking inwards."""
    polar = np.radians(np.linspace(0, polar_deg, rings + 1))
    profile = np.column_stack([radius * np.sin(polar), -radius * np.cos(polar)])
    profile[0, 0] = 0
    return turned(profile, segments)


def frustum(bottom, top, height, segments=64):
    """Inside wall of a cone frustum, wider above."""
    return turned([[bottom, 0], [top, height]], segments)


def torus(radius, tube, *, rings=32, segments=64):
    """A whole ring, looking outwards."""
    around = np.arange(rings + 1) * 2 * np.pi / rings
    profile = np.column_stack([radius + tube * np.cos(around), tube * np.sin(around)])
    mesh = turned(profile[::-1], segments)
    count = rings * segments  # the last ring is the first again
    return MouldMesh(mesh.vertices[:count], mesh.faces % count)


def gutter(floor, wall, radius, facets, length, *, cells=4):
    """A floor along x, a fillet of `facets` with corners on the arc, and an upright wall."""
    arc = np.linspace(0, np.pi / 2, facets + 1) if radius > 0 else np.array([0.0])
    x = np.concatenate([[-floor], radius * np.sin(arc), [radius]])
    z = np.concatenate([[0], radius * (1 - np.cos(arc)), [radius + wall]])
    y = np.linspace(0, length, cells + 1)
    points = np.stack(
        [
            np.repeat(x[:, None], len(y), 1),
            np.repeat(y[None], len(x), 0),
            np.repeat(z[:, None], len(y), 1),
        ],
        axis=-1,
    )
    return MouldMesh(points.reshape(-1, 3), grid_faces(len(x), len(y))[:, [0, 2, 1]])


def box(low, high):
    """A closed box of 12 triangles, looking outwards."""
    corner = np.array([[x, y, z] for x in (0, 1) for y in (0, 1) for z in (0, 1)])
    quads = [[0, 1, 3, 2], [4, 6, 7, 5], [0, 4, 5, 1], [2, 3, 7, 6], [0, 2, 6, 4], [1, 5, 7, 3]]
    faces = [[q[0], q[1], q[2]] for q in quads] + [[q[0], q[2], q[3]] for q in quads]
    low, high = np.asarray(low, float), np.asarray(high, float)
    return MouldMesh(low + corner * (high - low), faces)


def joined(*meshes):
    """Several meshes in one, nothing merged; and the first face number of each."""
    start = np.cumsum([0, *(len(mesh.vertices) for mesh in meshes)])
    faces = [mesh.faces + offset for mesh, offset in zip(meshes, start, strict=False)]
    first = np.cumsum([0, *(len(mesh.faces) for mesh in meshes)])
    vertices = np.concatenate([mesh.vertices for mesh in meshes])
    return MouldMesh(vertices, np.concatenate(faces)), first


def moved(mesh, turn, shift=(0, 0, 0), scale=1.0):
    """The mesh turned by a rotation matrix, scaled and shifted."""
    return MouldMesh(scale * mesh.vertices @ np.asarray(turn).T + shift, mesh.faces)


def any_turn(seed):
    """A random rotation."""
    q, r = np.linalg.qr(np.random.default_rng(seed).normal(size=(3, 3)))
    q = q * np.sign(np.diag(r))
    return q * np.linalg.det(q)


# The printed sample: a round pot mould. Radius and height of its profile, from the middle of the
# lay-up floor outwards and round the block; each stretch has a name and, often, a fault.
POT = [
    ("floor", (0, 2)),  # 2 mm thick: too thin
    ("wall", (50, 2)),  # sharp corner below; 2 degrees of draft
    ("lip_under", (50 + 48 * np.tan(np.radians(2)), 50)),  # looks down: undercut
    ("lip_inside", (45, 55)),  # upright: no draft
    ("flange", (45, 60)),  # 10 mm wide
    ("outside", (55, 60)),
    ("bottom", (55, 0)),
    ("end", (0, 0)),
]


def pot(segments=64):
    """The printed sample, and the faces of each stretch by name."""
    profile, names = [], []
    for (name, start), (_, end) in pairwise(POT):
        pieces = 3
        for piece in range(pieces):
            share = piece / pieces
            profile.append(np.array(start) * (1 - share) + np.array(end) * share)
            names.append(name)
    profile.append(POT[-1][1])
    mesh = turned(profile, segments)
    radius = np.hypot(*mesh.corners.mean(axis=1)[:, :2].T)
    height = mesh.corners.mean(axis=1)[:, 2]
    where = {name: np.zeros(len(mesh.faces), bool) for name in dict.fromkeys(names)}
    centre = np.column_stack([radius, height])
    for index, name in enumerate(names):
        a, b = profile[index], profile[index + 1]
        along = (b - a) / np.linalg.norm(b - a)
        ahead = (centre - a) @ along
        # Facets lie inside the circle, so compare where the profile meets the facet's middle.
        off = np.abs((centre - a) @ [-along[1], along[0]])
        where[name] |= (ahead > 0) & (ahead < np.linalg.norm(b - a)) & (off < 0.2)
    return mesh, {name: np.flatnonzero(mask) for name, mask in where.items()}
