"""Rays, cells and groups against libigl, scipy and plain loops."""

import igl
import numpy as np
import pytest
from mould.moulds import any_turn, bowl, gutter, torus
from numpy.testing import assert_allclose
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from flatten.mould.cells import Cells, tight_boxes
from flatten.mould.rays import Sight, axes_across, spread_points
from flatten.mould.rows import Rows
from flatten.mould.smooth import share_below
from flatten.surface.joined import groups
from flatten.surface.mesh import MouldMesh


def soup(count, seed, size=40):
    """Triangles of 1 to 40 mm anywhere in a box of 100 mm (igl lets go of smaller ones)."""
    rng = np.random.default_rng(seed)
    middle = rng.uniform(0, 100, (count, 1, 3))
    corners = (
        middle + rng.normal(size=(count, 3, 3)) * size * rng.uniform(0.3, 1, (count, 1, 1)) ** 3
    )
    return MouldMesh(corners.reshape(-1, 3), np.arange(3 * count).reshape(-1, 3))


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("count", [1, 30, 800])
def test_overlapping_boxes_are_those_a_plain_comparison_finds(seed, count):
    rng = np.random.default_rng(seed)
    low = rng.uniform(0, 50, (count, 3))
    high = low + 20 * rng.random((count, 3)) ** 6 + 1e-9
    overlap = ((low[:, None] <= high[None]) & (high[:, None] >= low[None])).all(axis=2)

    cells = Cells(low, high)
    pairs = [np.column_stack(pair) for pair in cells.self_pairs()]

    ours = np.concatenate(pairs) if pairs else np.zeros((0, 2), int)
    seen = np.zeros_like(overlap)
    seen[ours[:, 0], ours[:, 1]] = seen[ours[:, 1], ours[:, 0]] = True
    assert (seen | np.eye(count, dtype=bool) == overlap).all()
    assert len(ours) == (overlap.sum() - count) / 2  # each once
    outside = list(cells.pairs(low + 200, high + 200))
    assert sum(len(query) for query, _ in outside) == 0


def test_boxes_that_only_touch_overlap_too():
    """Unit boxes on a lattice: each meets its 26 neighbours and itself."""
    low = np.array([[x, y, z] for x in range(5) for y in range(5) for z in range(5)], float)
    count = sum(len(one) for one, _ in Cells(low, low + 1).self_pairs())
    assert count == (13**3 - 125) / 2  # along each axis 5 + 2 x 4 ordered pairs


def test_pieces_of_long_triangles_cover_them():
    mesh = gutter(400, 40, 10, 8, 300, cells=1)
    owner, low, high = tight_boxes(mesh.corners)
    face, points = spread_points(mesh, np.arange(len(mesh.faces)), 20_000)

    inside = np.zeros(len(points), bool)
    for box in range(len(owner)):
        mine = np.flatnonzero(face == owner[box])
        slack = 1e-9
        inside[mine] |= (
            (points[mine] >= low[box] - slack) & (points[mine] <= high[box] + slack)
        ).all(axis=1)
    assert len(owner) > len(mesh.faces)
    assert inside.all()


@pytest.mark.parametrize("seed", range(4))
def test_highest_hit_agrees_with_igl(seed):
    """igl's ray through each triangle, along a random direction."""
    mesh, turn = soup(150, seed), any_turn(seed)
    direction = turn[2]
    starts = np.random.default_rng(seed).uniform(0, 100, (120, 3))

    sight = Sight(mesh, direction)
    top = sight.top(starts)

    below = starts - (starts @ direction + 1000)[:, None] * direction
    for start, ours in zip(below, top, strict=True):
        hits = igl.ray_mesh_intersect(start, direction, mesh.vertices, mesh.faces)
        reach = [hit[1] for hit in hits]  # face, distance, u, v
        theirs = max((start @ direction + t for t in reach), default=-np.inf)
        assert ours == pytest.approx(theirs, abs=1e-3)  # igl keeps hits as float32 (1000 mm: 6e-5)


@pytest.mark.parametrize("seed", range(3))
def test_axes_across_are_square_to_the_direction_and_each_other(seed):
    direction = any_turn(seed)[0]
    frame = np.vstack([axes_across(direction), direction])
    assert_allclose(frame @ frame.T, np.eye(3), atol=1e-12)
    assert np.linalg.det(frame) == pytest.approx(1)


