"""The triangulation at work: twins stay twins, and no edge is made twice."""

import numpy as np
import pytest
from numpy.testing import assert_array_equal
from surface.parts import block, plate, torus

from flatten.surface.mesh import Edges
from flatten.surface.triangulation import Triangulation


def check_twins(work):
    """Each half-edge's twin runs back, as a fresh count of the edges has it."""
    flat = work.faces.ravel()
    half = np.arange(len(flat))
    end = flat[half - half % 3 + (half % 3 + 1) % 3]
    inner = work.twin >= 0
    assert_array_equal(work.twin[work.twin[inner]], half[inner])
    assert_array_equal(flat[inner], end[work.twin[inner]])
    edges = Edges(work.faces)
    assert not edges.crowded.any()
    assert (edges.count[edges.of_face.ravel()] == 1).sum() == (~inner).sum()


@pytest.mark.parametrize("make", [lambda: plate(3), block, torus])
def test_splitting_and_flipping_keep_the_mesh_whole(make):
    mesh = make()
    work = Triangulation(mesh.vertices, mesh.faces, np.zeros(len(mesh.faces), np.int64))
    check_twins(work)

    for _ in range(4):
        members = np.arange(len(work.faces))
        longest = work.longest_sides(members, work.side_lengths(members))
        touched = work.split(work.terminal_edges(members[::3], longest))
        check_twins(work)
        work.flip_all(touched, 0.05)
        check_twins(work)

    corners = work.vertices[work.faces]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    area = 0.5 * np.linalg.norm(normals, axis=1).sum()
    assert area == pytest.approx(mesh.areas.sum(), rel=1e-3)


def test_a_flip_that_would_make_an_edge_a_second_time_is_not_wanted():
    """Three faces about one vertex: each pair's far corners are joined by the third."""
    peak = [[0, 0, 0], [10, 0, 0], [5, 8, 0], [5, -30, 0.5]]
    work = Triangulation(
        np.array(peak, float), np.array([[0, 1, 3], [1, 2, 3], [2, 0, 3]]), np.zeros(3, np.int64)
    )

    for _ in range(3):
        work.flip_all(np.arange(3), np.inf)

    check_twins(work)
