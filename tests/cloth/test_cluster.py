"""Clusters of vertices as a coarse surface, and what is carried to it and back."""

import numpy as np
import pytest
from cloth import trays
from scipy.sparse import coo_array
from scipy.sparse.csgraph import dijkstra
from shapes import bumps, cap, irregular_cap

import flatten.cloth.lay as route
from flatten.cloth.cluster import REACH, clusters, triangles_between
from flatten.cloth.coarse import Coarse, carry, clustered_surface, held_on
from flatten.cloth.drape import drape_surface
from flatten.cloth.energy import Panels
from flatten.cloth.library import load_fabrics
from flatten.cloth.spines import find_tack, trace_spines
from flatten.surface.geodesic import Tracer
from flatten.surface.mesh import MouldMesh, SurfaceMesh, components
from flatten.surface.refine import refine

TWILL = load_fabrics()["carbon_twill_210"]


def plane(triangles: int = 3000) -> SurfaceMesh:
    """A flat, irregular disc leant over, so that no axis is special."""
    mesh = irregular_cap(100, 60, triangles)
    flat = mesh.vertices * [1, 1, 0]
    lean = np.array([[0.8, 0, 0.6], [0, 1, 0], [-0.6, 0, 0.8]])
    return SurfaceMesh(flat @ lean.T + [3, -5, 7], mesh.faces)


def edges_between(mesh: SurfaceMesh, seeds: np.ndarray) -> np.ndarray:
    """Number of edges from each seed to every vertex, by scipy."""
    low, high = mesh.edges.vertices.T
    shape = (len(mesh.vertices), len(mesh.vertices))
    graph = coo_array((np.ones(len(low)), (low, high)), shape=shape).tocsr()
    return dijkstra(graph, directed=False, unweighted=True, indices=seeds)


def test_seeds_keep_their_distance_and_leave_no_room_for_another():
    mesh = irregular_cap(150, 75, 2000)
    seeds, _ = clusters(mesh)

    far = edges_between(mesh, seeds)

    assert far[:, seeds][~np.eye(len(seeds), dtype=bool)].min() > REACH
    assert far.min(axis=0).max() <= REACH


def test_the_rim_has_seeds_of_its_own():
    """Or the coarse surface would end well within the fine one."""
    mesh = irregular_cap(150, 75, 2000)
    seeds, _ = clusters(mesh)
    rim = np.unique(mesh.edges.vertices[mesh.edges.boundary])

    far = edges_between(mesh, np.intersect1d(seeds, rim))

    assert far[:, rim].min(axis=0).max() <= REACH


def test_no_neighbour_belongs_to_a_seed_that_is_nearer():
    mesh = bumps(3000, size_mm=400)
    seeds, label = clusters(mesh)

    assert (label[seeds] == np.arange(len(seeds))).all()
    low, high = mesh.edges.vertices.T
    for here, there in ((low, high), (high, low)):
        own, offered = (
            np.linalg.norm(mesh.vertices[here] - mesh.vertices[seeds[label[end]]], axis=1)
            for end in (here, there)
        )
        assert (own <= offered + 1e-9).all()


def test_a_triangle_stands_where_three_clusters_meet_and_once():
    faces = np.array([[0, 1, 2], [2, 1, 3], [1, 5, 3], [4, 0, 2], [5, 6, 7]])
    label = np.array([2, 0, 1, 1, 2, 2, 0, 1])

    # The first and the last are the same three clusters, the one in the middle turns the other
    # way; the rest lie in two.
    assert triangles_between(faces, label).tolist() == [[0, 1, 2], [0, 2, 1]]


@pytest.mark.parametrize("mesh", [irregular_cap(150, 75, 6000), bumps(6000, size_mm=400)])
def test_the_coarse_surface_is_one_disc_on_the_same_side(mesh):
    coarse = clustered_surface(mesh)

    assert coarse is not None
    found = coarse.surface
    assert len(mesh.faces) / 40 < len(found.faces) < len(mesh.faces) / 8
    assert len(found.vertices) - len(found.edges.vertices) + len(found.faces) == 1  # Euler
    assert not components(found.faces, found.edges).any()
    middle = found.corners.mean(axis=1)
    fine = np.linalg.norm(middle[:, None] - mesh.corners.mean(axis=1), axis=2).argmin(axis=1)
    assert ((found.normals * mesh.normals[fine]).sum(axis=1) > 0.5).all()


def test_clusters_are_the_same_bytes_twice():
    first, second = (clustered_surface(irregular_cap(150, 75, 6000)) for _ in range(2))

    assert first is not None
    assert second is not None
    assert first.surface.vertices.tobytes() == second.surface.vertices.tobytes()
    assert first.surface.faces.tobytes() == second.surface.faces.tobytes()
    assert first.near.tobytes() == second.near.tobytes()


def test_what_is_no_sheet_gives_no_coarse_surface():
    """A triangle has one cluster; a closed surface no rim."""
    single = SurfaceMesh(np.eye(3), np.array([[0, 1, 2]]))
    assert clustered_surface(single) is None
    half = cap(100, 90, 20)
    count = len(half.vertices)
    rim = np.unique(half.edges.vertices[half.edges.boundary])
    other = np.arange(count) + count
    other[rim] = rim
    both = np.concatenate([half.vertices, half.vertices * [1, 1, -1]])
    faces = np.concatenate([half.faces, other[half.faces[:, ::-1]]])
    used, numbers = np.unique(faces, return_inverse=True)
    assert clustered_surface(SurfaceMesh(both[used], numbers.reshape(-1, 3))) is None


