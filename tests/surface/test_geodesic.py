"""Straightest lines against closed forms."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from shapes import cap, irregular_cap, sheet

from flatten.surface.geodesic import Tracer, closest_point, vertex_normals


def plane(cells=6):
    line = np.linspace(0, 60, cells + 1)
    return sheet(lambda x, y: (x, y, 0 * x), line, line)


@pytest.mark.parametrize("heading", [(1, 0, 0), (1, 1, 0), (0.3, -1, 0), (-2, 1, 0)])
def test_on_a_plane_the_line_is_straight_also_through_vertices(heading):
    """Some of these run along edges and through vertices all the way."""
    mesh = plane()
    trace = Tracer(mesh).trace(
        closest_point(mesh, np.array([30.0, 30, 0])), np.array(heading, float), longest_mm=500
    )

    way = np.array(heading) / np.linalg.norm(heading)
    assert_allclose(np.cross(trace.points - trace.points[0], way), 0, atol=1e-9)
    assert trace.end == "boundary"
    assert np.abs(trace.points[-1][:2] - 30).max() == pytest.approx(30, abs=1e-9)


def test_on_a_cylinder_it_is_the_helix_of_the_facets():
    """A prism unrolls: height and turned angle grow in proportion; exact for the facets."""
    angle = np.linspace(0, np.pi, 25)
    mesh = sheet(lambda a, y: (50 * np.sin(a), y, 50 * np.cos(a)), angle, np.linspace(0, 300, 31))
    start = closest_point(mesh, np.array([50 * np.sin(0.3), 20, 50 * np.cos(0.3)]))
    side = np.cross(mesh.normals[start.face], [0, 1, 0]) * -1
    trace = Tracer(mesh).trace(start, 0.6 * np.array([0, 1.0, 0]) + 0.8 * side, longest_mm=90)

    rise = trace.points[:, 1] - trace.points[0, 1]
    assert_allclose(rise, 0.6 * trace.length_mm, atol=1e-9)
    assert trace.end == "length"
    assert trace.length_mm[-1] == pytest.approx(90)


def drift(triangles):
    """Largest distance from the great circle over 8 lines on shaken caps, rms."""
    worst = []
    for seed in range(8):
        mesh = irregular_cap(150, 60, triangles, seed)
        a = seed * 0.7
        tack = 150 * np.array([np.sin(0.3) * np.cos(a), np.sin(0.3) * np.sin(a), np.cos(0.3)])
        start = closest_point(mesh, tack)
        normal = start.position / np.linalg.norm(start.position)
        way = np.cross(normal, [np.cos(3 * a), np.sin(3 * a), 0.2])
        way /= np.linalg.norm(way)
        flat = mesh.normals[start.face]
        lifted = way - normal * (way @ flat) / (normal @ flat)
        trace = Tracer(mesh).trace(start, lifted, longest_mm=1000)
        worst.append(np.abs(trace.points @ np.cross(normal, way)).max())
    return np.sqrt(np.mean(np.square(worst)))


def test_on_a_sphere_it_converges_to_the_great_circle():
    """On the triangles themselves it drifts by half a millimetre at 2000; here by a sixth of it,
    and faster than the edge length shrinks."""
    coarse, fine = drift(1000), drift(8000)

    assert fine < 0.06
    assert np.log2(coarse / fine) / 1.5 > 1.0


def test_through_the_pole_of_a_regular_cap_it_stays_in_its_plane():
    """Symmetric left and right: equal angles keep it there exactly."""
    mesh = cap(100, 60, 12)
    start = closest_point(
        mesh, mesh.vertices[np.argmin(np.abs(mesh.vertices - [50, 0, 86.6]).sum(1))]
    )
    trace = Tracer(mesh).trace(start, np.array([-1.0, 0, 0.5]), longest_mm=150)

    assert trace.length_mm[-1] > 100


def test_nearest_point_of_a_triangle_inside_on_an_edge_and_at_a_corner():
    mesh = plane(1)
    for point, near in [
        ((10, 5, 7), (10, 5, 0)),
        ((70, 20, 0), (60, 20, 0)),
        ((-5, -5, 1), (0, 0, 0)),
    ]:
        found = closest_point(mesh, np.array(point, float))
        assert_allclose(found.position, near, atol=1e-12)
        assert found.distance == pytest.approx(np.linalg.norm(np.subtract(point, near)))
        assert_allclose(found.barycentric @ mesh.corners[found.face], near, atol=1e-12)


def test_smoothed_normals_of_a_sphere_and_the_missing_angles():
    """Gauss-Bonnet: the missing angles of an even cap sum to its curvature, 2 pi (1 - cos a),
    without what the rim's own vertices hold."""
    mesh = irregular_cap(100, 60, 4000)
    normals, missing = vertex_normals(mesh)

    inner = np.setdiff1d(np.arange(len(normals)), mesh.edges.vertices[mesh.edges.boundary])
    assert_allclose(normals[inner], mesh.vertices[inner] / 100, atol=0.01)
    assert missing.sum() == pytest.approx(np.pi, rel=0.05)


def test_smoothed_normals_are_the_spheres_own():
    """Weights of Max (1999): exact where the vertices lie on a sphere, however the triangles do."""
    mesh = irregular_cap(150, 60, 2000)
    normals, missing = vertex_normals(mesh)

    inner = missing != 0
    assert inner.sum() > 800
    assert_allclose(normals[inner], mesh.vertices[inner] / 150, atol=1e-9)


def fan(mesh, place, heading):
    tracer = Tracer(mesh)
    trace = tracer.trace(closest_point(mesh, np.array(place)), np.array(heading), longest_mm=500)
    return trace, tracer.fanning(trace)


def test_neighbours_close_up_on_a_sphere_and_fan_out_on_a_saddle():
    """J' is cos(s / R) on a sphere, 1 on a cylinder, cosh(s / c) along a catenoid's neck, where
    K = -1 / c^2 (do Carmo 1976, 5-5). Irregular triangles, so to a tenth."""
    trace, slope = fan(irregular_cap(150, 75, 8000), (0.0, 0, 150), (1.0, 0.3, 0))
    assert trace.length_mm[-1] > 1.2 * 150
    assert_allclose(slope, np.cos(trace.length_mm / 150), atol=0.1)

    rng = np.random.default_rng(0)
    u, v = np.linspace(0, 1.5, 31), np.linspace(-0.5, 0.5, 21)

    def shaken(mesh_of):
        def place(a, b):
            inner = (a > 0) & (a < 1.5) & (np.abs(b) < 0.5)
            return mesh_of(
                a + inner * rng.uniform(-0.01, 0.01, a.shape),
                b + inner * rng.uniform(-0.01, 0.01, a.shape),
            )

        return sheet(place, u, v)

    neck = shaken(lambda a, b: (80 * np.cosh(b) * np.cos(a), 80 * np.cosh(b) * np.sin(a), 80 * b))
    trace, slope = fan(neck, (80.0, 0.5, 0), (0.0, 1, 0))
    assert trace.length_mm[-1] > 110
    assert_allclose(slope, np.cosh(trace.length_mm / 80), atol=0.2)
    pipe = shaken(lambda a, b: (80 * np.cos(a), 80 * np.sin(a), 80 * b))
    trace, slope = fan(pipe, (80.0, 0.5, 0), (0.0, 1, 0.1))
    assert_allclose(slope, 1, atol=0.1)
