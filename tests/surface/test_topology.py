"""Handles, rims, openings and chains of edges."""

import numpy as np
import pytest
from numpy.testing import assert_array_equal
from surface.parts import block, plate, torus, tube

from flatten.surface.chains import chains_of
from flatten.surface.edges import Edges
from flatten.surface.mesh import SurfaceMesh
from flatten.surface.topology import handle_faces, handles_and_loops, open_along, opening_faces


@pytest.mark.parametrize(
    ("mesh", "handles", "loops"),
    [(plate(3), 0, 1), (tube(50, 90, 12, 3), 0, 2), (block(), 0, 0), (torus(), 1, 0)],
)
def test_handles_and_rims_are_counted(mesh, handles, loops):
    assert handles_and_loops(mesh.faces) == (handles, loops)


def test_opening_a_torus_along_its_short_loop_leaves_a_tube():
    mesh = torus()
    across = np.arange(12) * 24 + 5
    wanted = np.sort(np.column_stack([across, np.roll(across, -1)]), axis=1)
    edges = Edges(mesh.faces)
    cut = (edges.vertices[:, None] == wanted[None]).all(axis=2).any(axis=1)

    faces, old = open_along(mesh.faces, edges, cut)

    assert handles_and_loops(faces) == (0, 2)
    assert len(old) == len(mesh.vertices) + 12
    assert_array_equal(old[faces], mesh.faces)


def test_the_handle_of_a_torus_is_cut_the_short_way():
    """Around the tube it is 2 pi 20 = 126 mm; around the ring at least 2 pi 30 = 188."""
    mesh = SurfaceMesh(torus().vertices, torus().faces)

    faces = handle_faces(mesh)

    middle = mesh.corners[faces].mean(axis=1)
    spread = np.ptp(np.unwrap(np.sort(np.arctan2(middle[:, 1], middle[:, 0]))))
    assert spread < np.radians(60)
    assert len(faces) < 60


def test_a_closed_surface_is_opened_from_end_to_end():
    cube = SurfaceMesh(block(100).vertices, block(100).faces)

    faces, start, end = opening_faces(cube)

    assert np.linalg.norm(end - start) == pytest.approx(100 * np.sqrt(3), rel=1e-12)
    assert len(faces) >= 2


def test_chains_end_at_junctions_and_stops_and_rings_close():
    stops = np.zeros(12, bool)
    pairs = np.array([[0, 1], [1, 2], [2, 3], [1, 4], [6, 7], [7, 8], [8, 6]])
    assert [c.tolist() for c in chains_of(pairs, stops)] == [
        [0, 1],
        [1, 2, 3],
        [1, 4],
        [6, 7, 8, 6],
    ]
    stops[2] = True
    assert [c.tolist() for c in chains_of(pairs, stops)][1:3] == [[1, 2], [1, 4]]