@pytest.mark.parametrize("edges_mm", [(14, 9), (14, 6), (18, 9)])
def test_clusters_that_meet_in_no_surface_are_taken_apart(edges_mm):
    """On long triangles of a fillet, halved, three clusters in a row meet twice over one edge."""
    given, refined = edges_mm
    rough = trays.tray(length=160, width=110, depth=40, corner=20, fillet=6, edge_mm=given)
    mesh = refine(rough, max_edge_mm=refined).surface
    seeds, near = clusters(mesh)
    faces = triangles_between(mesh.faces, near)
    assert MouldMesh(mesh.vertices[seeds], faces).edges.crowded.any()

    coarse = clustered_surface(mesh)

    assert coarse is not None
    found = coarse.surface
    assert len(found.faces) < len(mesh.faces) / 8
    assert len(found.vertices) - len(found.edges.vertices) + len(found.faces) == 1  # Euler
    assert not found.edges.crowded.any()
    assert not found.edges.flipped.any()
    assert (np.bincount(coarse.near, minlength=len(found.vertices)) > 0).all()
    away = np.linalg.norm(found.vertices[coarse.near] - mesh.vertices, axis=1)
    assert away.max() < 3 * refined  # each vertex is near its cluster's: two edges off, or three


def test_held_points_keep_their_places():
    """On a plane to rounding: also those beyond the coarse rim."""
    mesh = plane()
    coarse = clustered_surface(mesh)
    assert coarse is not None
    tracer = Tracer(mesh)
    tack = find_tack(tracer, mesh.vertices[np.argmin(np.abs(mesh.vertices).sum(1))], [1, 0.3, 0.2])
    held = trace_spines(tracer, tack)

    tack_there, there = held_on(coarse, mesh, tack, held)

    places = [
        np.einsum("kj,kjd->kd", points.weights, on.corners[points.faces])
        for points, on in ((held, mesh), (there, coarse.surface))
    ]
    assert len(places[0]) > 20
    assert np.abs(places[0] - places[1]).max() < 1e-9
    at = tack_there.point.barycentric @ coarse.surface.corners[tack_there.point.face]
    assert np.abs(at - tack.point.position).max() < 1e-9
    assert (there.axis == held.axis).all()
    assert (there.grip == held.grip).all()


def layouts(mesh: SurfaceMesh, coarse: Coarse, bend: float) -> tuple[np.ndarray, np.ndarray]:
    """A layout of second degree of a plane: exact at the fine vertices, and carried."""

    def exact(points: np.ndarray) -> np.ndarray:
        u, v = points @ [0.8, 0, -0.6], points[:, 1]
        return np.array([1.1 * u + 0.2 * v + bend * u * v, v - 0.1 * u + bend * u * u])

    carried = carry(coarse, exact(coarse.surface.vertices), mesh, Panels.of(mesh))
    assert carried is not None
    return exact(mesh.vertices), carried


def test_a_layout_of_first_degree_is_carried_exactly():
    mesh = plane()
    coarse = clustered_surface(mesh)
    assert coarse is not None
    exact, carried = layouts(mesh, coarse, 0.0)

    assert np.abs(exact - carried).max() < 1e-9


def test_a_bent_layout_is_carried_better_than_by_flat_triangles():
    """Away from the rim, where the gradients have triangles on one side only."""
    mesh = plane()
    coarse = clustered_surface(mesh)
    assert coarse is not None
    exact, carried = layouts(mesh, coarse, 0.001)
    face, weights = coarse.places(mesh.vertices, coarse.near)
    at_corners = exact[:, clusters(mesh)[0]][:, coarse.surface.faces[face]]
    by_triangles = np.einsum("xnk,nk->xn", at_corners, weights)
    inside = np.linalg.norm(mesh.vertices - [3, -5, 7], axis=1) < 60

    off, plain = (np.abs(exact - other)[:, inside].mean() for other in (carried, by_triangles))

    assert off < 0.3 * plain  # 0.26; 0.34 with gradients a fifth too small


def test_a_layout_turned_over_is_not_carried():
    mesh = plane()
    coarse = clustered_surface(mesh)
    assert coarse is not None
    mirrored = np.array([coarse.surface.vertices[:, 1], coarse.surface.vertices @ [0.8, 0, -0.6]])

    assert carry(coarse, mirrored, mesh, Panels.of(mesh)) is None


def test_the_drape_is_the_one_found_without_a_coarse_start(monkeypatch):
    """To the 1e-3 mm two starts may end apart; and the same bytes twice."""
    mesh = irregular_cap(150, 60, 6000)

    def laid() -> np.ndarray:
        return drape_surface(
            mesh, TWILL, tack_mm=(0, 0, 150), warp=(1, 0.2, 0), max_edge_mm=100
        ).flat

    first, second = laid(), laid()
    assert len(mesh.faces) > route.COARSE_ABOVE
    monkeypatch.setattr(route, "COARSE_ABOVE", 10**9)
    without = laid()

    assert first.tobytes() == second.tobytes()
    assert first.tobytes() != without.tobytes()  # or it was not taken
    assert np.abs(first - without).max() < 1e-3
