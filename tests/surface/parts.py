"""Moulds for the tests of the surface layer, as plain arrays: grids, blocks, CAD-like slivers."""

from __future__ import annotations

import numpy as np
from shapes import grid_faces

from flatten.surface.mesh import MouldMesh
from flatten.surface.patch import Patch
from flatten.surface.region import Region


def plate(cells: int, size: float = 100.0) -> MouldMesh:
    """A flat square of 2 cells^2 triangles, corner at the origin, facing +z."""
    along = np.linspace(0, size, cells + 1)
    x, y = np.meshgrid(along, along)
    return MouldMesh(
        np.column_stack([x.ravel(), y.ravel(), 0 * x.ravel()]), grid_faces(cells + 1, cells + 1)
    )


def everything(mesh: MouldMesh, name: str = "all") -> Region:
    return Region(name, np.arange(len(mesh.faces)))


def edge_lengths(patch: Patch) -> np.ndarray:
    """(k,) mm: the length of each boundary edge."""
    ends = patch.surface.vertices[patch.edge_vertices]
    return np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)


def net_edges(patch: Patch) -> np.ndarray:
    """(k, 2) edges round the net region, net on their left; joints are not among them."""
    halves = {}
    for face, net in zip(patch.surface.faces.tolist(), patch.inside, strict=True):
        for start, end in zip(face, [*face[1:], face[0]], strict=True):
            halves[start, end] = net
    joint = {tuple(edge) for edge in patch.edge_vertices[patch.edge_joints >= 0].tolist()}
    return np.array(
        [
            (start, end)
            for (start, end), net in halves.items()
            if net and not halves.get((end, start), False) and (start, end) not in joint
        ]
    )


def within(mesh: MouldMesh, low: tuple[float, float], high: tuple[float, float]) -> Region:
    """Faces whose middle lies in a box of x and y."""
    middle = mesh.corners.mean(axis=1)[:, :2]
    return Region("box", np.flatnonzero(((middle > low) & (middle < high)).all(axis=1)))


def tube(radius: float, length: float, around: int, along: int, turn: float = 1.0) -> MouldMesh:
    """A cylinder about z, seen from outside; `turn` 1 is closed round, its vertices shared."""
    count = around if turn == 1 else around + 1
    angle = 2 * np.pi * turn * np.arange(count) / around
    height = np.linspace(0, length, along + 1)
    a, z = np.meshgrid(angle, height)
    points = np.column_stack([radius * np.cos(a.ravel()), radius * np.sin(a.ravel()), z.ravel()])
    faces = grid_faces(along + 1, around + 1)
    if turn == 1:
        row, column = np.divmod(faces, around + 1)
        faces = row * around + column % around
    return MouldMesh(points, faces)


def extruded(profile: np.ndarray, length: float) -> MouldMesh:
    """A profile (k, 2) in y and z, drawn out along x as strips of two triangles: CAD slivers.

    Seen from the left of the profile's direction.
    """
    k = len(profile)
    near = np.column_stack([np.zeros(k), profile])
    i = np.arange(k - 1)
    one = np.column_stack([i, k + i, k + i + 1])
    two = np.column_stack([i, k + i + 1, i + 1])
    return MouldMesh(np.vstack([near, near + [length, 0, 0]]), np.concatenate([one, two]))


def trough(fillet: float, facets: int, length: float = 300.0) -> MouldMesh:
    """A channel 100 wide and 40 deep with two fillets, seen from inside: flats and slivers."""
    turn = np.linspace(0, np.pi / 2, facets + 1)
    first = [fillet - fillet * np.cos(turn), fillet - fillet * np.sin(turn)]
    corner = np.column_stack(first)
    profile = np.vstack(
        [[[0, 40]], corner, np.array([100, 0]) + corner[::-1] * [-1, 1], [[100, 40]]]
    )
    return extruded(profile, length)


def block(size: float = 100.0) -> MouldMesh:
    """A cube of twelve triangles, seen from outside."""
    corners = size * np.array([[x, y, z] for z in (0, 1) for y in (0, 1) for x in (0, 1)], float)
    quads = [
        (0, 2, 3, 1),
        (4, 5, 7, 6),
        (0, 1, 5, 4),
        (1, 3, 7, 5),
        (3, 2, 6, 7),
        (2, 0, 4, 6),
    ]
    return MouldMesh(corners, [t for a, b, c, d in quads for t in ((a, b, c), (a, c, d))])


def torus(
    large: float = 50.0, small: float = 20.0, around: int = 24, across: int = 12
) -> MouldMesh:
    """A ring, seen from outside."""
    u = 2 * np.pi * np.arange(around) / around
    v = 2 * np.pi * np.arange(across) / across
    uu, vv = np.meshgrid(u, v)
    reach = large + small * np.cos(vv)
    points = [reach * np.cos(uu), reach * np.sin(uu), small * np.sin(vv)]
    row, column = np.divmod(grid_faces(across + 1, around + 1), around + 1)
    faces = row % across * around + column % around
    return MouldMesh(np.stack(points, axis=-1).reshape(-1, 3), faces)


def moved(mesh: MouldMesh, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """A random turn (3, 3) and shift (3,) mm."""
    rng = np.random.default_rng(seed)
    turn, _ = np.linalg.qr(rng.normal(size=(3, 3)))
    return turn * np.sign(np.linalg.det(turn)), rng.normal(size=3) * 100


def euler(faces: np.ndarray) -> int:
    """Vertices - edges + faces: 1 for a disc, 0 for a ring."""
    ends = np.sort(np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]]), axis=1)
    return len(np.unique(faces)) - len(np.unique(ends, axis=0)) + len(faces)
