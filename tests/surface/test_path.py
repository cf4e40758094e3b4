"""Paths: straight where the surface unfolds, shortest among their neighbours elsewhere."""

import numpy as np
import pytest
import scipy.sparse
import scipy.sparse.csgraph
from hypothesis import given, settings
from hypothesis import strategies as st
from shapes import cap
from surface.parts import block, moved, plate, tube, within

from flatten.errors import InputError
from flatten.surface.mesh import MouldMesh
from flatten.surface.path import path_through
from flatten.surface.refine import refine
from flatten.surface.region import Region


def check_on_faces(mesh, path):
    """Every segment lies in the face it names; edges and shares give the points."""
    for k, face in enumerate(path.faces):
        for point in path.points[k : k + 2]:
            weights = np.linalg.lstsq(
                np.vstack([mesh.corners[face].T, np.ones(3)]), np.append(point, 1), rcond=None
            )[0]
            assert weights.min() > -1e-9
            assert np.abs(weights @ mesh.corners[face] - point).max() < 1e-7
    on = path.edges[:, 0] >= 0
    ends = mesh.vertices[path.edges[on]]
    shares = path.shares[on, None]
    np.testing.assert_allclose(
        ends[:, 0] + shares * (ends[:, 1] - ends[:, 0]), path.points[on], atol=1e-9
    )


@settings(max_examples=40)
@given(
    one=st.tuples(st.floats(1, 99), st.floats(1, 99)),
    two=st.tuples(st.floats(1, 99), st.floats(1, 99)),
    cells=st.integers(1, 12),
    seed=st.integers(0, 99),
)
def test_on_a_plane_the_path_is_the_straight_line(one, two, cells, seed):
    if np.hypot(one[0] - two[0], one[1] - two[1]) < 1e-3:
        return
    flat = plate(cells)
    turn, shift = moved(flat, seed)
    mesh = MouldMesh(flat.vertices @ turn.T + shift, flat.faces)
    ends = np.array([(*one, 0), (*two, 0)]) @ turn.T + shift

    path = path_through(mesh, ends)

    assert path.length_mm == pytest.approx(np.linalg.norm(ends[1] - ends[0]), rel=1e-9)
    check_on_faces(mesh, path)


@settings(max_examples=25)
@given(start=st.integers(0, 480), end=st.integers(0, 480))
def test_on_a_cylinder_it_is_straight_when_unrolled(start, end):
    """A prism of 30 sides over 270 degrees unrolls to a rectangle of its chords."""
    mesh = tube(100, 150, 30, 15, turn=0.75)
    if start == end:
        return
    (row_a, a), (row_b, b) = divmod(start, 31), divmod(end, 31)
    chord = 2 * 100 * np.sin(0.75 * np.pi / 30)

    path = path_through(mesh, mesh.vertices[[start, end]])

    assert path.length_mm == pytest.approx(
        np.hypot((a - b) * chord, (row_a - row_b) * 10), rel=1e-9
    )
    check_on_faces(mesh, path)


def test_on_a_sphere_it_is_a_great_circle_with_the_square_of_the_edge():
    ends = np.array([[60, 10, 0], [-30, -70, 0]], float)
    ends[:, 2] = np.sqrt(100**2 - (ends**2).sum(axis=1))
    exact = 100 * np.arccos(ends[0] @ ends[1] / 100**2)
    errors = []
    for rings in (8, 16, 32):
        path = path_through(cap(100, 80, rings), ends)
        errors.append(exact - path.length_mm)
    order = np.polyfit(np.log([8, 16, 32]), np.log(errors), 1)[0]
    assert order == pytest.approx(-2, abs=0.35)


def test_over_the_corner_of_a_block_it_takes_the_shortest_of_the_ways():
    """From the middle of one side to that of the next, round one edge: 50 + 50."""
    path = path_through(block(100), [[50, 0, 50], [100, 50, 50]])

    assert path.length_mm == pytest.approx(100, rel=1e-12)


@pytest.mark.parametrize(
    ("one", "two", "length"),
    [
        ((0, 30, 50), (50, 30, 100), 100),  # over the edge between, not over the side in front
        ((50, 30, 100), (100, 30, 50), 100),
        ((50, 30, 0), (0, 30, 50), 100),
        ((50, 50, 100), (50, 50, 0), 200),  # half way round the block
        ((90, 0, 90), (100, 90, 90), 100),
    ],
)
def test_large_triangles_do_not_lead_it_the_long_way_round(one, two, length):
    assert path_through(block(100), [one, two]).length_mm == pytest.approx(length, rel=1e-9)


def test_it_goes_round_an_opening_along_its_corners():
    """Round the corner (60, 60) of a hole: two straight pieces, closed form."""
    mesh = plate(10)
    opening = within(mesh, (40, 40), (60, 60))
    kept = np.setdiff1d(np.arange(200), opening.faces)
    ring = MouldMesh(mesh.vertices, mesh.faces[kept])

    path = path_through(ring, [[35, 55, 0], [65, 50, 0]])

    exact = np.hypot(5, 5) + 20 + np.hypot(5, 10)
    other = np.hypot(5, 15) + 20 + np.hypot(5, 10)
    assert path.length_mm == pytest.approx(min(exact, other), rel=1e-9)


def test_it_is_never_longer_than_the_way_along_the_edges():
    """Dijkstra over the edges of a finer mesh (scipy) can only be longer."""
    coarse = cap(100, 85, 5)
    fine = refine(coarse, max_edge_mm=4, force=True).surface
    ends = fine.edges.vertices
    length = np.linalg.norm(np.diff(fine.vertices[ends], axis=1)[:, 0], axis=1)
    count = len(fine.vertices)
    graph = scipy.sparse.coo_matrix((length, ends.T), shape=(count, count))
    rng = np.random.default_rng(3)

    for a, b in rng.integers(0, len(coarse.vertices), (8, 2)):
        if a == b:
            continue
        along = scipy.sparse.csgraph.dijkstra(graph, directed=False, indices=a)[b]
        straight = path_through(coarse, coarse.vertices[[a, b]]).length_mm
        assert 0.85 * along < straight <= along * (1 + 1e-3)


def test_marked_points_are_passed_in_order():
    path = path_through(plate(7), [[5, 5, 0], [90, 20, 0], [30, 80, 0]])

    assert path.length_mm == pytest.approx(np.hypot(85, 15) + np.hypot(60, 60), rel=1e-9)
    assert (np.linalg.norm(path.points - [90, 20, 0], axis=1) < 1e-9).sum() == 1


@pytest.mark.parametrize(
    ("marked", "reason"),
    [
        ([[5, 5, 0]], "has 1 points"),
        ([[5, 5, 0], [5, 5, 0]], "same place"),
        ([[5, 5, 0], [5, 5, 40]], "40.0 mm off the surface"),
        ([[5, 5, 0], [np.nan, 5, 0]], "finite"),
    ],
)
def test_a_path_that_is_none_is_refused(marked, reason):
    with pytest.raises(InputError, match=reason):
        path_through(plate(4), marked)


def test_there_is_no_path_between_two_pieces():
    mesh = plate(10)
    faces = [*within(mesh, (0, 0), (20, 100)).faces, *within(mesh, (60, 0), (100, 100)).faces]
    apart = MouldMesh(mesh.vertices, mesh.faces[Region("both", faces).faces])

    with pytest.raises(InputError, match="no way over the surface") as refused:
        path_through(apart, [[5, 50, 0], [95, 50, 0]])
    assert len(refused.value.faces) == 2
