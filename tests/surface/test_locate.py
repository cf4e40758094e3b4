"""Nearest points: against closed forms, an independent library, and far away."""

import numpy as np
import pytest
import trimesh
from numpy.testing import assert_allclose, assert_array_equal
from surface.parts import block, plate, torus, trough

from flatten.errors import InputError
from flatten.surface.locate import Locator, closest_weights, locate, locate_on, locate_one
from flatten.surface.mesh import MouldMesh


@pytest.mark.parametrize(
    ("point", "nearest"),
    [
        ((50, 40, 130), (50, 40, 100)),  # over a face
        ((150, 40, 150), (100, 40, 100)),  # beside an edge
        ((-10, -10, -10), (0, 0, 0)),  # off a corner
        ((50, 50, 20), (50, 50, 0)),  # inside
        ((100, 100, 100), (100, 100, 100)),  # on a corner
    ],
)
def test_nearest_points_of_a_cube(point, nearest):
    found = locate(block(100), [point])

    assert_allclose(found.points[0], nearest, atol=1e-12)
    assert found.distances[0] == pytest.approx(np.linalg.norm(np.subtract(point, nearest)))
    assert found.weights.sum() == pytest.approx(1)
    corners = block(100).corners[found.faces[0]]
    assert_allclose(found.weights[0] @ corners, found.points[0], atol=1e-12)


@pytest.mark.parametrize(
    "mesh", [torus(), trough(8, 9), plate(3)], ids=["torus", "trough", "plate"]
)
def test_it_agrees_with_an_independent_library(mesh):
    """Trimesh 4, proximity.closest_point_naive: every triangle looked at."""
    rng = np.random.default_rng(5)
    low, high = mesh.vertices.min(axis=0) - 30, mesh.vertices.max(axis=0) + 30
    points = rng.uniform(low, high, (300, 3))

    found = locate(mesh, points)

    other = trimesh.Trimesh(mesh.vertices, mesh.faces, process=False)
    _, distances, _ = trimesh.proximity.closest_point_naive(other, points)
    assert_allclose(found.distances, distances, atol=1e-9)
    assert_allclose(np.linalg.norm(found.points - points, axis=1), distances, atol=1e-9)


def test_the_lowest_face_is_taken_where_several_are_equally_near():
    mesh = plate(2)
    middle = np.flatnonzero((mesh.faces == 4).any(axis=1))

    assert locate(mesh, [[50, 50, 7]]).faces[0] == middle.min()


def test_many_points_at_once_are_the_same_as_one_by_one():
    mesh = torus()
    points = np.random.default_rng(6).normal(0, 40, (50, 3))
    locator = Locator(mesh)

    together = locator.locate(points)

    for k, point in enumerate(points):
        alone = locator.locate(point[None])
        assert alone.faces[0] == together.faces[k]
        assert_array_equal(alone.points[0], together.points[k])
        single = locate_one(mesh, point)
        assert single.faces[0] == together.faces[k]
        assert single.distances[0] == together.distances[k]


def test_points_equally_far_from_everything_are_found_too():
    """The middle of a sphere: every face is a candidate; looked up in halves, not all at once."""
    sphere = trimesh.creation.icosphere(5, radius=100)
    mesh = MouldMesh(sphere.vertices, sphere.faces)

    found = locate(mesh, np.zeros((30, 3)))

    assert found.distances == pytest.approx(100, rel=2e-3)


def test_none_and_one_are_numbers_of_points_too():
    assert len(locate(block(), np.zeros((0, 3))).faces) == 0
    assert len(locate(MouldMesh(np.eye(3), [[0, 1, 2]]), [[0, 0, 0]]).faces) == 1


def test_faces_without_area_are_no_obstacle():
    mesh = MouldMesh([[0, 0, 0], [10, 0, 0], [5, 0, 0], [0, 0, 9]], [[0, 1, 2], [3, 3, 3]])

    assert_allclose(locate(mesh, [[4, 3, 0], [0, 1, 9]]).distances, [3, 1])
    assert np.isfinite(closest_weights(np.zeros((2, 3)), mesh.corners)).all()


@pytest.mark.parametrize(("height", "refused"), [(4.9, False), (5.1, True)])
def test_a_tack_point_off_the_surface_is_refused_with_its_distance(height, refused):
    if not refused:
        found = locate_on(plate(3), [50, 50, height], name="tack point", within_mm=5)
        assert_allclose(found.points[0], [50, 50, 0], atol=1e-12)
        return
    with pytest.raises(InputError, match=r"tack point lies 5\.1 mm off the surface") as error:
        locate_on(plate(3), [50, 50, height], name="tack point", within_mm=5)
    assert "(50.0, 50.0, 0.0) mm" in error.value.hint


def test_no_faces_and_no_numbers_are_refused():
    with pytest.raises(InputError, match="no faces"):
        locate(MouldMesh(np.zeros((0, 3)), np.zeros((0, 3), int)), [[0, 0, 0]])
    with pytest.raises(InputError, match="finite"):
        locate(block(), [[0, 0, np.nan]])