def test_points_are_spread_by_area_and_lie_on_their_faces():
    mesh = torus(100, 30)
    face, points = spread_points(mesh, np.arange(len(mesh.faces)), 60_000)

    off = np.einsum("ij,ij->i", points - mesh.corners[face, 0], mesh.normals[face])
    count = np.bincount(face, minlength=len(mesh.faces))
    assert_allclose(off, 0, atol=1e-9)
    assert (np.abs(count - 1 - 60_000 * mesh.areas / mesh.areas.sum()) <= 1).all()
    again = spread_points(mesh, np.arange(len(mesh.faces)), 60_000)[1]
    assert (again == points).all()


@pytest.mark.parametrize("seed", range(3))
def test_groups_are_the_connected_components_of_scipy(seed):
    pairs = np.random.default_rng(seed).integers(0, 500, (380, 2))
    ours = groups(500, pairs)
    graph = coo_matrix((np.ones(len(pairs)), pairs.T), shape=(500, 500))
    count, theirs = connected_components(graph, directed=False)

    assert len(np.unique(ours)) == count
    assert len(np.unique(ours * 500 + theirs)) == count


def test_a_long_chain_is_one_group():
    order = np.random.default_rng(0).permutation(5000)
    assert (groups(5000, np.column_stack([order[:-1], order[1:]])) == 0).all()


def test_the_share_below_a_level_of_a_linear_value_is_exact():
    """Height over a tilted plane: the share below a level is read off the rectangle."""
    mesh = gutter(40, 40, 0, 0, 60, cells=6)
    wall = np.flatnonzero(np.abs(mesh.normals[:, 0]) > 0.5)
    # One value per face cannot be linear on one row of faces: use the floor cut into strips.
    x = np.linspace(0, 40, 9)
    points = np.array([[a, b, 0] for a in x for b in (0, 10, 20)])
    from mould.moulds import grid_faces

    floor = MouldMesh(points, grid_faces(9, 3))
    value = floor.corners.mean(axis=1)[:, 0]
    middle = np.floor(value / 5) * 5 + 2.5  # the same on both triangles, as normals are

    share = share_below(floor, np.arange(len(floor.faces)), middle, 13.7)

    assert len(wall) == 12
    assert (floor.areas * share).sum() / floor.areas.sum() == pytest.approx(13.7 / 40, abs=1e-9)


def test_nothing_stands_over_an_open_bowl():
    mesh = bowl(100, 85)
    face, points = spread_points(mesh, np.arange(len(mesh.faces)), 5000)
    above = Sight(mesh, np.array([0, 0, 1.0])).is_below(points + 1e-6 * mesh.normals[face])
    assert not above.any()


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("slim", [1.0, 1e-3, 1e-9])
@pytest.mark.parametrize("count", [1, 40, 900])
def test_every_point_in_a_triangle_comes_with_it_once(seed, slim, count):
    """Barycentric coordinates of every pair, by a plain comparison."""
    rng = np.random.default_rng(seed)
    triangles = rng.uniform(0, 100, (count, 1, 2)) + rng.normal(size=(count, 3, 2)) * [
        30,
        30 * slim,
    ]
    points = np.concatenate([rng.uniform(-20, 120, (700, 2)), triangles.mean(axis=1)])
    a, b, c = (triangles[:, corner, None] for corner in range(3))
    sides = []
    for start, end in ((a, b), (b, c), (c, a)):
        along, off = end - start, points[None] - start
        sides.append(along[..., 0] * off[..., 1] - along[..., 1] * off[..., 0])
    inside = np.logical_or((np.array(sides) > 0).all(axis=0), (np.array(sides) < 0).all(axis=0))

    pairs = np.concatenate([np.column_stack(pair) for pair in Rows(points, triangles).pairs()])

    assert len(np.unique(pairs, axis=0)) == len(pairs)
    seen = np.zeros_like(inside)
    seen[tuple(pairs.T)] = True
    assert inside.any()
    assert not (inside & ~seen).any()
    if slim == 1.0 and count == 900:
        assert len(pairs) < 4 * inside.sum()  # a box of each would take more


def test_points_level_with_each_other_and_triangles_without_points():
    square = np.array([[[0.0, 0], [10, 0], [10, 10]], [[0, 50], [10, 50], [10, 60]]])
    points = np.column_stack([np.linspace(1, 9, 9), np.full(9, 0.5)])
    pairs = list(Rows(points, square).pairs())
    assert [triangle.tolist() for triangle, _ in pairs] == [[0] * 9]
    assert sorted(pairs[0][1].tolist()) == list(range(9))
    assert not list(Rows(points, square[:0]).pairs())
    assert not list(Rows(points[:0], square).pairs())
