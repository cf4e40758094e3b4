"""Meshes: what is refused, edges and who shares them, loops and pieces."""

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal
from surface.parts import block, euler, plate, torus, tube

from flatten.errors import InputError
from flatten.surface.edges import Edges, in_order
from flatten.surface.joined import joined
from flatten.surface.mesh import MouldMesh, SurfaceMesh, components

CORNERS = [[0, 0, 0], [100, 0, 0], [0, 100, 0]]


@pytest.mark.parametrize(
    ("vertices", "faces", "reason"),
    [
        (CORNERS, [[0, 1, 7]], "only 3 vertices"),
        (CORNERS, [[0, 1, -1]], "only 3 vertices"),
        (CORNERS, [[0, 1]], "shape"),
        (CORNERS, [[0.0, 1.0, 2.0]], "integers"),
        ([[0, 0, float("nan")]] * 3, [[0, 1, 2]], "finite"),
        ([[0, 0, float("inf")]] * 3, [[0, 1, 2]], "finite"),
    ],
)
def test_a_bad_mesh_is_refused(vertices, faces, reason):
    with pytest.raises(InputError, match=reason):
        MouldMesh(vertices, faces)


@pytest.mark.parametrize(
    ("vertices", "faces", "reason", "named"),
    [
        (CORNERS, np.zeros((0, 3), int), "no faces", ()),
        ([*CORNERS, [50, 0, 0]], [[0, 1, 2], [0, 3, 1]], "no area, the first is 1", (1,)),
        (
            [*CORNERS, [0, 0, 50], [0, -100, 0]],
            [[0, 1, 2], [1, 0, 3], [1, 0, 4]],
            "three faces",
            (0, 1, 2),
        ),
        ([*CORNERS, [100, 100, 0]], [[0, 1, 2], [1, 2, 3]], "opposite sides", (0, 1)),
        (np.array(CORNERS) * 1e-4, [[0, 1, 2]], "unit", ()),
        (np.array(CORNERS) * 1e6, [[0, 1, 2]], "unit", ()),
    ],
)
def test_a_surface_cloth_cannot_be_laid_on_is_refused_with_its_faces(
    vertices, faces, reason, named
):
    with pytest.raises(InputError, match=reason) as refused:
        SurfaceMesh(vertices, faces)
    assert refused.value.faces == named


def test_faces_are_called_by_their_number_on_the_mould():
    with pytest.raises(InputError, match="the first is 17") as refused:
        SurfaceMesh([*CORNERS, [50, 0, 0]], [[0, 1, 2], [0, 3, 1]], source_faces=np.array([5, 17]))
    assert refused.value.faces == (17,)


def test_a_sliver_of_a_millionth_is_still_a_surface():
    """The gate is 1e-10 of the longest edge squared; a CAD sliver is 1e-6."""
    SurfaceMesh([[0, 0, 0], [100, 0, 0], [50, 1e-4, 0]], [[0, 1, 2]])
    with pytest.raises(InputError, match="no area"):
        SurfaceMesh([[0, 0, 0], [100, 0, 0], [50, 1e-9, 0]], [[0, 1, 2]])


def test_edges_of_a_cube_are_eighteen_each_in_two_faces():
    cube = block()

    edges = Edges(cube.faces)

    assert len(edges.count) == 18
    assert (edges.count == 2).all()
    assert not edges.flipped.any()
    ends = np.sort(np.stack([cube.faces, np.roll(cube.faces, -1, axis=1)], axis=-1), axis=2)
    assert_array_equal(edges.vertices[edges.of_face], ends)
    for face, three in enumerate(edges.of_face):
        assert all(face in edges.faces[edge] for edge in three)


@pytest.mark.parametrize(
    ("mesh", "loops", "characteristic"), [(plate(4), 1, 1), (tube(50, 90, 12, 3), 2, 0)]
)
def test_boundary_loops_have_the_surface_on_their_left(mesh, loops, characteristic):
    found = mesh.edges.boundary_loops(mesh.faces)

    assert len(found) == loops
    assert euler(mesh.faces) == characteristic
    directed = {
        tuple(e) for row in mesh.faces.tolist() for e in zip(row, row[1:] + row[:1], strict=True)
    }
    for loop in found:
        assert all(
            pair in directed
            for pair in zip(loop.tolist(), np.roll(loop, -1).tolist(), strict=False)
        )


def test_two_triangles_that_share_a_point_only_have_no_boundary_loop():
    points = [[0, 0, 0], [10, 0, 0], [0, 10, 0], [-10, 0, 0], [0, -10, 0]]
    faces = np.array([[0, 1, 2], [0, 3, 4]])

    with pytest.raises(InputError, match="single point") as refused:
        MouldMesh(points, faces).edges.boundary_loops(faces)
    assert refused.value.faces == (0, 1)


def test_pieces_are_numbered_by_their_lowest_face():
    apart = np.array([[3, 4, 5], [0, 1, 2], [3, 5, 6], [0, 2, 7]])

    assert_array_equal(components(apart), [0, 1, 0, 1])


def test_a_long_chain_hangs_together_whatever_its_numbering():
    rng = np.random.default_rng(1)
    order = rng.permutation(5000)
    pairs = np.column_stack([order[:-1], order[1:]])

    assert not joined(5000, pairs).any()
    assert len(np.unique(joined(5000, np.delete(pairs, 2500, axis=0)))) == 2


def test_areas_of_a_cube_and_a_torus():
    """Cube 6 a^2; Pappus: torus 4 pi^2 R r, of the second order in the facets."""
    assert block(100).areas.sum() == pytest.approx(60_000, rel=1e-12)
    errors = [
        1 - torus(50, 20, 2 * n, n).areas.sum() / (4 * np.pi**2 * 50 * 20) for n in (12, 24, 48)
    ]
    order = np.polyfit(np.log([12, 24, 48]), np.log(errors), 1)[0]
    assert order == pytest.approx(-2, abs=0.05)


def test_normals_are_unit_vectors_and_zero_without_area():
    mesh = MouldMesh([*CORNERS, [50, 0, 0]], [[0, 1, 2], [0, 3, 1]])

    assert_allclose(mesh.normals, [[0, 0, 1], [0, 0, 0]])


@pytest.mark.parametrize("limit", [7, 2**62])
def test_keys_come_in_order_with_equal_ones_as_they_were(limit):
    keys = np.random.default_rng(2).integers(0, 7, 500)

    got, order = in_order(keys, limit)

    assert (order == np.argsort(keys, kind="stable")).all()  # numpy's
    assert (got == keys[order]).all()


@pytest.mark.parametrize("columns", [1, 7])
def test_the_spread_of_a_rectangle_is_its_diagonal_however_it_is_divided_and_turned(columns):
    # Second moment of a rectangle about its middle: A (a^2 + b^2) / 12 (any handbook of statics).
    x, y = np.meshgrid(np.linspace(0, 400, columns + 1), [0.0, 300.0])
    start = np.arange(columns)
    low = np.column_stack([start, start + 1, start + columns + 2])
    high = np.column_stack([start, start + columns + 2, start + columns + 1])
    flat = np.column_stack([x.ravel(), y.ravel(), np.zeros(x.size)])
    turn = np.linalg.qr(np.random.default_rng(4).normal(size=(3, 3)))[0]
    mesh = MouldMesh(flat @ turn.T + 50.0, np.concatenate([low, high]))

    assert mesh.spread_mm == pytest.approx(500.0, rel=1e-12)
    assert_allclose(mesh.middle, turn @ [200.0, 150.0, 0.0] + 50.0, atol=1e-10)
