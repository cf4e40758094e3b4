"""The triangulation at work: twins stay twins, and no edge is made twice."""

import numpy as np
import pytest
from numpy.testing import assert_array_equal
from surface.parts import block, plate, torus

from flatten.surface.edges import Edges
from flatten.surface.triangulation import STEPS, Triangulation


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


def fan(lengths, rank=None):
    """Faces round a point with spokes (k,) of these lengths, closed round where ranks are given."""
    count = len(lengths)
    turn = 2 * np.pi * np.arange(count) / (count if rank is not None else 8 * count)
    spokes = np.column_stack([np.cos(turn), np.sin(turn), 0 * turn]) * np.asarray(lengths)[:, None]
    k = np.arange(count if rank is not None else count - 1)
    faces = np.column_stack([0 * k, 1 + k, 1 + (k + 1) % count])
    high = None if rank is None else np.concatenate([[0.0], rank])
    return Triangulation(np.vstack([np.zeros(3), spokes]), faces, 0 * k, high)


def walked(work, longest, face):
    """One walk over ever longer edges, face by face."""
    while True:
        half = int(longest[face])
        back = int(work.twin[half])
        if back < 0 or longest[back // 3] == back:
            return half if back < 0 else min(half, back)
        face = back // 3


@pytest.mark.parametrize("hills", [1, 3])
def test_long_walks_over_needles_end_where_walking_them_one_by_one_ends(hills):
    """Each spoke is longer than the one before it, up to the top of its hill."""
    count = 400
    work = fan(1000 + 50 * np.abs(np.sin(hills * np.pi * (np.arange(count) + 0.3) / count)))
    members = np.arange(len(work.faces))
    longest = work.longest_sides(members, work.side_lengths(members))

    some = np.array([0, 5, 333])
    found = work.terminal_edges(some, longest)

    assert_array_equal(found, np.unique([walked(work, longest, face) for face in some]))
    assert_array_equal(
        work.terminal_edges(members, longest),
        np.unique([walked(work, longest, face) for face in members]),
    )


def test_walks_in_a_ring_of_edges_equal_but_for_rounding_end():
    """Each spoke is a hair shorter than the one before and ranks higher; the first is longest."""
    count = 100
    lengths = 1 - 5e-10 * np.arange(count)
    work = fan(lengths, rank=np.arange(1.0, count + 1))
    members = np.arange(len(work.faces))
    longest = work.longest_sides(members, work.side_lengths(members))

    assert len(work.terminal_edges(members, longest)) == 0


def test_a_walk_over_thousands_of_needles_takes_a_bounded_number_of_looks(monkeypatch):
    """A trim strip round a triangle of a kilometre makes such fans: a look a face took minutes."""
    looks = []
    over = Triangulation._over
    monkeypatch.setattr(Triangulation, "_over", lambda *given: looks.append(1) or over(*given))
    work = fan(np.linspace(1000, 1100, 3000))
    members = np.arange(len(work.faces))
    longest = work.longest_sides(members, work.side_lengths(members))

    found = work.terminal_edges(members[:1], longest)

    assert found // 3 == len(members) - 1
    assert len(looks) <= STEPS + 1
